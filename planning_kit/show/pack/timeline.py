"""The timeline as a picture: what the live chart knows, on paper, without a script.

Strips of at most four hours, equal in scale: light and links above, then the lanes, inhibits at the foot.
Bars carry the step's id, its task's letter and as much of its title as fits, upright where they are narrow.
Nothing is told by colour alone: each task has a letter and a hatching at the foot of its bars, travel is a
line, a wait a low open bar; a key names them.
"""

import textwrap
from collections.abc import Iterator, Sequence
from itertools import product
from math import ceil
from typing import Any

import numpy as np

from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.activities import TRAVEL, WAIT
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.chart_rows import BrokenRule, broken_rules, is_tight, rows_of
from planning_kit.show.live_chart import live_chart
from planning_kit.show.pack import content
from planning_kit.show.palette import INK_ON_FILL, LIGHT
from planning_kit.show.wording import nights_words

_SHAPE = 780 / 465  # width over height of the room on a page
STRIP_MIN = 240.0
_STRIPS = 2  # on one page
_LEFT, _RIGHT = 62.0, 8.0
_AXIS, _SKY, _LINK, _LANE, _GUTTER, _THIN, _ROW = 20.0, 11.0, 6.0, 54.0, 9.0, 13.0, 9.0
_GAP, _FOOT, _BETWEEN, _BAND = 3.0, 9.0, 8.0, 8.0
_TICK_MIN = 30.0
_SIZE = 6.6
_TITLE_SIZES = (6.4, 5.8, 5.2)
_HELD, _NIGHT, _RULE = "#F3D9DA", "#E6E8F0", "#C9CDD3"
_CHAR, _LEAD = 0.56, 1.12  # width and height of a character over the font size, on the safe side


def timeline_section(plan: TimedPlan) -> content.Section:
    """The outing as pictures of two strips each."""
    broken = [f"Broken: {each.words}." for each in broken_rules(plan)]
    signs = "Framed: breaks a rule; ruled: outside its window; dashed with a cross: a broken gap or order."
    words = (signs, *broken) if broken else ()
    return content.Section("timeline", "Timeline", words, timeline_pictures(plan))


def timeline_pictures(plan: TimedPlan) -> tuple[content.Picture, ...]:
    """The whole outing, a picture a page, each with its key."""
    chart = live_chart(plan)
    count = max(1, ceil(plan.end_min / STRIP_MIN))
    span = max(30.0, ceil(plan.end_min / count / _TICK_MIN) * _TICK_MIN)
    return tuple(_picture(plan, chart, range(first, min(first + _STRIPS, count)), span)
                 for first in range(0, count, _STRIPS))


def _picture(plan: TimedPlan, chart: dict[str, Any], numbers: range, span: float) -> content.Picture:
    foot, entries = 0.0, list(_key_entries(chart))
    strips = []
    for number in numbers:
        strips.append(_Strip(plan, chart, number * span, span, foot))
        foot += strips[-1].height + _BETWEEN
    height = foot + 3 + ceil(len(entries) / _KEY_COLUMNS) * _KEY_ROW
    width = max(780.0, (strips[0].height * _STRIPS + height - foot) * _SHAPE)  # alike on all pages
    shapes: list[content.Shape] = []
    for strip in strips:
        strip.width = width
        shapes += strip.shapes()
    alt = (f"Timeline of {len(plan.steps)} steps over PET {pet_label(numbers[0] * span)} to "
           f"{pet_label(min(plan.end_min, (numbers[-1] + 1) * span))} in the lanes {', '.join(plan.lanes)}. "
           f"Night: {nights_words(plan)}. The procedure gives every step with its times.")
    return content.Picture(width, height, (*shapes, *_key(entries, foot, width)), alt)


class _Strip:
    """One stretch of time, drawn from ``top`` down."""

    def __init__(self, plan: TimedPlan, chart: dict[str, Any], begin: float, span: float, top: float) -> None:
        self.plan, self.chart, self.begin, self.span, self.top = plan, chart, begin, span, top
        self.width = 0.0
        self.sky_top = top + _AXIS
        self.links_top = self.sky_top + _SKY + 1
        at = self.links_top + len(chart["links"]) * _LINK + _GAP
        self.lane_tops: dict[str, float] = {}
        for crew in plan.lanes:
            self.lane_tops[crew] = at
            at += self._lane_height(crew) + (_GUTTER if crew == next(iter(plan.travels)) else _GAP)
        self.holds_top = at
        self.bottom = at + len(chart["inhibits"]) * _ROW
        self.height = self.bottom + _FOOT - top
        self.tight = {row.step for row in rows_of(plan) if row.step and is_tight(row)}

    def shapes(self) -> Iterator[content.Shape]:
        for start, end in self.chart["light"]["night"]:
            yield from self._box(start, end, self.sky_top, self.bottom - self.sky_top, _NIGHT)
        yield from self._axis()
        yield from self._sky()
        for number, (name, windows) in enumerate(self.chart["links"]):
            y = self.links_top + number * _LINK
            yield self._side(name, y + 5, 5.4)
            for start, end in windows:
                yield from self._box(start, end, y + 1.5, _LINK - 3, LIGHT.link)
        for crew, y in self.lane_tops.items():
            yield self._side(crew, y + self._lane_height(crew) / 2 + 3, is_bold=True)
        yield from self._handovers()  # under the bars, whose words must be read
        for bar in self.chart["bars"]:
            yield from self._bar(*bar)
        for each in broken_rules(self.plan):
            yield from self._broken(each)
        yield from self._inhibits()
        yield from self._limits()

    def _bar(self, step: str, crew: str, kind: str, start: float, finish: float, task: str,
             title: str) -> Iterator[content.Shape]:
        y, height = self.lane_tops[crew], self._lane_height(crew)
        if kind == TRAVEL:
            yield from self._box(start, finish, y + height / 2 - 1, 2, LIGHT.quiet_ink)
        elif kind == WAIT:
            yield from self._box(start, finish, y + height * 0.35, height * 0.3, "#FFFFFF", LIGHT.quiet_ink)
        else:
            fill, letter, _, pattern = self.chart["fills"].get(task, self.chart["fills"][""])
            for box in self._box(start, finish, y, height, fill, INK_ON_FILL):
                yield box
                band = min(_BAND, height / 3)
                yield from hatched(pattern, box.x, y + height - band, box.width, band)
                if step in self.tight:
                    yield _frame(box, 0.0, INK_ON_FILL, 1.3)
                head = f"{step} {letter}".strip() if step else ""
                yield from _words(head, title, box, height - band)

    def _handovers(self) -> Iterator[content.Shape]:
        """From the foot of the lane that gives to the head of the one that takes, or back up."""
        for giver, taker, from_min, to_min in self.chart["handovers"]:
            if giver not in self.lane_tops or taker not in self.lane_tops or giver == taker:
                continue
            if all(self.begin <= at < self.begin + self.span for at in (from_min, to_min)):
                down = self.lane_tops[giver] < self.lane_tops[taker]
                ends = [(self._x(at), self.lane_tops[who] + (self._lane_height(who) if is_foot else 0))
                        for who, at, is_foot in ((giver, from_min, down), (taker, to_min, not down))]
                yield content.Line(tuple(ends), LIGHT.ink, 0.6)
                yield content.Mark(*ends[1], 1.4, "disc", LIGHT.ink, LIGHT.ink)

    def _inhibits(self) -> Iterator[content.Shape]:
        for number, row in enumerate(self.chart["inhibits"]):
            y = self.holds_top + number * _ROW
            if number == 0:
                yield self._side("Inhibits", y + 6.5, 5.4)
            for name, title, start, finish in row:
                for box in self._box(start, finish, y + 0.5, _ROW - 1, _HELD, LIGHT.stop):
                    yield box
                    words = next((text for text in (f"{name} {title}", name)
                                  if len(one_line(text)) * 5.6 * _CHAR < box.width), name)
                    yield content.Label(box.x + 1.5, y + 6.5, one_line(words), 5.6, LIGHT.ink)

    def _broken(self, broken: BrokenRule) -> Iterator[content.Shape]:
        """Steps ruled outside their window and framed, a broken line between the ends of a gap."""
        for step, start, finish in broken.outside:
            for box in self._boxes(step, start, finish):
                for x in np.arange(box.x + 1.5, box.x + box.width, 3.0).tolist():
                    yield content.Line(((x, box.y), (x, box.y + box.height)), INK_ON_FILL, 0.5)
        for step in broken.steps:
            for box in self._boxes(step, *self.plan.span(step)):
                yield _frame(box, 1.5, LIGHT.stop, 1.4)
        if any(self.begin <= at_min < self.begin + self.span for _, at_min in broken.line):
            ends = [(self._x(at_min), self.lane_tops[crew] + self._lane_height(crew))
                    for crew, at_min in broken.line]
            yield content.Line(tuple(ends), LIGHT.stop, 1.4, (2.0,))
            x, y = np.mean(ends, axis=0).tolist()
            for way in (3, -3):
                yield content.Line(((x - 3, y - way), (x + 3, y + way)), LIGHT.stop, 1.4)

    def _boxes(self, step: str, start: float, finish: float) -> Iterator[content.Box]:
        """A stretch of a step in each of its lanes."""
        for crew in self.plan.steps[self.plan.position(step)].people:
            yield from self._box(start, finish, self.lane_tops[crew], self._lane_height(crew), "")

    def _limits(self) -> Iterator[content.Shape]:
        """The planned and the hard limit, where this stretch has them, with their names at the foot."""
        for name, minute in self.chart["limits"]:
            if self.begin < minute <= self.begin + self.span:
                x = self._x(minute)
                yield content.Line(((x, self.sky_top), (x, self.bottom)), LIGHT.stop, 1.0, (3.0,))
                yield content.Label(x, self.bottom + _FOOT - 1, f"{name} limit", _SIZE, LIGHT.stop,
                                    "end" if x > self.width - _RIGHT - 30 else "middle", is_bold=True)

    def _lane_height(self, crew: str) -> float:
        return _LANE if crew in self.plan.travels else _THIN

    def _x(self, at_min: float) -> float:
        share = (at_min - self.begin) / self.span
        return _LEFT + min(max(share, 0.0), 1.0) * (self.width - _LEFT - _RIGHT)

    def _box(self, start: float, finish: float, y: float, height: float, fill: str,
             stroke: str = "") -> Iterator[content.Box]:
        if finish > self.begin and start < self.begin + self.span:
            yield content.Box(self._x(start), y, self._x(finish) - self._x(start), height, fill, stroke)

    def _side(self, text: str, y: float, size: float = _SIZE, is_bold: bool = False) -> content.Label:
        room = int((_LEFT - 4) / (size * _CHAR))
        return content.Label(2, y, shortened(one_line(text), room), size, LIGHT.ink, is_bold=is_bold)

    def _axis(self) -> Iterator[content.Shape]:
        yield self._side("PET", self.top + 8, is_bold=True)
        yield self._side("GMT", self.top + 17)
        for at_min in map(float, np.arange(self.begin, self.begin + self.span + 1e-9, _TICK_MIN)):
            x = self._x(at_min)
            is_last = at_min >= self.begin + self.span - 1e-9
            anchor = "start" if at_min == self.begin else "end" if is_last else "middle"
            tick_top = self.top + _AXIS - 3
            yield content.Box(x - 0.2, tick_top, 0.4, self.bottom - tick_top, _RULE)
            yield content.Label(x, self.top + 8, pet_label(at_min), _SIZE, LIGHT.ink, anchor, is_bold=True)
            gmt = gmt_label(moment_at(at_min, self.plan.pet_zero))
            yield content.Label(x, self.top + 17, gmt, _SIZE - 0.8, LIGHT.quiet_ink, anchor)

    def _sky(self) -> Iterator[content.Shape]:
        yield self._side("Light", self.sky_top + 8)
        for kind, fill, ink in (("day", LIGHT.day, LIGHT.day_ink), ("night", LIGHT.night, LIGHT.night_ink)):
            for number, (start, end) in enumerate(self.chart["light"][kind], start=1):
                for box in self._box(start, end, self.sky_top, _SKY, fill):
                    yield box
                    name = f"{kind} {number}"
                    if len(name) * _SIZE * _CHAR < box.width:
                        yield content.Label(box.x + box.width / 2, self.sky_top + 8, name, _SIZE, ink,
                                            "middle")


def _frame(box: content.Box, beyond: float, colour: str, width: float) -> content.Line:
    left, top, right, foot = box.x, box.y - beyond, box.x + box.width, box.y + box.height + beyond
    return content.Line(((left, top), (right, top), (right, foot), (left, foot), (left, top)), colour, width)


def _words(head: str, title: str, box: content.Box, height: float) -> Iterator[content.Label]:
    """Id with letter, then the title, in the way and size that show most of it whole: lying, else upward."""
    text, ways = one_line(title), []
    for is_upright, size in product((False, True), _TITLE_SIZES):
        length, across = (height, box.width) if is_upright else (box.width, height)
        room, most = int((length - 2) / (size * _CHAR)), int((across - 1) / (size * _LEAD))
        lines = [*([head] if head else []), *textwrap.wrap(text, max(room, 1))]
        if most == 1:
            lines = [whole if len(whole := f"{head} {text}".strip()) <= room else f"{whole[:room - 1]}…"]
        if most > 0 and len(head) * 1.1 <= room and lines:
            shown = lines[:most]
            is_cut = len(lines) > most
            is_split = not {*" ".join(shown).split()} <= {*head.split(), *text.split()}  # within a word
            if is_cut and len(shown) > bool(head):
                shown[-1] = f"{shown[-1][:room - 1]}…"
            ways.append((is_split, is_cut, -sum(map(len, shown)), is_upright, -size, shown))
    for *_, is_upright, minus, shown in sorted(ways)[:1]:
        step = -minus * _LEAD
        spare = (box.width if is_upright else height) - len(shown) * step
        before = step * 0.82 + (spare / 2 if is_upright or height < 20 else 1.0)
        for number, line in enumerate(shown):
            at = before + number * step
            x, y = (at, height - 1.5) if is_upright else (box.width / 2, at)
            yield content.Label(box.x + x, box.y + y, line, -minus, INK_ON_FILL, "start" if is_upright else
                                "middle", is_bold=number == 0 and bool(head), is_upright=is_upright)


def hatched(pattern: str, x: float, y: float, width: float, height: float) -> Iterator[content.Strokes]:
    """The strokes of one of `palette.PATTERNS` inside a box."""
    shape, _, is_wide = pattern.partition("-")
    gap = 5.2 if is_wide else 2.6
    ends: list[tuple[float, float, float, float]] = []
    if shape in ("upright", "squared"):
        across = np.arange(x + min(gap, width) / 2, x + width, gap).tolist()
        ends += [(at, y, at, y + height) for at in across]
    if shape in ("level", "squared"):
        ends += [(x, at, x + width, at) for at in np.arange(y + gap / 2, y + height, gap).tolist()]
    for way in {"falling": (1,), "rising": (-1,), "crossed": (1, -1)}.get(shape, ()):
        for at in np.arange(x - height + gap / 2, x + width, gap * 1.4).tolist():
            first, last = max(at, x), min(at + height, x + width)  # where the slanted stroke is inside
            begin, end = (y + height / 2 + way * (each - at - height / 2) for each in (first, last))
            ends += [(first, begin, last, end)] if last > first else []
    if ends:
        yield content.Strokes(tuple(ends), INK_ON_FILL, 0.45)


_KEY_COLUMNS, _KEY_ROW = 5, 10.5


_SIGNS = ("the way there", "wait", "no slack: a delay delays ingress", "handed over, or waited for",
          "inhibit must be in force", "link, or a period from others", "night", "limit")


def _key_entries(chart: dict[str, Any]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """What the signs mean, then the tasks in this plan with fill and pattern."""
    used = {bar[5] for bar in chart["bars"] if bar[2] not in (TRAVEL, WAIT)}
    yield from ((sign, ()) for sign in _SIGNS)
    for task, (fill, letter, title, pattern) in chart["fills"].items():
        if task in used:
            yield f"{letter} {task} {title}" if task else "outside any task", (fill, pattern)


def _key(entries: Sequence[tuple[str, tuple[str, ...]]], top: float, width: float) -> Iterator[content.Shape]:
    yield content.Line(((0, top), (width, top)), _RULE, 0.4)
    across = width / _KEY_COLUMNS
    for number, (words, look) in enumerate(entries):
        x, y = number % _KEY_COLUMNS * across + 2, top + 3 + number // _KEY_COLUMNS * _KEY_ROW
        if look:
            yield content.Box(x, y, 16, 8, look[0], INK_ON_FILL)
        yield from hatched(look[1], x, y, 16, 8) if look else _sign(words, x, y)
        room = int((across - 24) / (6.4 * _CHAR))
        yield content.Label(x + 20, y + 6.6, shortened(words, room), 6.4, LIGHT.ink)


def _sign(sign: str, x: float, y: float) -> Iterator[content.Shape]:
    boxes = {"the way there": (3, 2, LIGHT.quiet_ink, ""), "wait": (2, 4, "#FFFFFF", LIGHT.quiet_ink),
             "night": (0, 8, _NIGHT, ""), "link, or a period from others": (2.5, 3, LIGHT.link, ""),
             "inhibit must be in force": (0, 8, _HELD, LIGHT.stop)}
    if sign in boxes:
        down, height, fill, stroke = boxes[sign]
        yield content.Box(x, y + down, 16, height, fill, stroke)
    elif sign == "limit":
        yield content.Line(((x, y + 4), (x + 16, y + 4)), LIGHT.stop, 1.0, (3.0,))
    elif sign == "handed over, or waited for":
        yield content.Line(((x, y + 1), (x + 16, y + 7)), LIGHT.ink, 0.6)
        yield content.Mark(x + 16, y + 7, 1.4, "disc", LIGHT.ink, LIGHT.ink)
    else:
        yield _frame(content.Box(x, y, 16, 8, ""), 0.0, INK_ON_FILL, 1.3)
