"""The runs of a sweep that keep a limit."""

from __future__ import annotations

import pandas as pd
import pytest

import planning_kit as pk


def _sweep(ends: list[float], every_min: float = 10, planned: float = 100, hard: float = 120,
           **columns: list[float]) -> pk.Sweep:
    end = pd.Series(ends, dtype=float)
    return pk.Sweep({
        "pet_zero": pd.date_range("2031-09-03T07:00:00Z", periods=len(ends), freq=f"{every_min}min"),
        "end_min": end, "planned_margin_min": planned - end, "hard_margin_min": hard - end, "wait_min": 0.0,
        "reason": "", **columns,
    })


def _told(spells: pd.DataFrame, limit: str) -> list[tuple[str, str, float, int]]:
    rows = spells[spells["limit"] == limit]
    return [(f"{a:%H:%M}", f"{b:%H:%M}", width, count) for a, b, width, count in
            zip(rows["from"], rows["until"], rows["width_min"], rows["rows"], strict=True)]


def test_runs_end_where_a_limit_is_passed_or_no_plan_is_left() -> None:
    spells = _sweep([130, 110, 100, 90, 101, 95, float("nan"), 99]).good_spells
    assert _told(spells, "planned") == [("07:20", "07:30", 10, 2), ("07:50", "07:50", 0, 1),
                                        ("08:10", "08:10", 0, 1)]
    assert _told(spells, "hard") == [("07:10", "07:50", 40, 5), ("08:10", "08:10", 0, 1)]


def test_the_best_pet_zero_is_the_earliest_of_the_shortest() -> None:
    first = _sweep([95, 90, 90, 99]).good_spells.iloc[0]
    assert (f"{first['best_pet_zero']:%H:%M}", first["best_end_min"]) == ("07:10", 90)


def test_rows_without_stops_are_a_spell_of_their_own() -> None:
    spells = _sweep([95, 95, 95], stops=[1, 0, 0]).good_spells
    assert _told(spells, "no stops") == [("07:10", "07:20", 10, 2)]


def test_a_spell_that_the_sweep_cuts_off_may_go_on() -> None:
    spells = _sweep([95, 130, 95, 95, 130, 95]).good_spells
    assert spells.query("limit == 'planned'")["may_go_on"].tolist() == [True, False, True]
    assert _sweep([95]).good_spells["may_go_on"].all()


@pytest.mark.parametrize("ends", [[], [130, 140], [float("nan")]])
def test_none_is_an_empty_table(ends: list[float]) -> None:
    spells = _sweep(ends).good_spells
    assert spells.empty
    assert "from" in spells


def test_the_order_of_rows_does_not_matter() -> None:
    sweep = _sweep([95, 105, 95, 96])
    assert sweep.iloc[::-1].good_spells.equals(sweep.good_spells)


def test_spells_come_with_every_night(small: pk.Scenario) -> None:
    # The lamp needs night, so good spells repeat with the revolution: about 93 min at this mean motion.
    spells = pk.time_plan(small).sweep("2031-09-03", "2031-09-04", every_min=1).good_spells
    planned = spells[spells["limit"] == "planned"]
    period = 1440 / small.elements.mean_motion_rev_per_day
    inner = planned["from"].iloc[1:].diff().dropna().dt.total_seconds() / 60
    assert inner.to_numpy() == pytest.approx(period, abs=1.01)
