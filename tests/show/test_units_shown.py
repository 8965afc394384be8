"""Customary units beside SI where a scenario asks for them: to the safe side, and nothing else changes."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest

import planning_kit as pk
from planning_kit.inputs.times import measure
from planning_kit.judge.every_margin import exact_margins
from planning_kit.show.film.scene import scene_of
from planning_kit.show.hazard_wording import HazardWords
from planning_kit.show.pack.key_moments import map_section
from planning_kit.show.pack.lists import holds_section
from planning_kit.show.suit_chart import suit_chart
from tests.conftest import SCENARIOS, TESTS
from tests.show.hazardous import hazardous

BOTH = {"display.units": "si and us"}
PER_SI = {"ft": Fraction("0.3048"), "lb": Fraction("453.59237"), "Btu": Fraction("1055.05585262") / 3600}
MEASURE = re.compile(r"([+−]?[0-9.]+)(?: of [0-9.]+)? (m|g|W h) \(([−0-9.]+) (ft|lb|Btu)\)")


def told_both(plan: pk.Plan) -> tuple[pk.Plan, pk.Plan]:
    """The plan, and the same with both units."""
    return plan, pk.time_plan(plan.scenario.with_settings(BOTH))


def pairs_in(text: str) -> Iterator[tuple[float, float, str]]:
    """Each SI value told with a customary one, that one converted back, and its unit."""
    for si, unit, other, name in MEASURE.findall(text.replace("−", "-")):
        assert (unit, name) in (("m", "ft"), ("g", "lb"), ("W h", "Btu"))
        yield float(si), float(Fraction(other) * PER_SI[name]), name


def without(text: str) -> str:
    """The text less every customary value."""
    return re.sub(r" \([−0-9.]+ (ft|lb|Btu)\)", "", text)


@pytest.fixture(scope="module", params=["faulty-plan", "tern-station", "small-outing", "tern-1", "hazardous"])
def plans(request: pytest.FixtureRequest) -> tuple[pk.Plan, pk.Plan]:
    if request.param == "hazardous":
        return told_both(pk.time_plan(hazardous(pk.load_scenario(SCENARIOS / "small-outing"))))
    room = TESTS / "data" if request.param == "tern-1" else SCENARIOS
    return told_both(pk.time_plan(pk.load_scenario(room / request.param)))


def written(chart: Any, where: str) -> list[str]:
    """The texts of a chart; where its lines are broken says nothing."""
    each = [getattr(trace, where) or () for trace in chart.data]
    return [one.replace("<br>", " ") for text in each for one in ([text] if isinstance(text, str) else text)]


def texts(plan: pk.Plan) -> dict[str, list[str]]:
    """All that is told with units, by where."""
    suits = suit_chart(plan)
    words = HazardWords(plan.scenario.records)
    pictures = map_section(plan.timed)
    return {
        "findings": plan.findings["message"].tolist(),
        "briefing": plan.briefing().table["words"].tolist(),
        "still": list(plan.still(plan.end_min / 2).words),
        "suits": written(suits, "hovertext"),
        "hazards": [words.where(each) for each in plan.scenario.records.hazards],
        "pictures": [repr(pictures)],
        "margins": [each.words for each in exact_margins(plan.timed)],
        "risks": [plan.briefing().one_minute],
    }


def test_only_the_customary_values_are_added(plans: tuple[pk.Plan, pk.Plan]) -> None:
    plain, both = (texts(plan) for plan in plans)
    for where, before in plain.items():
        assert not any(re.search(r"[0-9] (ft|lb|Btu)\b", text) for text in before), where
        if where != "pictures":  # whose lines are cut to their room
            for old, new in zip(before, both[where], strict=True):
                assert without(new) == old or "…" in new, where
    told = {where for where, after in both.items() if any(list(pairs_in(text)) for text in after)}
    assert {"briefing", "still", "suits"} <= told


def test_both_values_are_the_same_but_for_the_place_shown(plans: tuple[pk.Plan, pk.Plan]) -> None:
    last_place = {"ft": 0.1 * 0.3048, "lb": 0.01 * 453.6, "Btu": 0.3}
    shown = [pair for each in texts(plans[1]).values() for text in each for pair in pairs_in(text)]
    assert shown
    for si, back, name in shown:
        assert abs(si - back) <= last_place[name] + 0.1 + 0.0005 * abs(si), (si, back, name)


def test_a_tether_is_told_shorter_and_its_reach_longer() -> None:
    plan, both = told_both(pk.time_plan(pk.load_scenario(SCENARIOS / "faulty-plan")))
    message, = both.findings.query("check == 'tethers' and rule == 'reach'")["message"]
    # 26 m are 85.301 ft: a tether of so much goes down; a reach of 30 m is 98.425 ft: it goes up.
    assert "is 26 m (85.3 ft) long, but" in message
    assert "is 30.0 m (98.5 ft) along the way" in message
    assert "(" not in plan.findings.query("check == 'tethers' and rule == 'reach'")["message"].item()[:30]


def test_the_list_of_tethers_has_feet_behind_metres() -> None:
    plan, both = told_both(pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station")))
    plain, table = (next(each for each in holds_section(one.timed).blocks if each.sheet == "Tethers")
                    for one in (plan, both))
    names = [column.label for column in table.columns]
    assert names[:-3] == [column.label for column in plain.columns]
    assert names[-3:] == ["Reach, ft", "Tether, ft", "Margin, ft"]
    assert [column.side for column in table.columns[-3:]] == ["up", "down", "down"]
    for before, row in zip(plain.rows, table.rows, strict=True):
        assert row[:-3] == before
        metres = dict(zip(names, row, strict=True))
        assert float(str(metres["Tether, ft"])) * 0.3048 == pytest.approx(float(str(metres["Tether, m"])))


def test_a_film_is_told_what_a_foot_is_where_feet_are_asked_for(small_plan: pk.Plan) -> None:
    plain, both = (scene_of(each.timed) for each in told_both(small_plan))
    assert plain["customary"] is None
    assert both["customary"] == {"unit": "ft", "metres": 0.3048}  # NIST SP 811
    assert any(list(pairs_in(each["words"])) for each in both["captions"])


@pytest.mark.parametrize(("value", "side", "told"), [
    (25.908, "down", "25.908 m (85.0 ft)"), (25.908, "up", "25.908 m (85.0 ft)"),
    (10.0, "down", "10 m (32.8 ft)"), (10.0, "up", "10 m (32.9 ft)"),  # 32.808 ft
    (-1.5, "down", "-1.5 m (−5.0 ft)"), (math.nan, "down", "nan m"), (math.inf, "up", "inf m"),
    (0.0, "up", "0 m (0.0 ft)")])
def test_sides(small: pk.Scenario, value: float, side: str, told: str) -> None:
    settings = small.with_settings(BOTH).settings
    assert measure(value, "m", settings, side) == told  # type: ignore[arg-type]
    assert measure(value, "m", small.settings, side) == f"{value:g} m"  # type: ignore[arg-type]


def test_a_title_that_looks_like_a_length_stays(small: pk.Scenario) -> None:
    places = small.places
    places.loc[1, "title"] = "Rail 5 m (spare)"
    _, both = told_both(pk.time_plan(small.with_table("places", places)))
    told = " ".join(both.briefing().table["words"])
    assert "Rail 5 m (spare)" in told
    assert "Rail 5 m (16" not in told


def test_the_word_is_one_of_two_and_part_of_what_is_signed(small: pk.Scenario) -> None:
    assert small.settings.units == "si"
    assert small.with_settings({"display.units": "si"}).digest == small.digest
    assert small.with_settings(BOTH).digest != small.digest
    with pytest.raises(pk.ScenarioError, match="must be one of: si, si and us"):
        small.with_settings({"display.units": "us"})
