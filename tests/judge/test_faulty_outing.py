"""The outing that is wrong on purpose: what its ``what-is-wrong.md`` says, but for hardware and tethers."""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.conftest import SCENARIOS


@pytest.fixture(scope="module")
def found() -> list[dict[str, object]]:
    return pk.time_plan(pk.load_scenario(SCENARIOS / "faulty-plan")).findings.to_dict("records")


def told(found: list[dict[str, object]], check: str) -> list[dict[str, object]]:
    return [finding for finding in found if finding["check"] == check and finding["severity"] != "remark"]


def test_inhibits(found: list[dict[str, object]]) -> None:
    # I-BAD ends with A1 and begins with Z1. I-PWR begins 10 min before B4, after B3 is done; it is held 76
    # min of 45 and runs on into daylight; I-JET runs past the quiet period.
    expected = [("A1", "inhibits.from_step, until_step"), ("B3", "inhibits.needed_by"),
                ("B4", "inhibits.hold_max_min"), ("B4", "inhibits.window"),
                ("D3", "inhibits.window")]
    assert [(f["step"], f["source"]) for f in told(found, "inhibits")] == expected


def test_link_and_limits(found: list[dict[str, object]]) -> None:
    (link,) = told(found, "links")
    # The relay is out of view from 0:39 to 1:23.
    assert (link["step"], link["value"]) == ("D3", 0)
    assert "next full coverage begins at 1:24" in str(link["message"])
    assert [(f["step"], f["limit"]) for f in told(found, "limits")] == [("D1", 40), ("", 150)]
    without_source = [str(f["message"]).split(" = ")[0] for f in found
                      if f["check"] == "limits" and f["severity"] == "remark"]
    assert without_source == ["the limit hard_min", "the limit emergency_oxygen_min",
                              "the limit hatch_closed_min", "the limit repress_start_min",
                              "the limit repress_safe_min",
                              "the limit emergency_repress_safe_min"]


def test_suits(found: list[dict[str, object]]) -> None:
    words = ("oxygen", "CO2 capacity", "cooling water", "energy")  # of energy nothing is known
    spent = {(f["crew"], word) for f in told(found, "suits") for word in words if word in str(f["message"])}
    assert spent == {("EV2", "oxygen"), ("EV2", "CO2 capacity"), ("EV1", "cooling water"),
                     ("EV2", "cooling water")}


def test_return(found: list[dict[str, object]]) -> None:
    # B3 at the tip is safe after 6 min (safe_now_min), the hatch is 30 m away at 5 m/min, and after 13 min
    # there the pressure can be breathed; emergency oxygen lasts 15: 10 min short.
    tip = next(f for f in told(found, "return") if "Tip of the boom" in str(f["message"]))
    short_min = pytest.approx(15 - (6 + 30 / 5 + 13))
    assert (tip["severity"], tip["crew"], tip["value"]) == ("stop", "EV1", short_min)
    late = next(f for f in told(found, "return") if "see suits" in str(f["message"]))
    assert (late["severity"], late["crew"]) == ("stop", "EV2")


def test_return_with_the_partner(found: list[dict[str, object]]) -> None:
    helped = [f for f in told(found, "return") if "unable to move" in str(f["message"])]
    assert {f["severity"] for f in helped} == {"concern"}
    assert sorted({str(f["crew"]) for f in helped}) == ["EV1", "EV2"]
    (spent,) = (f for f in helped if "EV2's oxygen has run out (see suits)" in str(f["message"]))
    assert spent["crew"] == "EV1"
