"""Checks: steps whose night or day is not certain, and calls that no relay carries to the end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan, nan

import numpy as np

from planning_kit.inputs.times import moment_at, pet_label
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.needs import LinkCover, gaps_text
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan
from planning_kit.sky.orbit import Orbit, edge_uncertainty_s
from planning_kit.sky.windows import SECONDS_PER_DAY

LIGHT = "light"


@dataclass(frozen=True)
class _Lit:
    """A lit step with the window that it lies in: PET minutes; ``what`` is ``night 2``."""

    step: str
    crew: str
    what: str
    begin_min: float
    end_min: float


def check_light_known(plan: TimedPlan) -> Iterator[Finding]:
    """The edges of a window that a step needs may be off by more than the guard (concern).

    By a quarter of a revolution or more, the windows say nothing about single nights (stop). One finding a
    plan, at its worst edge. How far an edge may be off: `edge_uncertainty_s`, with its assumptions.
    """
    lit = list(_lit_steps(plan))
    if not lit:
        return
    orbit = Orbit.from_elements(plan.scenario.elements)
    edges = np.array([[each.begin_min, each.end_min] for each in lit])
    off_s = edge_uncertainty_s(orbit, plan.egress, edges.ravel() * 60.0).reshape(edges.shape)
    row, side = np.unravel_index(int(off_s.argmax()), off_s.shape)
    worst_s, guard_s = float(off_s[row, side]), plan.scenario.settings.night_guard_s
    if worst_s > guard_s:
        yield _not_known(plan, orbit, lit, int(row), float(edges[row, side]), worst_s)


def _lit_steps(plan: TimedPlan) -> Iterator[_Lit]:
    for step, start, finish in zip(plan.steps, plan.starts, plan.finishes, strict=True):
        if step.light in ("night", "day"):
            windows = getattr(plan.light, step.light)
            first = int(np.searchsorted(windows[:, 1] + ROUNDING_MIN, finish))  # those before end too early
            for number, (begin, end) in enumerate(windows[first:].tolist(), start=first + 1):
                if begin > start + ROUNDING_MIN:
                    break
                yield _Lit(step.step, step.crew, f"{step.light} {number}", begin, end)


def _not_known(plan: TimedPlan, orbit: Orbit, lit: list[_Lit], row: int, edge_min: float,
               off_s: float) -> Finding:
    worst, guard_s = lit[row], plan.scenario.settings.night_guard_s
    age_days = (moment_at(edge_min, plan.egress) - orbit.epoch).total_seconds() / SECONDS_PER_DAY
    side = "before" if age_days >= 0 else "after"
    steps = ", ".join(dict.fromkeys(each.step for each in lit))
    is_useless = off_s > orbit.period_min * 60 / 4
    meaning = (" That is over a quarter of a revolution: these windows say nothing about single nights."
               if is_useless else "")
    remedy = "get newer elements" if is_useless else "get newer elements, or keep a larger night_guard_s"
    return Finding(
        STOP if is_useless else CONCERN, LIGHT, "not-known", "", worst.crew, worst.step, edge_min,
        f"the elements are of {orbit.epoch:%Y-%m-%d %H:%M} UTC, {abs(age_days):.1f} days {side} the edge of "
        f"{worst.what} at {pet_label(edge_min)}, which {worst.step} needs: it may be shifted by "
        f"±{off_s:.0f} s, more than the {guard_s:g} s kept free.{meaning} On such windows depend {steps}: "
        f"{remedy}, and time the plan again",
        "lighting.night_guard_s", off_s, guard_s, guard_s - off_s,
    )


LINKS = "links"


def check_links(plan: TimedPlan) -> Iterator[Finding]:
    """A step with ``link`` yes or wait of which some part has no relay (concern)."""
    for cover in plan.link_covers:
        if cover.gaps:
            yield _gap(cover)


def check_link_data(plan: TimedPlan) -> Iterator[Finding]:
    """A remark when steps need a link and the scenario names no relay."""
    wanting = [step.step for step in plan.steps if step.link in ("yes", "wait")]
    if wanting and not plan.relays:
        yield Finding(
            REMARK, LINKS, "no-relays", " ".join(wanting), "", "", nan,
            f"links are not checked for {', '.join(wanting)}: the scenario names no relays ([relays] "
            "longitudes_deg_east)",
        )


def _gap(cover: LinkCover) -> Finding:
    if isnan(cover.next_cover_min):
        remedy = "no full coverage before the horizon: shorten the step or split it"
    else:
        remedy = (f"the next full coverage begins at {pet_label(cover.next_cover_min)} (link = wait waits "
                  "for it)")
    return Finding(
        CONCERN, LINKS, "not-covered", "", cover.step.crew, cover.step.step, cover.start_min,
        f"{cover.step.step} needs a link from {pet_label(cover.start_min)} to {pet_label(cover.finish_min)}; "
        f"{100 * cover.share:.0f} % is covered, none from {gaps_text(cover.gaps)}: {remedy}",
        "steps.link", cover.share, 1.0, cover.share - 1.0,
    )
