"""A change is a value with its words; changes are made one after another and checked once."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.changes.amounts import Amount, Close, GapTo, LikelyMinutes, PetZero, Set, Stretch, Tethers
from planning_kit.changes.asked import changes_asked_for
from planning_kit.changes.change import Cells, Change, apply, made, step_named, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Add, Drag, Follow, Order, Trade, Wait
from planning_kit.explore.propose.choices import in_order
from planning_kit.explore.session.draft import draft_of, scenario_of, with_change
from planning_kit.inputs import source
from planning_kit.inputs.records import Records
from tests.edits import edited
from tests.explore.retime.test_log import log_of

NO_MORE_THAN_AFTER = {"first_step": "C3", "then_step": "Z1", "min_gap": 0, "max_gap": "",
                      "first_at": "finish", "then_at": "start", "reason": "the cassette first"}


def apart(small: pk.Scenario) -> list[Change]:
    """Changes that can all be made of the small outing, none of which touches what another does."""
    return [
        Follow("B1", "C1"),
        Stretch((Amount(step_named("Z1"), 1.5, 0.0),)),
        GapTo(small.records.gaps[0], {"max_gap": 70}),
        Tethers({"EV2": 30}),
        Set({"limits.planned_min": 95}),
        Cells("steps", {"caution": {"B2": "Slow"}}),
        Trade(("CAS",)),
        Drop((step_named("A1"),)),
        Wait(NO_MORE_THAN_AFTER),
        Add({"step": "H1", "task": "LMP", "crew": "EV1", "place": "MID", "title": "Hook", "hooks": "EV1",
             "minutes_likely": 2.0}, "B3", is_before=True),
    ]


@pytest.fixture
def checks(monkeypatch: pytest.MonkeyPatch) -> Callable[[], int]:
    """How often a whole scenario has been checked since this was asked last."""
    count, whole = [0], source.records_from

    def counted(*given: object) -> object:
        count[0] += 1
        return whole(*given)  # type: ignore[arg-type]

    def asked() -> int:
        now, count[0] = count[0], 0
        return now

    monkeypatch.setattr(source, "records_from", counted)
    return asked


@settings(max_examples=40)
@given(st.data())
def test_at_once_or_one_after_another_in_any_order(small: pk.Scenario, data: st.DataObject) -> None:
    pool = apart(small)
    chosen = [pool[i] for i in data.draw(st.lists(st.integers(0, len(pool) - 1), unique=True))]
    one_by_one = small
    for change in chosen:
        one_by_one = apply(one_by_one, [change])
    files = one_by_one.checked.source.files()
    assert apply(small, chosen).checked.source.files() == files
    assert apply(small, data.draw(st.permutations(chosen))).checked.source.files() == files
    assert bool(chosen) == (files != small.checked.source.files())


def test_nothing_is_changed_in_place_and_no_change_is_the_same_scenario(small: pk.Scenario) -> None:
    before, records = small.checked.source.files(), small.records
    assert apply(small, apart(small)) != small
    assert small.checked.source.files() == before
    assert small.records is records
    assert apply(small, []) is small


def test_each_change_reads_what_those_before_it_left(small: pk.Scenario) -> None:
    # Traded twice is as before only if the second one sees the first; the rule is then written behind B1.
    twice = apply(small, [Trade(("LMP",)), Trade(("LMP",)), Follow("B1", "C2"), Follow("C1", "B1")])
    assert twice.steps["step"].tolist() == ["A1", "C2", "B1", "C1", "B2", "B3", "C3", "Z1"]
    crew = [each.steps.set_index("step")["crew"].to_dict() for each in (twice, small)]
    assert crew[0] == crew[1]
    late = apply(small, [Cells("steps", {"minutes_likely": {"B2": "14"}}),
                         Stretch((Amount(step_named("B2"), 1, 1),))])
    assert late.steps.set_index("step").loc["B2", "minutes_likely"] == 15


def test_a_what_if_is_checked_once_however_much_it_asks(small_plan: pk.Plan,
                                                        checks: Callable[[], int]) -> None:
    small_plan.what_if(10, {"B2": 1.1}, "CAS", swap="all", close="HAT POR", tether_m=30, move={"B1": "A1"},
                       settings={"limits.planned_min": 95})
    assert checks() == 1
    small_plan.what_if(20)
    assert checks() == 0  # PET 0 is of the plan


def test_a_decision_is_checked_once_and_so_is_what_happened(small_plan: pk.Plan,
                                                            checks: Callable[[], int]) -> None:
    live = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:12", "B1 started 0:14"), 15)
    checks()
    live.decide(skip=["C1"], order=["C3", "B3"], waits=[NO_MORE_THAN_AFTER])
    assert checks() == 2


def test_a_decision_table_is_checked_once_a_line(demo_plan: pk.Plan, checks: Callable[[], int]) -> None:
    table = demo_plan.decision_table(samples=100)
    assert 3 < checks() <= len(table) + 1


def test_all_faults_of_all_changes_come_in_one_error(small: pk.Scenario) -> None:
    with pytest.raises(pk.ScenarioError) as refused:
        apply(small, [Set({"limits.hard_min": "soon"}), Cells("steps", {"place": {"B2": "NOX"}}),
                      Tethers({"EV1": -3})])
    assert {"scenario.toml", "steps", "crew"} <= set(refused.value.problems["table"])
    with pytest.raises(pk.ScenarioError) as refused:  # though what is dropped cannot be read for one of them
        apply(small, [Set({"limits.hard_min": "soon"}), Cells("crew", {"tether_m": {"EV1": "long"}}),
                      Drop((step_named("C1"),))])
    assert {"scenario.toml", "crew"} <= set(refused.value.problems["table"])


def test_what_is_amiss_on_the_way_is_no_fault(small: pk.Scenario) -> None:
    # No route leads to the port deck any more, but nobody works there: the cassette is dropped afterwards.
    left = apply(small, [Close((frozenset({"HAT", "POR"}),)), Drop((task_named(small.records, "CAS"),))])
    assert len(left.routes) == len(small.routes) - 1
    assert "CAS" not in set(left.tasks["task"])


@settings(max_examples=25)
@given(st.sets(st.integers(0, 95), min_size=1, max_size=12))
def test_nothing_names_a_step_that_was_dropped(demo: pk.Scenario, numbers: set[int]) -> None:
    steps = [step.step for step in demo.records.steps]
    gone = {steps[number % len(steps)] for number in numbers}
    left, told = made(demo, [Drop(tuple(map(step_named, sorted(gone))))]), []
    records = left.scenario.records
    for step in records.steps:
        told += [step.step, *step.after]
    for gap in records.gaps:
        told += [gap.first_step, gap.then_step]
    for inhibit in records.inhibits:
        told += [inhibit.from_step, inhibit.until_step, *inhibit.needed_by]
    assert not gone & set(told)
    went = len(demo.records.gaps) - len(records.gaps)
    assert sum("the gap" in note.words for note in left.notes) == went


def test_a_drag_in_the_draft_is_the_change_of_the_scenario(small: pk.Scenario) -> None:
    draft = draft_of(small)
    for change in (Drag("C3", "EV2", "C2"), Drag("C1", "EV1", None), Drag("Z1", "EV1", "B2"),
                   LikelyMinutes("B2", 6.6), LikelyMinutes("B2", 30),
                   Set({"pet_zero_utc": "2031-09-03T07:40:00Z"})):
        assert scenario_of(with_change(draft, change), small) == apply(small, [change]), change.words
        assert apply(small, [change]) != small, change.words


def asks(records: Records) -> Sequence[Change]:
    return [
        Stretch((Amount(step_named("B2"), 1.0, -0.1),)),
        Stretch((Amount(task_named(records, "LMP"), 1.25, 0.0), Amount(step_named("C2"), 1.0, 12.3))),
        GapTo(records.gaps[0], {"min_gap": 20.5}),
        Drop((task_named(records, "CAS"),)),
        Drop((task_named(records, "CAS"), step_named("B1"))),
        Follow("B1", "C2"),
    ]


def test_what_a_gain_proposes_is_asked_for_by_the_keywords_it_shows(small_plan: pk.Plan) -> None:
    for change in asks(small_plan.scenario.records):
        (read,) = changes_asked_for(small_plan.scenario.records, small_plan.pet_zero, change.arguments())
        assert read == change
    (late,) = changes_asked_for(small_plan.scenario.records, small_plan.pet_zero, {"slip_min": -12.3})
    assert isinstance(late, PetZero)
    assert late.arguments() == {"slip_min": -12.3}


def test_a_gap_under_another_name_is_the_same_gap(small: pk.Scenario) -> None:
    named = GapTo(small.records.gaps[0], {"min_gap": 20.0}, name="C2 C3")
    (read,) = changes_asked_for(small.records, small.settings.pet_zero_utc, named.arguments())
    assert (read.words, apply(small, [read])) == (named.words, apply(small, [named]))


def test_rows_are_found_by_their_id_wherever_its_column_stands(small: pk.Scenario) -> None:
    turned = small.with_table("crew", small.crew[sorted(small.crew, reverse=True)])
    assert turned.crew.columns[0] == "tether_m"
    assert apply(turned, [Tethers({"EV2": 31})]).crew["tether_m"].tolist() == [26, 31]
    assert edited(turned, "crew", "EV1", tether_m=9).crew["tether_m"].tolist() == [9, 26]


def test_an_order_deals_out_the_rows_that_its_steps_have(small: pk.Scenario) -> None:
    ordered = apply(small, [Order(("C3", "B1", "B3"))]).steps["step"].tolist()
    assert ordered == ["A1", "C3", "C1", "C2", "B2", "B1", "B3", "Z1"]


def test_an_order_of_lanes_stays_near_the_rows_and_never_loses_a_step() -> None:
    assert in_order("ABCDE", {"EV1": "CA", "EV2": "DE"}) == ["B", "C", "A", "D", "E"]
    with pytest.raises(pk.ScenarioError, match="before and behind"):
        in_order("ABC", {"EV1": "AB", "EV2": "BA"})


@pytest.mark.parametrize(("most", "after", "gaps"), [
    ("", "C3", 1), (None, "C3", 1), (float("nan"), "C3", 1),  # no more than after says
    (30, "", 2), (0, "", 2),  # a clock: in after it would be lost
])
def test_a_wait_with_a_greatest_gap_is_a_row_of_gaps(small: pk.Scenario, most: object, after: str,
                                                     gaps: int) -> None:
    wait = Wait(NO_MORE_THAN_AFTER | {"max_gap": most})
    changed = apply(small, [wait])
    assert (changed.records.steps[-1].after, len(changed.gaps)) == ((after,) if after else (), gaps)
    if not after:
        assert changed.records.gaps[-1].max_gap == most
    assert ("at most" in wait.words) == (not after)


@pytest.mark.parametrize("cells", [{"min_gap": "soon"}, {"min_gap": 3, "max_gap": [1]}, {"min_gap": "7"}])
def test_a_wait_of_any_cells_is_told_and_never_a_traceback(small: pk.Scenario,
                                                           cells: dict[str, object]) -> None:
    wait = Wait(NO_MORE_THAN_AFTER | cells)
    assert "Z1" in wait.words
    if cells == {"min_gap": "7"}:
        assert apply(small, [wait]).records.gaps[-1].min_gap == 7
    elif cells["min_gap"] == "soon":
        with pytest.raises(pk.ScenarioError, match="soon"):
            apply(small, [wait])
