"""Check: safety tethers. Long enough at every point of the way, hooked only to anchors, lines uncrossed.

Rules: ``reach`` (about the place of the hook), ``no-length``; ``no-anchor`` and ``owner-away`` (about the
place), ``still-hooked`` when going in (about the place of the hook); ``crossing`` (about the two places);
``way-tie`` (about the ends of the way).
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import isnan

from planning_kit.inputs.times import measure, number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan import tether_lines
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.tether_lines import HookMove, Remedy, Tether, TooFar
from planning_kit.plan.timed import TimedPlan

CHECK = "tethers"


def check_reach(plan: TimedPlan) -> Iterator[Finding]:
    """The reach from the hook is longer than the tether (stop), one finding a hook; no length: a remark."""
    for tether in plan.tracked_tethers.values():
        if tether.tether_m is None:
            yield Finding(
                REMARK, CHECK, "no-length", crew=tether.crew,
                message=(
                    f"no tether_m is given for {tether.crew} (crew.csv): the reach of this tether is not "
                    "checked, nor are hook moves on the way back counted but for the one at the airlock"))
            continue
        anchors = {place.place for place in plan.scenario.records.places if place.anchor}
        chances = tether_lines.hook_chances(anchors, plan.lanes[tether.crew], plan.passages[tether.crew])
        for spells in tether_lines.too_far_by_hook(tether.lies, tether.tether_m):
            yield _too_far(plan, tether, spells, chances, tether.tether_m)


def _too_far(plan: TimedPlan, tether: Tether, spells: Sequence[TooFar], chances: Sequence[Remedy],
             tether_m: float) -> Finding:
    first, worst = spells[0], max(spells, key=lambda spell: spell.reach_m)
    settings, reach = plan.scenario.settings, number_label(worst.reach_m, "up")
    when = pet_spans(*((spell.from_min, spell.until_min) for spell in spells))
    moves = tether_lines.remedy(plan.travels[tether.crew], chances, plan.passages[tether.crew], tether, first)
    mend = f"move the hook {', and '.join(_move(plan, tether, move) for move in moves)}" if moves else (
        "no move of this hook to an anchor on the way mends it; go another way or use a longer tether")
    return Finding(
        STOP, CHECK, "reach", about=first.first.line[0], crew=tether.crew, step=first.first.passage.step,
        start_min=first.from_min,
        message=(
            f"the tether of {tether.crew} is {measure(tether_m, 'm', settings, 'down')} long, but "
            f"{plan.place_title(worst.place)} is {measure(worst.reach_m, 'm', settings, 'up', reach)} "
            f"along the way from its hook at {plan.place_title(first.first.line[0])}"
            f"{_because(tether, spells[-1].from_min)}; out of reach from {when}: {mend}"),
        source="crew.tether_m", value=worst.reach_m, limit=tether_m, margin=tether_m - worst.reach_m)


def _because(tether: Tether, by_min: float) -> str:
    """The last hook move that failed until then, if any."""
    failed = [move for move in (*tether.no_anchor, *tether.owner_away) if move.at_min <= by_min]
    return f" (the hook move of {failed[-1].step} does not count: see there)" if failed else ""


def _move(plan: TimedPlan, tether: Tether, move: Remedy) -> str:
    place = f"to {plan.place_title(move.place)} at {pet_label(move.at_min)}"
    if move.is_on_the_way:
        before = move.step or "going in"
        return f"{place}, with a step there that hooks {tether.crew}, on the way to {before}"
    return f"{place}, with hooks {tether.crew} in {move.step}"


def check_ties(plan: TimedPlan) -> Iterator[Finding]:
    """Another way to a step is as fast and would lay the tether otherwise (remark), one finding each way."""
    for crew, tether in plan.tracked_tethers.items():
        legs = (lie for lie in tether.lies if lie.passage.route and not isnan(lie.reach_m))
        lines = {(leg.passage.start_min, leg.passage.place): leg.line for leg in legs}
        found: dict[str, Finding] = {}
        for activity in plan.lanes[crew]:
            line = lines.get((activity.start_min, activity.place), ())
            stops = (activity.place, *activity.via, activity.to_place)
            for ends in pairwise(stops) if line and activity.step and activity.kind == TRAVEL else ():
                about = " ".join(sorted(ends))
                tied = _tied(plan, crew, line, ends)
                if tied and about not in found:
                    found[about] = Finding(
                        REMARK, CHECK, "way-tie", about, crew, activity.step, activity.start_min,
                        message=f"{crew} goes {tied} to be sure of one, name places of it in via_places")
                line, _ = tether_lines.laid_along(plan.travels[crew], line, plan.travels[crew].way(*ends))
        yield from found.values()


def _tied(plan: TimedPlan, crew: str, line: tuple[str, ...], ends: tuple[str, str]) -> str:
    """The way taken and one as fast on which the tether reaches otherwise, in words; "" for none."""
    travel = plan.travels[crew]

    def reaches(way: Sequence[str]) -> tuple[str, str]:
        after, most_m = tether_lines.laid_along(travel, line, way)
        settings, then_m = plan.scenario.settings, tether_lines.line_m(travel, after)
        most, then = (measure(m, "m", settings, "up", number_label(m, "up")) for m in (most_m, then_m))
        return most, then

    def words(way: Sequence[str]) -> str:
        most, then = reaches(way)
        return (f"{' to '.join(map(plan.place_title, way))} (the tether reaches up to {most} on the way, "
                f"{then} then)")

    way = travel.way(*ends)
    other = next((each for each in travel.tied_ways(*ends) if reaches(each) != reaches(way)), None)
    return "" if other is None else f"from {words(way)}; as fast is {words(other)}:"


def check_hooks(plan: TimedPlan) -> Iterator[Finding]:
    """Hook moves where there is no anchor, or while the owner is elsewhere (stop)."""
    airlock = plan.scenario.settings.airlock_place
    if not any(place.anchor for place in plan.scenario.records.places if place.place == airlock):
        yield Finding(
            STOP, CHECK, "no-anchor", about=airlock, start_min=0.0,
            message=f"both tethers start hooked to {plan.place_title(airlock)}, which has no anchor: mark "
                    "its anchor",
            source="places.anchor")
    for tether in plan.tracked_tethers.values():
        for move in tether.no_anchor:
            yield _hook(plan, "no-anchor", tether, move, "to", ", which has no anchor: hook it to an anchor "
                        "on the way, or mark the anchor of this place", "places.anchor")
        for move in tether.owner_away:
            yield _hook(plan, "owner-away", tether, move, "at", f" while {tether.crew} is elsewhere: a "
                        "tether moves only with its owner there; put it in a step of its owner",
                        "steps.hooks")


def _hook(plan: TimedPlan, rule: str, tether: Tether, move: HookMove, at: str, wrong: str,
          source: str) -> Finding:
    place = plan.place_title(move.place) if move.place else "no place"
    return Finding(
        STOP, CHECK, rule, about=move.place, crew=tether.crew, step=move.step, start_min=move.at_min,
        message=f"{move.step} moves the tether of {tether.crew} at {pet_label(move.at_min)} {at} {place}"
                f"{wrong}", source=source)


def check_hooks_going_in(plan: TimedPlan) -> Iterator[Finding]:
    """A tether that is still hooked elsewhere when ingress begins (stop): the hatch would close on it."""
    airlock, going_in = plan.scenario.settings.airlock_place, plan.end_min - plan.network.ends_min
    for crew, tether in plan.tracked_tethers.items():
        hook = tether.lies[-1].line[0]
        if hook != airlock:
            last = next((a.step for a in reversed(plan.lanes[crew]) if a.step), "")
            is_there = last != "" and plan.steps[plan.position(last)].place == airlock
            remedy = f"add {crew} to the hooks of {last}" if is_there else (
                f"add a step at {plan.place_title(airlock)} that hooks {crew}")
            yield Finding(
                STOP, CHECK, "still-hooked", about=hook, crew=crew, step=last, start_min=going_in,
                message=(
                    f"the tether of {crew} is still hooked at {plan.place_title(hook)} when {crew} goes in "
                    f"at {pet_label(going_in)}{_because(tether, going_in)}: {remedy}"),
                source="common practice, no source")


def check_crossings(plan: TimedPlan) -> Iterator[Finding]:
    """Two lines along one route whose owners pass each other there (concern)."""
    tethers = list(plan.tracked_tethers.values())
    for crossing in tether_lines.crossings(*tethers) if len(tethers) == 2 else ():
        place, to_place = plan.place_title(crossing.place), plan.place_title(crossing.to_place)
        if crossing.is_on_the_route:
            how = f"meets {crossing.other} between {place} and {to_place} at {pet_label(crossing.at_min)}"
        else:
            how = (f"passes {crossing.other}, who stands at {to_place}, at {pet_label(crossing.at_min)}, "
                   f"and both tethers lie along the way from {place}")
        # Sorted: the same route is the same finding from whichever end it is walked.
        yield Finding(
            CONCERN, CHECK, "crossing", about=" ".join(sorted((crossing.place, crossing.to_place))),
            crew=f"{crossing.crew} {crossing.other}", step=crossing.step, start_min=crossing.at_min,
            message=f"{crossing.crew} {how}: the lines may cross; agree who passes on which side, or let one "
                    "wait (after)", source="common practice, no source")
