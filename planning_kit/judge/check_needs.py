"""Checks of what a plan needs of the sky and of others: light that is certain, links, inhibits that stand.

``light``: rule ``not-known``, one finding a plan, at its worst edge.

``links``: rules ``not-covered``; ``no-relays`` (about the steps that need a link).

``inhibits``: rules, each about the inhibit, ``backwards``, ``not-in-force`` (at a step that needs it),
``held-too-long``, ``outside-window``, ``before-pet-zero``.
"""

from collections.abc import Iterator
from math import isnan, nan

import numpy as np

from planning_kit.inputs.records import Inhibit, Step
from planning_kit.inputs.times import moment_at, number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.needs import Hold, left_in, needed_edges, window_of_hold
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan
from planning_kit.sky.orbit import Orbit, edge_uncertainty_s
from planning_kit.sky.windows import SECONDS_PER_DAY, Windows

LIGHT = "light"


def check_light_known(plan: TimedPlan) -> Iterator[Finding]:
    """The edges of a window that a step needs may be off by more than the guard (concern).

    By a quarter of a revolution or more, the windows say nothing about single nights (stop). One finding a
    plan, at its worst edge. How far an edge may be off: `edge_uncertainty_s`, with its assumptions.
    """
    lit: list[tuple[Step, str, tuple[float, float]]] = []  # with name (``night 2``) and edges of its window
    for each, start, finish in plan.each_step():
        if each.light in ("night", "day"):
            windows = getattr(plan.light, each.light)
            first = int(np.searchsorted(windows[:, 1] + ROUNDING_MIN, finish))  # those before end too early
            for number, (begin, end) in enumerate(windows[first:].tolist(), start=first + 1):
                if begin > start + ROUNDING_MIN:
                    break
                lit.append((each, f"{each.light} {number}", (begin, end)))
    if not lit:
        return
    orbit = Orbit(plan.scenario.elements)
    edges = np.array([edges for _, _, edges in lit])
    off_s = edge_uncertainty_s(orbit, plan.pet_zero, edges.ravel() * 60.0).reshape(edges.shape)
    row, side = np.unravel_index(int(off_s.argmax()), off_s.shape)
    worst_s, guard_s = float(off_s[row, side]), plan.scenario.settings.night_guard_s
    if worst_s > guard_s:
        steps = ", ".join(dict.fromkeys(step.step for step, _, _ in lit))
        step, what, _ = lit[int(row)]
        yield _not_known(plan, orbit, step, what, float(edges[row, side]), worst_s, steps)


def _not_known(plan: TimedPlan, orbit: Orbit, worst: Step, what: str, edge_min: float, off_s: float,
               steps: str) -> Finding:
    guard_s = plan.scenario.settings.night_guard_s
    age_days = (moment_at(edge_min, plan.pet_zero) - orbit.epoch).total_seconds() / SECONDS_PER_DAY
    side = "before" if age_days >= 0 else "after"
    is_useless = off_s > orbit.period_min * 60 / 4
    meaning = (" That is over a quarter of a revolution: these windows say nothing about single nights."
               if is_useless else "")
    remedy = "get a newer one" if is_useless else "get a newer one, or keep a larger night_guard_s"
    return Finding(
        STOP if is_useless else CONCERN, LIGHT, "not-known", crew=worst.crew, step=worst.step,
        start_min=edge_min,
        message=f"the orbit is of {orbit.epoch:%Y-%m-%d %H:%M} UTC, {abs(age_days):.1f} days {side} the "
                f"edge of {what} at {pet_label(edge_min)}, which {worst.step} needs: it may be shifted by "
                f"±{number_label(off_s, 'up', 0)} s, more than the {guard_s:g} s kept free.{meaning} On such "
                f"windows depend {steps}: {remedy}, and time the plan again",
        source="lighting.night_guard_s", value=off_s, limit=guard_s, margin=guard_s - off_s)


LINKS = "links"


def check_links(plan: TimedPlan) -> Iterator[Finding]:
    """A step with ``link`` yes or wait of which some part has no relay (concern)."""
    for cover in plan.link_covers:
        if cover.gaps:
            step, start, again = cover.step, cover.start_min, cover.next_cover_min
            remedy = ("no full coverage before the horizon: shorten the step or split it" if isnan(again) else
                      f"the next full coverage begins at {pet_label(again, 'up')} (link = wait waits for it)")
            yield Finding(
                CONCERN, LINKS, "not-covered", crew=step.crew, step=step.step, start_min=start,
                message=f"{step.step} needs a link from {pet_label(start)} to {pet_label(cover.finish_min)}; "
                        f"{number_label(100 * cover.share, 'down', 0)} % is covered, none from "
                        f"{pet_spans(*cover.gaps)}: {remedy}",
                source="steps.link", value=cover.share, limit=1.0, margin=cover.share - 1.0)


def check_link_data(plan: TimedPlan) -> Iterator[Finding]:
    """A remark when steps need a link and the scenario names no relay."""
    wanting = [step.step for step in plan.steps if step.link in ("yes", "wait")]
    if wanting and not plan.relays:
        yield Finding(REMARK, LINKS, "no-relays", " ".join(wanting), message=f"links are not checked for "
                      f"{', '.join(wanting)}: the scenario names no relays ([relays] longitudes_deg_east)")


INHIBITS = "inhibits"


def check_inhibits(plan: TimedPlan) -> Iterator[Finding]:
    """Each inhibit: in the right order, over all steps that need it, not too long, inside its window."""
    for hold in plan.inhibit_holds:
        inhibit = hold.inhibit
        if hold.lift_after_min < hold.set_by_min + inhibit.lead_min:
            # It ends before its first step begins: all else would only follow from that.
            yield _stop(
                "backwards", inhibit, inhibit.until_step, hold.lift_after_min,
                f"ends with {inhibit.until_step} at {pet_label(hold.lift_after_min, 'up')}, before it begins "
                f"for {inhibit.from_step} at {pet_label(hold.set_by_min + inhibit.lead_min, 'down')}: "
                "exchange from_step and until_step, or reorder the steps", "inhibits.from_step, until_step")
            continue
        yield from _outside(plan, hold)
        most = inhibit.hold_max_min
        if most is not None and hold.hold_min > most + ROUNDING_MIN:
            yield _stop(
                "held-too-long", inhibit, inhibit.from_step, hold.set_by_min,
                f"is held {number_label(hold.hold_min, 'up')} min, from {_span(hold)}; at most {most:g} "
                f"allowed: bring {inhibit.from_step} and {inhibit.until_step} closer together (gaps.max_gap),"
                " or split the inhibit", "inhibits.hold_max_min", value=hold.hold_min, limit=most)
        yield from _outside_window(plan, hold)
        if hold.set_by_min < 0:
            yield Finding(
                REMARK, INHIBITS, "before-pet-zero", about=inhibit.inhibit, step=inhibit.from_step,
                start_min=hold.set_by_min, message=f"{_name(inhibit)} must be in place before PET 0, by "
                f"{pet_label(hold.set_by_min, 'down')}", source="inhibits.lead_min")


def _outside(plan: TimedPlan, hold: Hold) -> Iterator[Finding]:
    """Steps of ``needed_by`` that do not lie inside."""
    inhibit = hold.inhibit
    for name, at_begin, at_end in needed_edges(plan, hold):
        (start, finish), early, late = plan.span(name), -at_begin, -at_end
        if max(early, late) > ROUNDING_MIN:
            side = "from_step" if early > ROUNDING_MIN else "until_step"
            yield _stop(
                "not-in-force", inhibit, name, start,
                f"{name} needs it from {pet_spans((start, finish))}, but it is in "
                f"force only from {_span(hold)}, {number_label(max(early, late), 'up')} min too short: let "
                f"{side} reach {name}, or move {name}", "inhibits.needed_by",
                crew=plan.steps[plan.position(name)].crew)


def _outside_window(plan: TimedPlan, hold: Hold) -> Iterator[Finding]:
    inhibit = hold.inhibit
    if not inhibit.window:
        return
    windows, begin, end = window_of_hold(plan, hold), hold.set_by_min, hold.lift_after_min
    if left_in(windows, begin, end) >= -ROUNDING_MIN:
        return
    name = inhibit.window if inhibit.window in ("night", "day") else f"window {inhibit.window}"
    room, words = _nearest(windows, begin, end)
    steps = f"{inhibit.from_step} and {inhibit.until_step}"
    remedy = (f"shorten what lies between {steps}, or the lead" if hold.hold_min > room else
              f"move {steps} into it (steps.light or windows)")
    yield _stop(
        "outside-window", inhibit, inhibit.from_step, begin,
        f"is held {number_label(hold.hold_min, 'up')} min, from {_span(hold)}, outside its {name}: "
        f"{words}; {remedy}", "inhibits.window", value=hold.hold_min, limit=room)


def _nearest(windows: Windows, begin: float, end: float) -> tuple[float, str]:
    """Length and words of the window that holds most of the time, or lies nearest to it."""
    if len(windows) == 0:
        return 0.0, "there is none before the horizon"
    # Negative where the two do not meet: then the greatest is that of the least distance.
    shared = np.minimum(windows[:, 1], end) - np.maximum(windows[:, 0], begin)
    first, last = windows[int(shared.argmax())].tolist()
    # Rounded inward, as the hold is outward: in whole minutes it must not look as if it fitted.
    return last - first, (f"the nearest lasts {number_label(last - first, 'down')} min, "
                          f"{pet_label(first, 'up')} to {pet_label(last, 'down')}")


def _span(hold: Hold) -> str:
    return pet_spans((hold.set_by_min, hold.lift_after_min))


def _stop(rule: str, inhibit: Inhibit, step: str, at_min: float, message: str, source: str, crew: str = "",
          value: float = nan, limit: float = nan) -> Finding:
    return Finding(
        STOP, INHIBITS, rule, about=inhibit.inhibit, crew=crew, step=step, start_min=at_min,
        message=f"{_name(inhibit)}: {message}", source=source, value=value, limit=limit,
        margin=limit - value)


def _name(inhibit: Inhibit) -> str:
    return f"inhibit {inhibit.inhibit} ({inhibit.title})" if inhibit.title else f"inhibit {inhibit.inhibit}"
