"""The faulty plan shows each of its hardware, foothold, tether and route faults, and none that it lacks.

Expected from `scenarios/faulty-plan/what-is-wrong.md`, row by row.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk

FAULTY = Path(__file__).parents[2] / "scenarios" / "faulty-plan"


@pytest.fixture(scope="module")
def findings() -> pd.DataFrame:
    return pk.time_plan(pk.load_scenario(FAULTY)).findings


def rows(findings: pd.DataFrame, check: str, severity: str = "stop") -> list[tuple[str, str]]:
    ours = findings[(findings["check"] == check) & (findings["severity"] == severity)]
    return sorted((r.crew, r.step) for r in ours.itertuples())


def test_hardware(findings: pd.DataFrame) -> None:
    outing = findings[~findings["message"].str.contains("at the end, but|the other end")]
    assert rows(outing, "custody") == [
        ("", "D2"),  # bag too full
        ("EV1", "B1"), ("EV1", "B4"),  # hands too full
        ("EV1", "B5"),  # the partner is elsewhere
        ("EV1", "F1"), ("EV1", "F1"), ("EV1", "F1"),  # the camera, the bag and the cover are elsewhere
        ("EV2", "B5"),  # and would have too much in hand
        ("EV2", "C1"),  # not in the bag
        ("EV2", "C2"),  # part 1 is elsewhere
        ("EV2", "D1"),  # hands too full
        ("EV2", "D3"),  # the camera is elsewhere
        ("EV2", "E2"), ("EV2", "E2"),  # the tag comes only later; part 1 is in the bag
    ]
    assert rows(outing, "custody", "concern") == [("", "F1"), ("EV1", "F1")]  # the wipe; the driver, in hand


def test_endings(findings: pd.DataFrame) -> None:
    findings = findings.query("check == 'custody'")  # the valve is no item
    ends = findings[findings["message"].str.contains("at the end, but|the other end")]["message"]
    assert sorted(message.split(" must")[0] for message in ends) == [
        "cable", "foothold", "part-1", "part-2", "the other end of cable", "tray"]


def test_loads_have_their_numbers(findings: pd.DataFrame) -> None:
    loads = findings[findings["source"] == "crew.carry_slots"].set_index("step")
    # B1: driver 1 and two boxes of 2. D1: bag 1, parts 1 and 1, foothold 2, cable 2.
    # B5: bag 1, cable 2, tray 1 and the failed box 2.
    assert loads["value"].to_dict() == {"B1": 5, "B4": 5, "D1": 7, "B5": 6}


def test_footholds(findings: pd.DataFrame) -> None:
    assert rows(findings, "footholds") == [("EV1", "B3"), ("EV1", "B4"), ("EV1", "B7"), ("EV2", "D3")]
    # Two in one socket from the start; both crew members in one foothold.
    assert rows(findings, "footholds", "concern") == [("", ""), ("EV2 EV1", "B2")]


def test_tethers(findings: pd.DataFrame) -> None:
    assert rows(findings, "tethers") == [("EV1", "B3"), ("EV1", "B4"), ("EV2", "B5"), ("EV2", "Z1")]
    reach = findings[findings["source"] == "crew.tether_m"]
    assert reach["value"].tolist() == [30]  # B3 and B4, then B7: the hook is at the hatch all along
    assert reach["message"].str.contains("move the hook to Mid ring").all()


def test_bulky_boxes_on_tight_and_snag_routes(findings: pd.DataFrame) -> None:
    # Boxes A and B into the slot, box A out of it and to the tip, the failed box back. EV2, who is meant to
    # have the failed box since B5, takes it through the slot and to the ring.
    assert rows(findings, "routes", "concern") == [
        ("EV1", "B2"), ("EV1", "B3"), ("EV1", "B3"), ("EV1", "B5"), ("EV2", "E1"), ("EV2", "E2")]
