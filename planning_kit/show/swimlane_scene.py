"""What a plan gives to its chart, as plain data, and where every lane lies.

The y axis of the chart counts pixels at the chart's own height: heights here are heights on the screen.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.setting_records import Settings
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.timeline_sheet import Baseline
from planning_kit.inputs.times import pet_label
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.findings import Finding, findings_in
from planning_kit.plan.activities import WORK, Activity
from planning_kit.plan.needs import Hold
from planning_kit.plan.timed import TimedPlan
from planning_kit.show import chart_rows
from planning_kit.show.palette import Theme, fills_of
from planning_kit.show.wording import bracketed

LIGHT_PX, LINK_PX, FINDINGS_PX, GHOST_PX = 22, 11, 20, 19
CREW_PX, GUTTER_PX, ACTOR_PX = 92, 44, 21
INHIBIT_PX, LIMIT_LABEL_PX, OUTING_PX = 19, 15, 20


@dataclass(frozen=True)
class Strip:
    """A horizontal strip of the plot."""

    top: float
    height: float

    @property
    def bottom(self) -> float:
        """Its lower edge."""
        return self.top + self.height

    @property
    def mid(self) -> float:
        """Its middle."""
        return self.top + self.height / 2


@dataclass(frozen=True)
class Lane:
    """The strips of one crew member or actor; ``findings`` and ``ghosts`` are None where there are none."""

    who: str
    is_crew: bool
    main: Strip
    findings: Strip | None
    ghosts: Strip | None


@dataclass(frozen=True)
class Lanes:
    """All strips of one chart."""

    light: Strip
    links: Mapping[str, Strip]
    whole_plan: Strip | None
    people: Mapping[str, Lane]
    inhibits: Sequence[Strip]
    planned_label: Strip
    hard_label: Strip
    outing: Strip

    @property
    def height(self) -> float:
        """Height of the whole plot in pixels."""
        return self.outing.bottom + 4

    @property
    def crew(self) -> list[Lane]:
        """The lanes of the suited crew, top to bottom."""
        return [lane for lane in self.people.values() if lane.is_crew]

    @property
    def work_bottom(self) -> float:
        """Where the lowest lane of a person, or row of inhibits, ends."""
        lanes = self.people.values()
        of_people = (strip for lane in lanes for strip in (lane.main, lane.findings, lane.ghosts))
        return max(strip.bottom for strip in (*self.inhibits, *of_people) if strip is not None)


@dataclass
class Stack:
    """Strips laid below each other; ``at`` is where the next one begins, in pixels from the top."""

    at: float = 4.0

    def take(self, height: float, gap: float = 0.0) -> Strip:
        """The next strip, and a gap below it."""
        strip = Strip(self.at, height)
        self.at += height + gap
        return strip


def lay_out(crew: Sequence[str], actors: Sequence[str], links: Iterable[str], *, inhibit_rows: int = 0,
            with_ghosts: bool = False, with_findings: Iterable[str] = ()) -> Lanes:
    """Place the lanes: light, links, whole-plan findings, crew, others at work, inhibits, limits.

    ``with_findings`` names the lanes that need a strip for findings ("" is the whole plan). The first crew
    lane has its side strips above it, the others below: the gutter between the crew is for hand-overs.
    """
    stack, marked = Stack(), set(with_findings)
    light = stack.take(LIGHT_PX, gap=4)
    link_strips = {name: stack.take(LINK_PX, gap=4) for name in links}
    whole_plan = stack.take(FINDINGS_PX) if "" in marked else None
    stack.at += 6
    people = {who: _crew_lane(stack, who, number == 0, number == len(crew) - 1, who in marked, with_ghosts)
              for number, who in enumerate(crew)}
    people |= {who: _actor_lane(stack, who, who in marked, with_ghosts) for who in actors}
    inhibits = [stack.take(INHIBIT_PX, gap=2) for _ in range(inhibit_rows)]
    stack.at += 6
    planned, hard = stack.take(LIMIT_LABEL_PX), stack.take(LIMIT_LABEL_PX, gap=2)
    return Lanes(light=light, links=link_strips, whole_plan=whole_plan, people=people, inhibits=inhibits,
                 planned_label=planned, hard_label=hard, outing=stack.take(OUTING_PX))


def _crew_lane(stack: Stack, who: str, is_first: bool, is_last: bool, has_findings: bool,
               with_ghosts: bool) -> Lane:
    marks = ghosts = None
    if is_first:
        marks = stack.take(FINDINGS_PX) if has_findings else None
        ghosts = stack.take(GHOST_PX, gap=3) if with_ghosts else None
    main = stack.take(CREW_PX, gap=3 if is_last and not is_first else GUTTER_PX)
    if not is_first:
        ghosts = stack.take(GHOST_PX) if with_ghosts else None
        marks = stack.take(FINDINGS_PX) if has_findings else None
        stack.at += 6
    return Lane(who, True, main, marks, ghosts)


def _actor_lane(stack: Stack, who: str, has_findings: bool, with_ghosts: bool) -> Lane:
    marks = stack.take(FINDINGS_PX) if has_findings else None
    ghosts = stack.take(GHOST_PX, gap=2) if with_ghosts else None
    return Lane(who, False, stack.take(ACTOR_PX, gap=6), marks, ghosts)


EDGE_MIN = 8.0  # shown before PET 0 and after the last limit


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A plan, and perhaps a baseline, ready to be drawn; times in minutes of PET.

    ``rows`` are by their start; ``before`` holds the baseline's and is None without one; ``limits`` maps the
    name of a limit to its minute and its label; ``links`` holds the windows of relays and from others.
    """

    plan: TimedPlan
    theme: Theme
    rows: Sequence[Activity]
    before: Sequence[Activity] | None
    found: Sequence[Finding]
    inhibit_rows: Sequence[Sequence[Hold]]
    links: Mapping[str, Iterable[Sequence[float]]]
    limits: Mapping[str, tuple[float, str]]
    fills: Mapping[str, tuple[str, str]]
    words: chart_rows.Words
    lanes: Lanes

    @property
    def settings(self) -> Settings:
        """The settings of the scenario."""
        return self.plan.scenario.records.settings

    @cached_property
    def work(self) -> Mapping[str, Sequence[Activity]]:
        """The bars of work of each step."""
        return chart_rows.work_by_step(self.rows)

    @property
    def reachable(self) -> tuple[float, float]:
        """How far the chart can be panned: to the earliest inhibit and to the horizon."""
        first, last = self.shown
        earliest = min((hold.set_by_min for row in self.inhibit_rows for hold in row), default=0.0)
        return min(first, earliest - EDGE_MIN), max(last, self.plan.horizon_min)

    @property
    def shown(self) -> tuple[float, float]:
        """What the chart shows before anyone zooms."""
        return -EDGE_MIN, max(self.plan.safe_min, *(minute for minute, _ in self.limits.values())) + EDGE_MIN


def scene_of(plan: TimedPlan, baseline: TimedPlan | Baseline | None, theme: Theme) -> Scene:
    """Read everything that the chart needs from a plan."""
    records = plan.scenario.records
    crew, actors = [member.crew for member in records.crew], [actor.actor for actor in records.actors]
    rows, found = _by_start(plan), findings_in(told_findings(plan))
    work = chart_rows.work_by_step(rows)
    marked = {who for finding in found if math.isfinite(chart_rows.finding_minute(finding, work))
              for who in chart_rows.finding_lanes(finding, work, [*crew, *actors])}
    inhibits = chart_rows.packed(plan.inhibit_holds)
    links = {one_line(name): windows for name, windows in {**plan.relays, **plan.named_windows}.items()}
    return Scene(
        plan=plan, theme=theme, rows=rows, before=None if baseline is None else _by_start(baseline),
        found=found, inhibit_rows=inhibits, links=links, limits=_limits(plan),
        fills=fills_of(records.tasks, plan.lanes), words=chart_rows.Words.of(plan),
        lanes=lay_out(crew, actors, links, inhibit_rows=len(inhibits), with_ghosts=baseline is not None,
                      with_findings=marked))


def _by_start(plan: TimedPlan | Baseline) -> list[Activity]:
    rows = chart_rows.rows_of(plan) if isinstance(plan, TimedPlan) else [
        Activity(crew, WORK, step, "", title, "", "", start, finish)
        for step, (who, start, finish, title) in plan.items()
        for crew in (SUITED if who == BOTH else (who,))]
    return sorted(rows, key=lambda row: row.start_min)


def _limits(plan: TimedPlan) -> dict[str, tuple[float, str]]:
    limits = plan.scenario.records.settings.limits
    return {name: (minute, f"{name} {label}{bracketed(limits.sources.get(key, ''))}")
            for name, minute, label, key in (
                ("planned limit", limits.planned_min, pet_label(limits.planned_min, "down"), "planned_min"),
                ("hard limit", plan.hard_min, plan.hard_limit.label, "hard_min"))}
