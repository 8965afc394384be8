"""Two plans on the same random numbers."""

from __future__ import annotations

import numpy as np
import pytest

import planning_kit as pk
from tests.edits import edited, with_row


@pytest.fixture(scope="module")
def before(demo_plan: pk.Plan) -> pk.Odds:
    return demo_plan.odds(samples=3_000)


@pytest.fixture(scope="module")
def after(demo: pk.Scenario) -> pk.Odds:
    return pk.time_plan(demo.move_step("IN1", after="RG8")).odds(samples=3_000)


def test_a_plan_against_itself_differs_in_nothing(before: pk.Odds, demo_plan: pk.Plan) -> None:
    same = before.compare(demo_plan.odds(samples=3_000))
    assert (same["difference"] == 0).all()
    assert (same["se"] == 0).all()
    assert same.set_index("item").loc["mean outing end", "se_if_independent"] > 0


def test_paired_samples_see_what_independent_ones_do_not(before: pk.Odds, after: pk.Odds) -> None:
    rows = before.compare(after).set_index("item")
    link = rows.loc["DK2 in link:link-2 caught"]
    # What the move is for: the plan's slack to this link grows from 3.3 to 9.3 minutes.
    assert link["difference"] > 20 * link["se"] > 0
    changed = rows[rows["difference"] != 0]
    # Where something happens in one plan alone, there is nothing to pair.
    assert (changed["se"] < 1.01 * changed["se_if_independent"]).all()
    end = rows.loc["mean outing end"]
    assert end["se"] < 0.5 * end["se_if_independent"]


def test_the_paired_error_is_that_of_repeated_runs(before: pk.Odds, after: pk.Odds) -> None:
    # Thirty blocks of 100 samples are thirty small studies; the error of all 3 000 is sqrt(30) times less.
    blocks = (after.tally.end_min <= 390).astype(float) - (before.tally.end_min <= 390)
    spread = np.std(blocks.reshape(30, 100).mean(axis=1), ddof=1)
    row = before.compare(after).set_index("item").loc["both inside by the planned limit"]
    # The deviation of 30 blocks is known to about 13 % (chi-square); a little under four of that.
    assert spread / np.sqrt(30) == pytest.approx(row["se"], rel=0.5)
    assert spread / np.sqrt(30) < 0.6 * row["se_if_independent"]


def test_a_difference_comes_from_what_was_changed(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # The last step of both, 2 min longer throughout, ends every sample exactly 2 min later.
    longer = edited(small, "steps", "Z1", minutes_low=10, minutes_likely=12, minutes_high=16)
    a, b = small_plan.odds(500), pk.time_plan(longer).odds(500)
    end = a.compare(b).set_index("item").loc["mean outing end"]
    assert end["difference"] == pytest.approx(2.0, abs=1e-6)
    assert end["se"] < 1e-6
    assert end["unit"] == "min"


def test_overruns_and_clocks_are_compared_sample_by_sample(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # B3 may end behind its night, and C2 to C3 leaves no room on its clock of 36 min.
    longer = edited(small, "steps", "B3", minutes_high=60)
    clocked = with_row(longer, "gaps", first_step="C1", then_step="C3", max_gap=36)
    wide = with_row(small, "gaps", first_step="C1", then_step="C3", max_gap=99)
    one, other = (pk.time_plan(each).odds(2_000) for each in (wide, clocked))
    rows = one.compare(other).set_index("item")
    overrun, clock = rows.loc["B3 does not end inside night"], rows.loc["clock from C1 to C3 broken"]
    minutes = rows.loc["mean minutes over the clock from C1 to C3"]
    assert (overrun["a"], overrun["b"]) == (0, other.windows.set_index("step").loc["B3", "p_overrun"])
    line = other.clocks.set_index("first_step").loc["C1"]
    assert (clock["a"], clock["b"]) == (0, line["p_broken"])
    assert minutes["b"] == pytest.approx(line["over_mean_min"] * line["p_broken"])
    assert (minutes["unit"], minutes["a"]) == ("min", 0)
    over = other.tally.over_min[-1]
    assert clock["se"] == pytest.approx(np.std(over > 0, ddof=1) / np.sqrt(2_000))  # a breaks none of them
    assert "clock from C2 to C3 broken" in rows.index
    only_b = small_plan.odds(2_000).compare(other)["item"]
    assert "clock from C1 to C3 broken" not in set(only_b)


def test_only_what_both_have_is_compared(demo: pk.Scenario, before: pk.Odds) -> None:
    steps = demo.steps
    fewer = demo.with_table("steps", steps[~steps["task"].isin(["LMP"])])
    items = set(before.compare(pk.time_plan(fewer).odds(3_000))["item"])
    assert "LMP done by the hard limit" not in items
    assert "SHD done by the hard limit" in items


def test_windows_are_one_when_they_are_one_stretch_of_utc(before: pk.Odds, demo_plan: pk.Plan) -> None:
    # Half an hour late the exchange is planned an orbit later, and so is the link before it: what carries the
    # same number from another PET 0 is another window. The quiet period of CB5 is the same one.
    late = demo_plan.what_if(30).odds(samples=3_000)
    rows = before.compare(late).set_index("item")
    exchange = rows.loc["exchange caught: light:night-2 of a, light:night-3 of b, not the same"]
    assert (exchange["a"], exchange["b"]) == (_caught(before, "exchange"), _caught(late, "exchange"))
    link = rows.loc["DK2 caught: link:link-2 of a, link:link-2 of b, not the same"]
    assert link[["difference", "se", "se_if_independent"]].isna().all()
    assert rows.loc["CB5 in window:quiet caught", "difference"] == 0


def test_a_window_keeps_its_identity_when_its_number_changes(small_plan: pk.Plan) -> None:
    # The first night ends at 1:07. 40 min late it is still going on at PET 0, 70 min late it is over: what
    # is night 2 of the one outing is night 1 of the other.
    a, b = (small_plan.what_if(slip).odds(200) for slip in (40, 70))
    assert [odds.windows["window"].iloc[0] for odds in (a, b)] == ["light:night-2", "light:night-1"]
    row = a.compare(b).set_index("item").loc["B3 in light:night-2 caught"]
    assert row["difference"] == _caught(b, "B3") - _caught(a, "B3")


def _caught(odds: pk.Odds, subject: str) -> float:
    return float(odds.windows.set_index("step").loc[subject, "p"])


def test_unlike_samples_are_no_pairs(small_plan: pk.Plan) -> None:
    one = small_plan.odds(samples=200)
    with pytest.raises(pk.ScenarioError, match="must be the same in both") as refused:
        one.compare(small_plan.odds(samples=300, seed=2))
    assert set(refused.value.problems["column"]) == {"seed", "samples"}
