"""Late steps against a constraint solver on random small problems, their properties, and by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planning_kit.plan import network as kinds
from planning_kit.plan.late import late_keepers, late_starts, planned_starts
from planning_kit.plan.network import Bound, Demand, Group, Home, Network, Release
from planning_kit.plan.slack import find_holders, slacks
from planning_kit.plan.timing import earliest_starts, outing_end
from tests.plan.networks import timing_problems
from tests.plan.test_timing_against_solver import Judge


@st.composite
def late_problems(draw: st.DrawFn) -> tuple[Network, np.ndarray]:
    """Random problems in which about half of the steps are late, some with a margin.

    Often one of the two has a long way home, so that the other may be late by several windows; and often all
    lit steps share a window, which a late one must not leave.
    """
    network, durations = draw(timing_problems())
    count, more = len(network.steps), float(draw(st.sampled_from([0, 90, 180])))
    one, other = network.homes
    lit = tuple(step for step in range(count) if network.demands[step])
    groups = (Group("g", lit, network.demands[lit[0]][0]),) if len(lit) > 1 and draw(st.booleans()) else None
    network = replace(network, homes=(one, replace(other, travel_min=other.travel_min + more)))
    if groups:
        network = replace(network, groups=groups, group_windows=(groups[0].demand.windows,))
    late = tuple(draw(st.lists(st.integers(0, count - 1), min_size=1, max_size=count - 1, unique=True)))
    margins = tuple(float(draw(st.sampled_from([0, 0, 3, 10]))) for _ in late)
    return replace(network, late=late, late_margins_min=margins), durations


def timed(problem: tuple[Network, np.ndarray]) -> tuple[Network, np.ndarray, np.ndarray]:
    network, durations = problem
    earliest = earliest_starts(network, durations)
    assume(np.isfinite(earliest).all() and (earliest >= 0).all())
    return network, durations, earliest


def greatest(network: Network, durations: np.ndarray, earliest: np.ndarray,
             most: np.ndarray) -> list[float] | None:
    """What the solver finds greatest in sum: all but the late steps held, each late one at ``most``."""
    judge = Judge(network, durations, float(outing_end(network, earliest, durations)))
    for step, start in enumerate(judge.starts):
        if step in network.late:
            judge.model.add(start <= int(most[step]))
        else:
            judge.model.add(start == int(earliest[step]))
    return judge.latest()


@settings(max_examples=500)
@given(late_problems())
def test_late_starts_are_those_that_the_solver_finds_greatest(problem: tuple[Network, np.ndarray]) -> None:
    network, durations, earliest = timed(problem)
    end = float(outing_end(network, earliest, durations))
    # Nothing behind it: by the end of the outing, or where it is anyway.
    most = np.maximum(end, earliest + durations) - durations
    expected = greatest(network, durations, earliest, most)
    assert expected is not None
    free = replace(network, late_margins_min=(0.0,) * len(network.late))
    assert planned_starts(free, durations).tolist() == expected
    margins = np.zeros(len(earliest))
    margins[list(network.late)] = network.late_margins_min
    kept = greatest(network, durations, earliest, np.maximum(earliest, np.array(expected) - margins))
    assert planned_starts(network, durations).tolist() == kept


@settings(max_examples=150)
@given(late_problems())
def test_nothing_else_moves_and_every_rule_is_kept(problem: tuple[Network, np.ndarray]) -> None:
    network, durations, earliest = timed(problem)
    starts = planned_starts(network, durations)
    others = [step for step in range(len(starts)) if step not in network.late]
    assert starts[others].tolist() == earliest[others].tolist()
    assert (starts >= earliest).all()
    assert outing_end(network, starts, durations) == outing_end(network, earliest, durations)
    # They keep every rule: as releases they are a plan.
    assert earliest_starts(network, durations, not_before=starts).tolist() == starts.tolist()


@settings(max_examples=150)
@given(late_problems(), st.integers(0, 40))
def test_a_late_step_can_slip_by_its_margin_without_moving_others(
        problem: tuple[Network, np.ndarray], slip: int) -> None:
    network, durations, earliest = timed(problem)
    starts = planned_starts(network, durations)
    others = [step for step in range(len(starts)) if step not in network.late]
    latest = planned_starts(replace(network, late_margins_min=(0.0,) * len(network.late)), durations)
    for step, margin in zip(network.late, network.late_margins_min, strict=True):
        # A window can lie between: then it is earlier than asked for, never later.
        assert starts[step] <= max(earliest[step], latest[step] - margin)
        if network.allowed[step] is None and slip <= latest[step] - starts[step]:
            slipped = earliest_starts(network, durations, not_before=np.where(
                np.arange(len(starts)) == step, starts[step] + slip, -np.inf))
            assert slipped[others].tolist() == earliest[others].tolist()


@settings(max_examples=100)
@given(late_problems(), st.integers(2, 6), st.randoms(use_true_random=False))
def test_many_at_once_as_one_by_one(problem: tuple[Network, np.ndarray], count: int, random: object) -> None:
    network, durations, _ = timed(problem)
    shape = (len(durations), count)
    more = np.array([[random.randint(0, 15) for _ in range(count)] for _ in durations])  # type: ignore[attr-defined]
    many = durations[:, None] + more
    together = planned_starts(network, many)
    assert together.shape == shape
    for sample in range(count):
        alone = planned_starts(network, many[:, [sample]])
        assert together[:, sample].tolist() == alone[:, 0].tolist()
    floors = np.arange(count, dtype=float) * 7.0 + np.zeros(shape)
    shifted = planned_starts(network, durations, not_before=floors)
    assert shifted[:, 0].tolist() == planned_starts(network, durations, not_before=floors[:, 0]).tolist()


@settings(max_examples=200)
@given(late_problems())
def test_what_holds_a_late_step_leads_to_an_end_and_never_in_a_circle(
        problem: tuple[Network, np.ndarray]) -> None:
    network, durations, earliest = timed(problem)
    starts = planned_starts(network, durations)
    holders = find_holders(network, durations, starts)
    for step in range(len(starts)):
        holder, seen = holders.chosen[step], {step}
        assert (holder.kind in (kinds.LATE, kinds.LATE_END)) == (starts[step] > earliest[step])
        while holder.source >= 0:
            assert holder.source not in seen, "the chain of holders runs in a circle"
            seen.add(holder.source)
            holder = holders.chosen[holder.source]


# By hand: EV1 takes a box out (10 min), then installs it at 60, which night allows no sooner; 5 min of way.
NIGHT = np.array([[60.0, 100.0]])
DARK = Demand(kinds.LIGHT, "night", NIGHT, NIGHT)
LENGTHS = np.array([10.0, 20.0, 5.0])


def box(margin: float = 0.0, *more: Bound, late: tuple[int, ...] = (0,)) -> Network:
    return Network(
        steps=("BOX", "INSTALL", "TELL"), releases=(Release(0, 0.0, crew="EV1"), Release(2, 0.0, crew="IV")),
        bounds=(Bound(0, 1, kinds.ORDER, "BOX", travel_min=5.0, crew="EV1"), *more),
        demands=((), (DARK,), ()), allowed=(None, NIGHT, None), homes=(Home("EV1", 1, 4.0),), ends_min=6.0,
        horizon_min=400.0, late=late, late_margins_min=(margin,) * len(late))


def test_it_starts_so_that_what_needs_it_can_start() -> None:
    assert earliest_starts(box(), LENGTHS).tolist() == [0, 60, 0]
    assert planned_starts(box(), LENGTHS).tolist() == [45, 60, 0]  # 60 - 5 of way - 10 of work
    assert planned_starts(box(7.5), LENGTHS).tolist() == [37.5, 60, 0]
    # More margin than there is room: as early as it can.
    assert planned_starts(box(50.0), LENGTHS).tolist() == [0, 60, 0]


def test_its_slack_is_that_of_its_successor_and_the_margin() -> None:
    starts = planned_starts(box(7.5), LENGTHS)
    slack = slacks(box(7.5), LENGTHS, starts, hard_min=200.0)
    # The end, 60 + 20 + 4 + 6 = 90, bounds the plan; night 1 the window: 80 of 100.
    assert slack.to_plan[:2].tolist() == [7.5, 0]
    assert slack.to_limit[:2].tolist() == [20 + 7.5, 20]  # the night ends, and there is no other
    assert slack.to_window[:2].tolist() == [20 + 7.5, 20]


def test_margins_of_late_steps_do_not_add_up() -> None:
    tell = Bound(2, 0, kinds.AFTER, "TELL")
    both = box(10.0, tell, late=(2, 0))
    # Without margins BOX at 45 and TELL at 40; each can slip by 10 before INSTALL does.
    assert planned_starts(both, LENGTHS).tolist() == [35, 60, 30]
    # Told is what its own margin keeps it from moving.
    holders = find_holders(both, LENGTHS, planned_starts(both, LENGTHS))
    assert [holder.text for holder in holders.chosen] == ["late:INSTALL", "light:night-1", "late:INSTALL"]
    free = box(0.0, tell, late=(2, 0))
    holders = find_holders(free, LENGTHS, planned_starts(free, LENGTHS))
    assert [holder.text for holder in holders.chosen] == ["late:INSTALL", "light:night-1", "late:BOX"]


def test_what_nothing_waits_for_finishes_by_the_end_of_the_outing() -> None:
    network = box(late=(2,))
    assert planned_starts(network, LENGTHS).tolist() == [0, 60, 85]  # both inside at 90
    assert find_holders(network, LENGTHS, np.array([0, 60, 85.0])).chosen[2].text == "late_end:outing"


def test_the_last_work_of_a_lane_leaves_time_for_the_way_home() -> None:
    network = replace(box(late=(2,)), homes=(Home("EV1", 1, 4.0), Home("EV2", 2, 9.0)))
    assert planned_starts(network, LENGTHS).tolist() == [0, 60, 90 - 6 - 9 - 5]


def test_its_own_greatest_gap_and_window_hold_it_too() -> None:
    within = Bound(2, 1, kinds.MAX_GAP, "TELL", -12.0, from_finish=False, to_finish=True)
    network = box(0.0, within, late=(2,))
    # TELL must start within 12 min after INSTALL finishes, at 80.
    assert planned_starts(network, LENGTHS)[2] == 85
    later = replace(network, homes=(Home("EV1", 1, 40.0),))
    assert planned_starts(later, LENGTHS)[2] == 92
    lit = replace(network, demands=((), (DARK,), (DARK,)), allowed=(None, NIGHT, NIGHT),
                  homes=(Home("EV1", 1, 40.0),))
    starts = planned_starts(lit, LENGTHS)
    assert starts[2] == 92
    lit = replace(lit, bounds=lit.bounds[:1])
    assert planned_starts(lit, LENGTHS)[2] == 95
    assert find_holders(lit, LENGTHS, planned_starts(lit, LENGTHS)).chosen[2].text == "late_end:night-1"


def test_it_stays_in_the_window_of_its_group() -> None:
    nights = np.array([[60.0, 100.0], [150.0, 190.0]])
    dark = Demand(kinds.LIGHT, "night", nights, nights)
    alone = replace(box(late=(2,)), demands=((), (dark,), (dark,)), allowed=(None, nights, nights),
                    homes=(Home("EV1", 1, 200.0),))
    assert planned_starts(alone, LENGTHS)[2] == 185
    group = Group("g", (1, 2), dark)
    shared = replace(alone, groups=(group,), group_windows=(nights,))
    starts = planned_starts(shared, LENGTHS)
    assert starts[2] == 95
    assert find_holders(shared, LENGTHS, starts).chosen[2].text == "late_end:night-1"
    # All of the group late: together to the later night, by the end of the outing.
    both = replace(shared, late=(1, 2), late_margins_min=(0.0, 0.0), homes=(Home("EV2", -1, 200.0),))
    assert planned_starts(both, LENGTHS).tolist() == [0, 170, 185]


def test_what_has_begun_stays() -> None:
    network = replace(box(late=(0, 2)), fixed=frozenset({0}))
    assert planned_starts(network, LENGTHS).tolist() == [0, 60, 85]
    assert 0 not in late_keepers(network, LENGTHS, earliest_starts(network, LENGTHS))


def test_a_sample_without_a_place_is_left_as_it_is() -> None:
    many = np.array([[10.0, 10.0], [20.0, 50.0], [5.0, 5.0]])  # 50 min of work fit in no night
    starts = planned_starts(box(), many)
    assert starts[:, 0].tolist() == [45, 60, 0]
    assert starts[:, 1].tolist() == earliest_starts(box(), many)[:, 1].tolist()


def test_positions_may_be_others_than_those_of_the_network() -> None:
    earliest = earliest_starts(box(), LENGTHS)
    assert late_starts(box(), LENGTHS, earliest, [], []).tolist() == earliest.tolist()
    assert late_starts(box(), LENGTHS, earliest, [2], [5.0]).tolist() == [0, 60, 80]
