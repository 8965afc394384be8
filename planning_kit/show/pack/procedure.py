"""How the outing goes: the tasks, the timeline as a picture, and the detailed procedure in columns by PET.

The timeline needs no script: strips of at most four hours, light above, lanes below. Bars carry the step's id
where it fits; the procedure has every step. Colours are those of the charts; nothing is told by colour alone:
travel is a line, a wait a low open bar, work a full one.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import accumulate, groupby
from math import isnan, nan

import numpy as np

from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.judge.every_margin import nearest_edges
from planning_kit.plan.activities import TRAVEL, WAIT, Activity
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import BriefingEvent, briefing_events
from planning_kit.show.chart_rows import BrokenRule, broken_rules
from planning_kit.show.pack import content
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table, pet, slack_cell, table_of
from planning_kit.show.palette import INK_ON_FILL, LIGHT, fills_of
from planning_kit.show.wording import OpenFindings, nights_words

WIDTH = 780.0
STRIP_MIN = 240.0
_LEFT, _RIGHT = 62.0, 8.0
_AXIS, _SKY, _LANE, _THIN, _GAP = 22.0, 11.0, 25.0, 10.0, 3.0
_FOOT, _BETWEEN = 9.0, 10.0
_TICK_MIN = 30.0
_SIZE = 6.6
_HELD = "#F3D9DA"  # an inhibit in force
_NIGHT = "#E6E8F0"
_CHAR = 0.58  # width of a character over the font size, on the safe side


def timeline_picture(plan: TimedPlan) -> content.Picture:
    """The whole outing as strips of at most four hours, equal in scale."""
    count = max(1, int(np.ceil(plan.end_min / STRIP_MIN)))
    span = max(30.0, np.ceil(plan.end_min / count / _TICK_MIN) * _TICK_MIN)
    shapes: list[content.Shape] = []
    top = 0.0
    for number in range(count):
        strip = _Strip(plan, number * span, span, top)
        shapes += strip.shapes()
        top += strip.height + _BETWEEN
    alt = (f"Timeline of {len(plan.steps)} steps over PET 0:00 to {pet_label(plan.end_min)} in the lanes "
           f"{', '.join(plan.lanes)}. Night: {nights_words(plan)}. The procedure table gives every step with "
           "its times.")
    return content.Picture(WIDTH, top - _BETWEEN, tuple(shapes), alt)


class _Strip:
    """One stretch of time, drawn from ``top`` down."""

    def __init__(self, plan: TimedPlan, begin: float, span: float, top: float) -> None:
        self.plan, self.begin, self.span, self.top = plan, begin, span, top
        self.fills = fills_of(plan.scenario.records.tasks, plan.lanes)
        self.sky_top = top + _AXIS
        self.lanes_top = self.sky_top + _SKY + _GAP
        *tops, self.holds_top = accumulate((self._lane_height(crew) + _GAP for crew in plan.lanes),
                                           initial=self.lanes_top)
        self.lane_tops = dict(zip(plan.lanes, tops, strict=True))
        self.bottom = self.holds_top + len(plan.inhibit_holds) * _THIN
        self.height = self.bottom + _FOOT - top

    def shapes(self) -> Iterator[content.Shape]:
        for start, end in self.plan.light.night:
            yield from self._box(float(start), float(end), self.sky_top, self.bottom - self.sky_top, _NIGHT)
        yield from self._axis()
        yield from self._sky()
        for crew, lane in self.plan.lanes.items():
            height, at = self._lane_height(crew), self.lane_tops[crew]
            yield self._side(crew, at + height / 2 + 3, is_bold=True)
            for activity in lane:
                yield from self._bar(activity, at, height)
        for each in broken_rules(self.plan):
            yield from self._broken(each)
        for number, hold in enumerate(self.plan.inhibit_holds):
            y = self.holds_top + number * _THIN
            yield self._side(hold.inhibit.inhibit, y + 7)
            yield from self._box(hold.set_by_min, hold.lift_after_min, y + 2, _THIN - 4, _HELD, LIGHT.stop)

        yield from self._limits()

    def _broken(self, broken: BrokenRule) -> Iterator[content.Shape]:
        """Steps ruled outside their window and framed, a broken line between the ends of a gap."""
        for step, start, finish in broken.outside:
            for box in self._boxes(step, start, finish):
                for x in np.arange(box.x + 1.5, box.x + box.width, 3.0).tolist():
                    yield content.Line(((x, box.y), (x, box.y + box.height)), INK_ON_FILL, 0.5)
        for step in broken.steps:
            for box in self._boxes(step, *self.plan.span(step)):
                left, top, right, foot = box.x, box.y - 1.5, box.x + box.width, box.y + box.height + 1.5
                yield content.Line(((left, top), (right, top), (right, foot), (left, foot), (left, top)),
                                   LIGHT.stop, 1.4)
        if any(self.begin <= at_min < self.begin + self.span for _, at_min in broken.line):
            ends = [(self._x(at_min), self.lane_tops[crew] + self._lane_height(crew))
                    for crew, at_min in broken.line]
            yield content.Line(tuple(ends), LIGHT.stop, 1.4, 2.0)
            x, y = np.mean(ends, axis=0).tolist()
            for way in (3, -3):
                yield content.Line(((x - 3, y - way), (x + 3, y + way)), LIGHT.stop, 1.4)

    def _boxes(self, step: str, start: float, finish: float) -> Iterator[content.Box]:
        """A stretch of a step in each of its lanes."""
        for crew in self.plan.steps[self.plan.position(step)].people:
            yield from self._box(start, finish, self.lane_tops[crew], self._lane_height(crew), "")

    def _limits(self) -> Iterator[content.Shape]:
        """The planned and the hard limit, where this stretch has them, with their names at the foot."""
        limits = self.plan.scenario.settings.limits
        for name, minute in (("planned limit", limits.planned_min), ("hard limit", self.plan.hard_min)):
            if self.begin < minute <= self.begin + self.span:
                x = self._x(minute)
                yield content.Line(((x, self.sky_top), (x, self.bottom)), LIGHT.stop, 1.0, 3.0)
                yield content.Label(x, self.bottom + _FOOT - 1, name, _SIZE, LIGHT.stop,
                            "end" if x > WIDTH - _RIGHT - 30 else "middle", is_bold=True)

    def _lane_height(self, crew: str) -> float:
        return _LANE if crew in self.plan.travels else _THIN + 3

    def _x(self, at_min: float) -> float:
        share = (at_min - self.begin) / self.span
        return _LEFT + min(max(share, 0.0), 1.0) * (WIDTH - _LEFT - _RIGHT)

    def _box(self, start: float, finish: float, y: float, height: float, fill: str,
             stroke: str = "") -> Iterator[content.Box]:
        if finish > self.begin and start < self.begin + self.span:
            yield content.Box(self._x(start), y, self._x(finish) - self._x(start), height, fill, stroke)

    def _side(self, text: str, y: float, is_bold: bool = False) -> content.Label:
        room = int((_LEFT - 6) / (_SIZE * _CHAR))
        return content.Label(2, y, one_line(text)[:room], _SIZE, LIGHT.ink, is_bold=is_bold)

    def _axis(self) -> Iterator[content.Shape]:
        yield self._side("PET", self.top + 8, is_bold=True)
        yield self._side("GMT", self.top + 17)
        for at_min in map(float, np.arange(self.begin, self.begin + self.span + 1e-9, _TICK_MIN)):
            x = self._x(at_min)
            is_last = at_min >= self.begin + self.span - 1e-9
            anchor = "start" if at_min == self.begin else "end" if is_last else "middle"
            tick_top = self.top + _AXIS - 3
            yield content.Box(x - 0.2, tick_top, 0.4, self.bottom - tick_top, "#C9CDD3")
            yield content.Label(x, self.top + 8, pet_label(at_min), _SIZE, LIGHT.ink, anchor, is_bold=True)
            gmt = gmt_label(moment_at(at_min, self.plan.pet_zero))
            yield content.Label(x, self.top + 17, gmt, _SIZE - 0.8, LIGHT.quiet_ink, anchor)

    def _sky(self) -> Iterator[content.Shape]:
        yield self._side("Light", self.sky_top + 8)
        for kind, fill, ink in (("day", LIGHT.day, LIGHT.day_ink), ("night", LIGHT.night, LIGHT.night_ink)):
            for number, (start, end) in enumerate(getattr(self.plan.light, kind), start=1):
                for box in self._box(float(start), float(end), self.sky_top, _SKY, fill):
                    yield box
                    yield from self._name(f"{kind} {number}", box, (_SIZE,), ink, self.sky_top + 8)

    def _bar(self, activity: Activity, y: float, height: float) -> Iterator[content.Shape]:
        start, finish = activity.start_min, activity.finish_min
        if activity.kind == TRAVEL:
            yield from self._box(start, finish, y + height / 2 - 1, 2, LIGHT.quiet_ink)
        elif activity.kind == WAIT:
            yield from self._box(start, finish, y + height * 0.3, height * 0.4, "#FFFFFF", LIGHT.quiet_ink)
        else:
            fill = self.fills.get(activity.task, self.fills[""])[0]
            for box in self._box(start, finish, y, height, fill, INK_ON_FILL):
                yield box
                yield from self._name(activity.step or "in", box, (_SIZE, _SIZE - 1, _SIZE - 1.8))

    def _name(self, text: str, box: content.Box, sizes: Sequence[float], ink: str = INK_ON_FILL,
              y: float | None = None) -> Iterator[content.Label]:
        """A name in the middle of a box, in the largest size that fits."""
        size = next((size for size in sizes if len(text) * size * _CHAR < box.width), None)
        if size is not None:
            y = box.y + box.height / 2 + size * 0.36 if y is None else y
            yield content.Label(box.x + box.width / 2, y, text, size, ink, "middle")


def timeline_section(plan: TimedPlan) -> Section:
    """The outing as a picture."""
    broken = [f"Broken: {each.words}." for each in broken_rules(plan)]
    signs = "Framed: breaks a rule; ruled: outside its window; dashed with a cross: a broken gap or order."
    return Section("timeline", "Timeline", (
        "Full bars are work, low open bars waits, lines travel; shaded: night; broken lines: limits. "
        "Bars carry step ids.", *([signs, *broken] if broken else ())), (timeline_picture(plan),))


def summary_section(plan: TimedPlan) -> Section:
    """The tasks with when they are done."""
    rows, edges = [], nearest_edges(plan)
    for task in plan.scenario.records.tasks:
        own = [i for i, step in enumerate(plan.steps) if step.task == task.task]
        left = [slack for slack in (float(edges[i]) for i in own) if not isnan(slack)]
        rows.append({
            "task": task.task, "title": task.title, "need": task.need, "steps": len(own),
            "who": ", ".join(dict.fromkeys(plan.steps[i].crew for i in own)),
            "start_min": min((float(plan.starts[i]) for i in own), default=nan),
            "finish_min": max((float(plan.finishes[i]) for i in own), default=nan),
            "slack": slack_cell(min(left, default=nan)), "objective": task.objective})
    return Section("summary", "Summary", (), (table_of(
        rows, "Tasks", "Tasks, with first start and last finish (PET)", Column("Task", "task", 0.6),
        Column("Title", "title", 2), Column("Need", "need", 0.9), Column("Crew", "who"),
        Column("Steps", "steps", 0.5, 0), Column("First start", pet("start_min"), 0.7),
        Column("Last finish", pet("finish_min"), 0.7),
        Column("Least slack to an edge, min", "slack", 0.9, 1, "down"),
        Column("Objective", "objective", 2.6)),))


def procedure_section(plan: TimedPlan) -> Section:
    """Every activity by PET: EV1 and EV2 beside each other, others and inhibits in a column of their own."""
    rows: list[tuple[Cell, ...]] = []
    joined: set[int] = set()
    found = OpenFindings(plan)
    events = [replace(told, lines=(*told.lines, f"Open: {still_open}."))
              if told.kind == "work" and (still_open := found.of_step(told.step)) else told
              for told in briefing_events(plan) if told.kind != "finding"]
    for now in grouped((told.pet, told) for told in events).values():
        others = [told for told in now if not _is_of_crew(plan, told)]
        crew = [told for told in now if _is_of_crew(plan, told)]
        for is_shared, together in groupby(crew, lambda told: told.who not in plan.travels):
            if is_shared:
                joined.add(len(rows))
            rows.append(_row(plan, list(together), others, is_shared))
            others = []
        if others:
            rows.append(_row(plan, [], others, False))
    columns = (Column("PET, GMT", share=0.75), *(Column(crew, share=3) for crew in plan.travels),
               Column("Others, inhibits", share=1.9))
    return Section("procedure", "Detailed procedure", (
        "A row a moment, by phase elapsed time. A step of both crew members stands across both columns. "
        "\"Open\" points to stops and concerns by their number in the list of findings.",
    ), (Table("Procedure", "Procedure by PET", columns, tuple(rows), joined=frozenset(joined)),))


def _is_of_crew(plan: TimedPlan, told: BriefingEvent) -> bool:
    return told.who in plan.travels or told.who == " and ".join(plan.travels)


def _row(plan: TimedPlan, events: list[BriefingEvent], others: list[BriefingEvent],
         is_shared: bool) -> tuple[Cell, ...]:
    """What begins within one minute: of each crew member, or of both together; others at the right."""
    first = min((*events, *others), key=lambda told: told.at_min)
    label = Rich((first.pet, gmt_label(moment_at(first.at_min, plan.pet_zero), first.side)))
    if is_shared:
        both = _cell(events)
        return label, both, both, _cell(others, with_names=True)
    return (label, *(_cell([told for told in events if told.who == crew]) for crew in plan.travels),
            _cell(others, with_names=True))


def _cell(events: list[BriefingEvent], with_names: bool = False) -> Cell:
    lines: list[str] = []
    strong: set[int] = set()
    for told in events:
        strong |= {len(lines)} if told.kind in ("work", "inhibit", "lift") else set()
        lines += [f"{told.who}: {told.lines[0]}" if with_names else told.lines[0], *told.lines[1:]]
    return Rich(tuple(lines), frozenset(strong)) if lines else None
