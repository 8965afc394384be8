"""Early plans of blocks: timed without a place, claiming nothing that hangs on one; and blocks with steps."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from tests.block_outings import FOLDERS, blocks_only, loaded, without_places

SMALL = "scenarios/small-outing"
OF_A_WAY = ["alone_min", "with_partner_min", "abort_min", "partner_abort_min", "terminate_min",
            "partner_terminate_min", "emergency_margin_min", "partner_margin_min", "suit_margin_min",
            "partner_suit_margin_min"]
ALONE = [name for name in OF_A_WAY if "partner" not in name]


@pytest.fixture(scope="module", params=[*FOLDERS, "from nothing"])
def blocky(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> pk.Plan:
    """An outing with blocks that have no place."""
    return pk.time_plan(blocks_only(tmp_path_factory.mktemp("blocks")) if request.param == "from nothing"
                        else without_places(loaded(request.param)))


def unknown_spells(plan: pk.Plan, crew: str) -> list[tuple[float, float]]:
    """From each step without a place until the next way has led somewhere, or work begins at a place."""
    spells: list[tuple[float, float]] = []
    begin: float | None = None
    for row in plan.timeline.query("crew == @crew").sort_values("start_min", kind="stable").itertuples():
        if row.kind == "work" and row.place and begin is not None:
            spells.append((begin, row.start_min))
            begin = None
        if row.kind == "work" and not row.place and begin is None:
            begin = row.start_min
        if row.kind == "travel" and begin is not None:
            spells.append((begin, row.finish_min))
            begin = None
    return spells


def test_nothing_is_claimed_of_a_way_that_is_not_known(blocky: pk.Plan) -> None:
    for crew in ("EV1", "EV2"):
        spells = unknown_spells(blocky, crew)
        assert spells
        rows = blocky.returns.query("crew == @crew")
        is_lost = np.logical_or.reduce([(rows["at_min"] >= begin) & (rows["at_min"] < end)
                                        for begin, end in spells])
        assert rows[is_lost][ALONE].isna().all(axis=None)
        assert (rows[is_lost]["place"] == "").all()
        # That nobody could be brought (minus infinity, infinite) may be told, a number may not.
        assert not np.isfinite(rows[is_lost][OF_A_WAY].to_numpy(dtype=float)).any()
        assert (rows[~is_lost]["place"] != "").all()
        assert rows[~is_lost][["alone_min", "abort_min", "terminate_min"]].notna().all(axis=None)


def test_no_margin_and_no_time_to_turn_back_is_told(blocky: pk.Plan) -> None:
    summary = blocky.return_summary
    assert summary[["margin_min", "time_back_min", "turn_back_by_min", "stay_min"]].isna().all(axis=None)
    assert "return" not in set(blocky.tightest["kind"])
    found = blocky.findings.query("rule == 'place-not-known'")
    assert (found["severity"] == "concern").all()
    for crew in ("EV1", "EV2"):
        begins = found.query("crew == @crew")["start_min"].to_numpy(dtype=float)
        assert np.allclose(np.sort(begins), [begin for begin, _ in unknown_spells(blocky, crew)])


def test_no_tether_is_judged_until_its_hook_moves(blocky: pk.Plan) -> None:
    moves = [(blocky.timed.span(step.step)[1], step.hooks) for step in blocky.scenario.records.steps
             if step.place and step.hooks]
    for crew in ("EV1", "EV2"):
        rows = blocky.tethers.query("crew == @crew")
        for begin, end in unknown_spells(blocky, crew):
            until = min((at for at, hooks in moves if crew in hooks and at >= end), default=np.inf)
            inside = rows[(rows["from_min"] >= begin) & (rows["until_min"] <= until)]
            assert inside[["reach_m", "margin_m"]].isna().all(axis=None)
            told = blocky.findings.query("check == 'tethers' and rule == 'reach' and crew == @crew")
            assert not ((told["start_min"] >= begin) & (told["start_min"] < until)).any()


def test_where_they_are_is_not_told(blocky: pk.Plan) -> None:
    for crew in ("EV1", "EV2"):
        for begin, end in unknown_spells(blocky, crew):
            person = next(each for each in blocky.at((begin + end) / 2).people if each.crew == crew)
            assert not person.is_known
            row = blocky.at((begin + end) / 2).table.query("crew == @crew").iloc[0]
            assert (row["place"], np.isnan(row["reach_m"])) == ("", True)
            theirs = blocky.exposures.query("crew == @crew")
            assert not ((theirs["from_min"] < end) & (theirs["until_min"] > begin)).any()


ASKED: dict[str, Callable[[pk.Plan], Any]] = {
    "odds": lambda plan: plan.odds(samples=100, progress=None),
    "tables": lambda plan: [plan.custody, plan.kit_list, plan.inhibits, plan.summary, plan.suits,
                            plan.handovers, plan.cautions_on_the_way],
    "home": lambda plan: [plan.ways_home(every_min=20), plan.ways_home("abort", every_min=20),
                          *(ask(at) for at in range(0, int(plan.end_min), 20)
                            for ask in (plan.terminate, plan.abort))],
    "explain": lambda plan: [plan.explain(step.step) for step in plan.scenario.records.steps],
    "gain": lambda plan: plan.gain(plan.scenario.records.steps[-1].step, minutes=3),
    "changed": lambda plan: plan.compare(
        plan.what_if(stretch={plan.scenario.records.steps[1].step: "+3"})).times,
    "sweep": lambda plan: plan.sweep(plan.pet_zero, plan.pet_zero + timedelta(hours=2), every_min=60),
    "charts": lambda plan: [pk.swimlane(plan), pk.suit_chart(plan), plan.still(plan.end_min / 2)],
    "cuts": lambda plan: plan.cuts(samples=100, progress=None),
}


@pytest.mark.parametrize("asked", ASKED)
def test_all_can_be_asked(blocky: pk.Plan, asked: str) -> None:
    ASKED[asked](blocky)


def test_no_better_order_is_sought_and_it_says_why(blocky: pk.Plan) -> None:
    found = blocky.propose(effort="quick", progress=None)
    assert not len(found)
    assert "without a place" in found.verdict


def test_the_briefing_and_the_pack_say_not_known(blocky: pk.Plan, tmp_path: Path) -> None:
    text = str(blocky.briefing())
    assert "nan" not in text.replace("Finan", "")
    assert "way back, consumables, alone: not known from" in text
    blocky.write_pack(tmp_path / "pack")
    html = (tmp_path / "pack" / "review.html").read_text(encoding="utf-8")
    assert ">not known<" in html
    assert "turn back by –" not in html


def test_the_outing_is_followed(blocky: pk.Plan, tmp_path: Path) -> None:
    plan = pk.time_plan(blocky.scenario.save(tmp_path / "outing"))
    first = plan.scenario.records.steps[0]
    zero = plan.pet_zero
    pk.append_log(tmp_path / "outing", "pet_zero", at=zero)
    pk.append_log(tmp_path / "outing", "started", step=first.step, at=zero)
    pk.append_log(tmp_path / "outing", "finished", step=first.step,
                  at=zero + timedelta(minutes=first.minutes_likely + 2))
    live = plan.retime(tmp_path / "outing", first.minutes_likely + 5)
    assert live.end_min >= plan.end_min
    options = live.options(reorder="quick", seconds=1.0, progress=None)
    assert options["option"].str.contains("without a place").any()
    assert len(live.ways_home())
    assert len(live.decide(skip=[plan.scenario.records.steps[-1].step]).findings)
    pk.workbench(plan.scenario).close()


def test_travel_counts_from_the_last_place_known() -> None:
    """B1 at the middle rack, B2 nowhere, B3 at the mast: 6 m to MID, 12 m on to MST, at 6 m/min."""
    plan = pk.time_plan(loaded(SMALL).edit_row("steps", "B2", place="", foothold="", takes="", leaves="",
                                               uses="", hooks=""))
    starts = {step.step: plan.timed.span(step.step) for step in plan.scenario.records.steps}
    assert starts["B1"] == pytest.approx((11.0, 15.0))
    assert starts["B2"] == pytest.approx((15.0, 28.0))  # at once: no travel into it
    there = plan.timeline.query("crew == 'EV1' and kind == 'travel' and step == 'B3'").iloc[0]
    assert (there["place"], there["to_place"]) == ("MID", "MST")
    assert (there["start_min"], there["finish_min"]) == pytest.approx((28.0, 30.0))
    rows = plan.returns.query("crew == 'EV1'").set_index("at_min")
    assert np.isfinite(rows.loc[14.0, "alone_min"])
    assert np.isnan(rows.loc[15.0, "alone_min"])
    assert np.isnan(rows.loc[29.0, "alone_min"])
    assert np.isfinite(rows.loc[30.0, "alone_min"])


# --- blocks with steps of their own ---------------------------------------------------------------

def detailed(minutes: float) -> pk.Scenario:
    """The small outing, its cassette planned as a block before."""
    steps = loaded(SMALL).add_row("steps", after="A1", step="CASS", task="CAS", crew="EV2", title="Cassette",
                                  minutes_likely=minutes).steps
    steps["block"] = steps["block"].where(~steps["step"].isin(["C1", "C2", "C3"]), "CASS")
    return loaded(SMALL).with_table("steps", steps)


def test_a_block_with_steps_is_compared_and_not_timed() -> None:
    scenario = detailed(40)
    assert [step.step for step in scenario.records.blocks] == ["CASS"]
    assert "CASS" in set(scenario.steps["step"])
    plan, plain = pk.time_plan(scenario), pk.time_plan(loaded(SMALL))
    pd.testing.assert_frame_equal(plan.timeline, plain.timeline)
    new = plan.findings[~plan.findings["message"].isin(plain.findings["message"])]
    assert list(new[["severity", "check", "rule", "about"]].itertuples(index=False, name=None)) == [
        ("concern", "blocks", "longer-than-block", "CASS")]
    # 1 min (6 m) + 3 + 2:40 (16 m) + 7 + a gap of 25 + 8 = 46:40, against 40.
    assert new["value"].iloc[0] == pytest.approx(46 + 2 / 3)
    assert new["margin"].iloc[0] == pytest.approx(-6 - 2 / 3)


@pytest.mark.parametrize(("minutes", "rule", "severity"), [
    (40, "longer-than-block", "concern"), (60, "shorter-than-block", "remark")])
def test_longer_is_a_concern_and_shorter_a_remark(minutes: float, rule: str, severity: str) -> None:
    found = pk.time_plan(detailed(minutes)).findings.query("check == 'blocks'")
    assert list(found[["rule", "severity"]].itertuples(index=False, name=None)) == [(rule, severity)]


def test_a_block_never_comes_back_in_place_of_its_steps() -> None:
    plan = pk.time_plan(detailed(40))
    without = plan.what_if(drop="CAS")
    assert not {"CASS", "C1"} & set(without.scenario.steps["step"])
    assert not len(without.findings.query("check == 'blocks'"))
    one_less = plan.what_if(drop="C1")
    assert [step.step for step in one_less.scenario.records.blocks] == ["CASS"]
    bare = plan.what_if(drop=["C1", "C2", "C3"])
    assert "CASS" not in set(bare.scenario.steps["step"])


def test_a_block_goes_with_its_steps_to_the_other() -> None:
    scenario = detailed(40).edit_row("tasks", "CAS", swappable="yes")
    traded = pk.time_plan(scenario).what_if(swap="CAS").scenario.records
    assert [step.crew for step in traded.blocks] == ["EV1"]
    assert {step.crew for step in traded.steps if step.task == "CAS"} == {"EV1"}


def test_blocks_of_blocks_are_compared_with_all_below() -> None:
    scenario = detailed(40).add_row("steps", step="ALL", task="CAS", crew="EV2", title="All of it",
                                    minutes_likely=50).edit_row("steps", "CASS", block="ALL")
    found = pk.time_plan(scenario).findings.query("check == 'blocks'").set_index("about")
    assert found.loc["ALL", "value"] == found.loc["CASS", "value"] == pytest.approx(46 + 2 / 3)


def test_an_outing_with_a_block_is_followed_and_ordered(tmp_path: Path) -> None:
    plan = pk.time_plan(detailed(40).save(tmp_path / "outing"))
    for event, at in (("started", 0), ("finished", 12)):
        pk.append_log(tmp_path / "outing", event, step="A1", at=plan.pet_zero + timedelta(minutes=at))
    live = plan.retime(tmp_path / "outing", 13)
    assert [step.step for step in live.scenario.records.blocks] == ["CASS"]
    assert live.end_min > plan.end_min - 1
    assert plan.propose(effort="quick", progress=None).verdict


@pytest.mark.parametrize(("cells", "column", "words"), [
    ({"after": "A1"}, "after", "move after to the one"), ({"light": "night"}, "light", "move light"),
    ({"block": "CASS"}, "block", "details itself: CASS in CASS"),
    ({"block": "NOPE"}, "block", "not in steps.csv")])
def test_what_a_block_may_not_say(cells: dict[str, str], column: str, words: str) -> None:
    with pytest.raises(pk.ScenarioError) as refusal:
        detailed(40).edit_row("steps", "CASS", **cells)
    rows = refusal.value.problems.query("column == @column")
    assert rows["problem"].str.contains(words, regex=False).any()
    assert (rows["table"] == "steps").all()


def test_nothing_else_is_timed_by_a_block() -> None:
    with pytest.raises(pk.ScenarioError) as refusal:
        detailed(40).add_row("gaps", first_step="CASS", then_step="Z1", max_gap=60)
    row = refusal.value.problems.iloc[0]
    assert (row["table"], row["column"]) == ("gaps", "first_step")
    assert "name one of them (C1 C2 C3)" in row["problem"]


def test_blocks_make_no_sign_off_stale() -> None:
    """A column that stands empty says nothing."""
    scenario = loaded(SMALL)
    frame = scenario.steps
    assert scenario.with_table("steps", frame.assign(block="")).digest == scenario.digest
    assert detailed(40).digest != scenario.digest


def test_no_margin_is_promised_and_no_chance_told_without_what_is_not_counted() -> None:
    plan = pk.time_plan(without_places(loaded("scenarios/small-outing")))
    promises = plan.promises()
    margins = promises[promises["promise"].str.startswith("margin")]
    assert len(margins)
    assert set(margins["how"]) == {""}
    odds = plan.odds(samples=100)
    lost = [step.step for step in plan.scenario.records.steps if not step.place]
    assert list(odds.assumed["step"]) == lost
    assert "travel to it is not counted" in odds.assumed["words"].iloc[0]
    assert f"travel to {', '.join(lost)}, without a place" in repr(odds)
    whole = pk.time_plan(loaded("scenarios/small-outing"))
    assert "at_least" in set(whole.promises()["how"])
    assert whole.odds(samples=100).assumed.empty
