"""Promises hold for the plan that gave them, are on the safe side, and break with their numbers."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk
from tests.conftest import LATE, SCENARIOS, TESTS
from tests.edits import edited

SMALL = SCENARIOS / "small-outing"
SEVERAL = [SMALL, SCENARIOS / "faulty-plan", TESTS / "data" / "curlew-deck", TESTS / "data" / "orders-heron"]


@pytest.fixture(scope="module")
def plan() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(SMALL))


def broken(plan: pk.Plan, later: pk.Plan) -> dict[tuple[str, str], str]:
    lost = plan.promises().lost_in(later.promises())
    return {(row.promise, row.about): row.words for row in lost.itertuples()}


def value(plan: pk.Plan, promise: str, about: str) -> object:
    rows = plan.promises()
    return rows[(rows["promise"] == promise) & (rows["about"] == about)]["value"].iloc[0]


@pytest.mark.parametrize("folder", SEVERAL, ids=lambda folder: folder.name)
def test_they_hold_for_their_own_plan_and_are_on_the_safe_side(folder: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(folder))
    promises = plan.promises()
    assert not promises.duplicated(["promise", "about"]).any()
    exec("\n".join(promises["assertion"]), {"now": plan.promises()})
    exec(promises.assertions(folder), {})
    exact = plan.tightest_exact
    for row in promises[promises["promise"].str.startswith("margin ") & (promises["how"] != "")].itertuples():
        kind = row.promise.removeprefix("margin ")
        least = min(each.margin for each in exact[exact["kind"] == kind].itertuples()
                    if row.about in (each.about, f"{each.about} {each.crew}"))
        assert least - 0.1 < row.value <= least + 1e-6
    # every finite margin is of a row, promised or missed
    finite = exact[exact["margin"].abs() < float("inf")]
    assert {f"margin {kind}" for kind in finite["kind"]} == {
        each for each in promises["promise"] if each.startswith("margin ")}


def test_windows_that_steps_need_are_told_by_hand(plan: pk.Plan) -> None:
    # small-outing: B3 alone needs night; where it lies, the light of the plan says
    work = plan.timeline.query("step == 'B3' and kind == 'work'")
    start, finish = work[["start_min", "finish_min"]].iloc[0]
    (number,) = [number for number, (begin, end) in enumerate(plan.light.night, 1)
                 if begin <= start and finish <= end]
    assert value(plan, "light night", "B3") == f"night {number}"


def test_a_lost_night_is_told_with_both(plan: pk.Plan) -> None:
    room = float(value(plan, "margin night", "night 1"))
    waits = plan.timeline.query("step == 'B3' and kind == 'wait'")  # they are used up first
    wait = float((waits.finish_min - waits.start_min).iloc[0])
    assert ("light night", "B3") not in broken(plan, plan.what_if(stretch={"B2": f"+{wait + room - 0.1}"}))
    later = plan.what_if(stretch={"B2": f"+{wait + room + 0.2}"})
    told = broken(plan, later)
    assert told["light night", "B3"].startswith("light night of B3: night 2 now, night 1 was promised")
    assert told["margin night", "night 1"].endswith(f"the plan has none any more, at least {room} was "
                                                    "promised")
    assert ("required task", "LMP") not in told


def test_a_margin_that_is_overdrawn_is_told_as_negative(plan: pk.Plan) -> None:
    spare = float(value(plan, "margin limit", "planned_min"))
    later = plan.what_if(stretch={"Z1": f"+{spare + 5}"})
    told = broken(plan, later)["margin limit", "planned_min"]
    assert f"{value(later, 'margin limit', 'planned_min')} min now, at least {spare} was promised" in told
    assert float(value(later, "margin limit", "planned_min")) < 0
    assert ("margin limit", "planned_min") not in broken(later, later)
    missed = later.promises().query("promise == 'margin limit' and about == 'planned_min'").iloc[0]
    assert (missed.how, missed.assertion) == ("", "")


def test_a_task_that_is_left_out_or_no_more_required_is_told(plan: pk.Plan) -> None:
    other = pk.time_plan(plan.scenario.edit_row("tasks", "CAS", need="optional"))
    assert broken(plan, other).keys() == {("required task", "CAS")}


def test_a_finding_in_the_place_of_another_is_told(plan: pk.Plan) -> None:
    one = pk.time_plan(edited(plan.scenario, "hardware", "driver", end_at="MST"))
    assert [promise for promise, _ in broken(plan, one)].count("findings by name") == 1
    now = one.promises()
    names = now.query("promise == 'findings by name' and about == 'stop'")["value"].iloc[0]
    with pytest.raises(AssertionError, match="findings by name of stop"):
        now.keeps("findings by name", "stop", among=names.replace("custody", "tethers"))
    now.keeps("findings by name", "stop", among=f"{names}; light/dark B1")


def test_an_accepted_finding_counts_as_that(tmp_path: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / "faulty-plan").save(tmp_path / "copy"))
    before = value(plan, "findings", "concern not accepted"), value(plan, "findings", "accepted")
    concern = plan.findings.query("severity == 'concern' and accepted == ''").iloc[0]
    plan.accept(concern, "Ada", "seen")
    after = value(plan, "findings", "concern not accepted"), value(plan, "findings", "accepted")
    assert after == (before[0] - 1, before[1] + 1)


@pytest.mark.parametrize(("asked", "says"), [
    ({"at_least": 3.0}, "nothing of here: the plan has none any more, at least 3.0 was promised"),
    ({"same": "night 1"}, "nothing of here: the plan has none any more, night 1 was promised"),
])
def test_what_there_is_not_is_told(plan: pk.Plan, asked: dict[str, object], says: str) -> None:
    with pytest.raises(AssertionError) as told:
        plan.promises().keeps("nothing", "here", **asked)
    assert str(told.value) == says


def test_a_value_of_another_kind_is_no_traceback(plan: pk.Plan) -> None:
    with pytest.raises(AssertionError, match="night 1 now, at least 3"):
        plan.promises().keeps("light night", "B3", at_least=3)


def test_a_notebook_is_written_once(plan: pk.Plan, tmp_path: Path) -> None:
    path = plan.promises().write(tmp_path / "mine.ipynb", SMALL)
    assert path.read_text(encoding="utf-8").count("now.keeps(") == (plan.promises()["how"] != "").sum()
    assert "not a certified tool" in path.read_text(encoding="utf-8")
    for wrong in (path, tmp_path / "no such folder" / "mine.ipynb"):
        with pytest.raises(pk.ScenarioError, match="cannot be written"):
            plan.promises().write(wrong, SMALL)


def test_a_re_timed_plan_promises_nothing(demo_plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError, match="before the outing"):
        demo_plan.retime(LATE).promises()
