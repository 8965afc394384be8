"""What a plan gives to its chart, as plain data, and where it goes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from planning_kit.inputs.records import Limits, Records
from planning_kit.inputs.times import pet_label
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import Finding
from planning_kit.plan.activities import Activity
from planning_kit.plan.moments import LIGHT_KINDS
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.activities import (
    Handover,
    InForce,
    activities,
    finding_lanes,
    finding_minute,
    findings,
    handovers,
    in_force,
    packed,
    work_by_step,
)
from planning_kit.show.escape import one_line
from planning_kit.show.hover import Words
from planning_kit.show.lanes import Lanes, lay_out
from planning_kit.show.palette import Theme, task_fills

EDGE_MIN = 8.0  # shown before egress and after the last limit

Windows = list[tuple[float, float]]


@dataclass(frozen=True)
class Scene:
    """A plan, and perhaps a baseline, ready to be drawn; times in minutes of PET, ``egress`` in UTC.

    ``before`` holds the baseline's activities and is None without one; ``now_min`` is None before the outing;
    ``limits`` maps the name of a limit
    to its minute and its label.
    """

    theme: Theme
    title: str
    station: str
    egress: datetime
    end_min: float
    horizon_min: float
    rows: Sequence[Activity]
    before: Sequence[Activity] | None
    found: Sequence[Finding]
    handovers: Sequence[Handover]
    inhibit_rows: Sequence[Sequence[InForce]]
    light: Mapping[str, Windows]
    links: Mapping[str, Windows]
    limits: Mapping[str, tuple[float, str]]
    fills: Mapping[str, tuple[str, str]]
    words: Words
    lanes: Lanes
    now_min: float | None = None

    @cached_property
    def work(self) -> Mapping[str, Sequence[Activity]]:
        """The bars of work of each step."""
        return work_by_step(self.rows)

    @property
    def reachable(self) -> tuple[float, float]:
        """How far the chart can be panned: to the earliest inhibit and to the horizon."""
        first, last = self.shown
        earliest = min((hold.set_by_min for row in self.inhibit_rows for hold in row), default=0.0)
        return min(first, earliest - EDGE_MIN), max(last, self.horizon_min)

    @property
    def shown(self) -> tuple[float, float]:
        """What the chart shows before anyone zooms."""
        return -EDGE_MIN, max(self.end_min, *(minute for minute, _ in self.limits.values())) + EDGE_MIN


def scene_of(plan: TimedPlan, baseline: TimedPlan | None, theme: Theme) -> Scene:
    """Read everything that the chart needs from a plan."""
    records = plan.scenario.records
    rows, found = activities(plan.timeline), findings(findings_of(plan))
    inhibits = packed(in_force(plan.inhibits))
    periods = {**plan.relays, **plan.named_windows}
    links = {one_line(name): _pairs(windows) for name, windows in periods.items()}
    return Scene(
        theme=theme, title=one_line(records.settings.title), station=one_line(records.settings.station),
        egress=plan.egress, end_min=plan.end_min, horizon_min=plan.horizon_min,
        rows=rows, before=None if baseline is None else activities(baseline.timeline),
        found=found, handovers=handovers(plan.handovers), inhibit_rows=inhibits,
        light={kind: _pairs(getattr(plan.light, kind)) for kind in LIGHT_KINDS}, links=links,
        limits=_limits(records.settings.limits),
        fills=task_fills([task.task for task in records.tasks]), words=Words.of(plan),
        lanes=_lanes(records, rows, found, links, len(inhibits), baseline is not None),
        now_min=plan.now_min,
    )


def _limits(limits: Limits) -> dict[str, tuple[float, str]]:
    entries = {}
    for name, key in (("planned limit", "planned_min"), ("hard limit", "hard_min")):
        minute, source = getattr(limits, key), one_line(limits.sources.get(key, ""))
        entries[name] = (minute, f"{name} {pet_label(minute)}" + (f" ({source})" if source else ""))
    return entries


def _lanes(records: Records, rows: Sequence[Activity], found: Sequence[Finding], links: Iterable[str],
           inhibit_rows: int, with_ghosts: bool) -> Lanes:
    crew, actors = [member.crew for member in records.crew], [actor.actor for actor in records.actors]
    work = work_by_step(rows)
    timed = [finding for finding in found if math.isfinite(finding_minute(finding, work))]
    marked = {who for finding in timed for who in finding_lanes(finding, work, [*crew, *actors])}
    return lay_out(crew, actors, links, inhibit_rows=inhibit_rows, with_ghosts=with_ghosts,
                   with_findings=marked)


def _pairs(windows: Iterable[Sequence[float]]) -> Windows:
    return [(float(start), float(finish)) for start, finish in windows]
