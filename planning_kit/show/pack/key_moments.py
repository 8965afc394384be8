"""Which minutes of an outing are worth a picture in its pack, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import TRAVEL, WORK
from planning_kit.plan.moments import moment_of
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.names import Names, signed

_TOGETHER_MIN = 1.5  # moments nearer than this are one picture


@dataclass(frozen=True)
class KeyMoment:
    """A minute of PET and why it is shown."""

    at_min: float
    why: str


def key_moments(plan: TimedPlan) -> list[KeyMoment]:
    """By time: out at work, the first work in night and by day, hand to hand, worst margins, a way home.

    Each only where the plan has it; two that are hardly apart are one, at the earlier minute.
    """
    found = [*_out_at_work(plan), *_lit(plan), *_hand_to_hand(plan), *_worst_return(plan),
             *_worst_reach(plan), *_longest_way_home(plan)]
    inside = [each for each in found if 0 <= each.at_min <= plan.end_min]
    kept: list[KeyMoment] = []
    for each in sorted(inside, key=lambda each: each.at_min):
        if kept and each.at_min - kept[-1].at_min < _TOGETHER_MIN:
            kept[-1] = replace(kept[-1], why=f"{kept[-1].why}; {each.why}")
        else:
            kept.append(each)
    return kept


def _out_at_work(plan: TimedPlan) -> Iterator[KeyMoment]:
    """Both away from the airlock: when the later of the two begins to work there."""
    airlock = plan.scenario.settings.airlock
    first = [next((each for each in plan.lanes[crew] if each.kind == WORK and each.place != airlock), None)
             for crew in plan.travels]
    begun = [each for each in first if each is not None]
    if begun:
        last = max(begun, key=lambda each: each.start_min)
        yield KeyMoment(last.start_min, f"out at work: {last.crew} begins {last.step}")


def _lit(plan: TimedPlan) -> Iterator[KeyMoment]:
    for light, word in (("night", "in night"), ("day", "by day")):
        steps = [(float(plan.starts[i]), float(plan.finishes[i]), step.step)
                 for i, step in enumerate(plan.steps) if step.light == light]
        if steps:
            start, finish, name = min(steps)
            yield KeyMoment((start + finish) / 2, f"{word}: {name}")


def _hand_to_hand(plan: TimedPlan) -> Iterator[KeyMoment]:
    """Just before the end of the first step in which something passes from hand to hand, both being there."""
    steps = [(float(plan.finishes[i]) - 0.01, step.step) for i, step in enumerate(plan.steps)
             if any(move.into in plan.travels for move in step.leaves)]
    for at_min, name in sorted(steps):
        if len({(person.place, person.to_place) for person in moment_of(plan, at_min).people}) == 1:
            yield KeyMoment(at_min, f"hand to hand: {name}")
            return


def _worst_return(plan: TimedPlan) -> Iterator[KeyMoment]:
    rows = [row for row in plan.return_summary.to_dict("records") if row["margin_min"] == row["margin_min"]]
    if rows:
        worst = min(rows, key=lambda row: row["margin_min"])
        yield KeyMoment(float(worst["at_min"]), f"least return margin: {worst['crew']}, {worst['case']}, "
                                                f"{signed(worst['margin_min'])}")


def _worst_reach(plan: TimedPlan) -> Iterator[KeyMoment]:
    rows = [row for row in plan.tethers.to_dict("records") if row["margin_m"] == row["margin_m"]]
    if rows:
        worst = min(rows, key=lambda row: row["margin_m"])
        # Reach and margin are those of the stretch's farther end: there the picture is drawn.
        at = worst["until_min"] if worst["to_place"] else worst["from_min"]
        yield KeyMoment(float(at), f"least tether margin: {worst['crew']}, {signed(worst['margin_m'], 'm')}")


def _longest_way_home(plan: TimedPlan) -> Iterator[KeyMoment]:
    """Half way along the longest way to the airlock."""
    airlock, names = plan.scenario.settings.airlock, Names(plan)
    homeward = [each for crew in plan.travels for each in plan.lanes[crew]
                if each.kind == TRAVEL and each.to_place == airlock]
    if homeward:
        longest = max(homeward, key=lambda each: each.minutes)
        yield KeyMoment((longest.start_min + longest.finish_min) / 2,
                        f"longest way to the airlock: {longest.crew} from {names.title(longest.place)}, "
                        f"there at {pet_label(longest.finish_min)}")
