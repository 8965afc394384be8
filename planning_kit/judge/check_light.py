"""Checks of the sky over a plan: is the light of lit steps certain, and has a step that needs a link one?

``light``: rule ``not-known``, one finding a plan, at its worst edge.

``links``: rules ``not-covered``; ``no-relays`` (about the steps that need a link).
"""

from collections.abc import Iterator
from math import isnan

import numpy as np

from planning_kit.inputs.records import Step
from planning_kit.inputs.times import moment_at, number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan
from planning_kit.sky.orbit import Orbit, edge_uncertainty_s
from planning_kit.sky.windows import SECONDS_PER_DAY

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
