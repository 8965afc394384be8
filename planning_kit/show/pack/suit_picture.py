"""The suits and the ways back on paper: the panels of the suit chart as a picture, without a browser."""

import html
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from math import ceil, floor
from typing import Any

import numpy as np

from planning_kit.inputs.shown_text import shortened
from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.chart import axis_ms
from planning_kit.show.pack import content
from planning_kit.show.palette import LIGHT
from planning_kit.show.suit_chart import Panel, alt_words, line_looks, panels_of, shown_min

WIDTH, _LEFT, _RIGHT = 780.0, 44.0, 6.0
_PANEL, _HEAD, _FOOT, _SIZE, _NIGHT = 72.0, 15.0, 26.0, 6.4, "#E6E8F0"
_DASHES: dict[str, tuple[float, ...]] = {
    "dash": (5.0, 2.5), "dot": (1.2, 1.8), "dashdot": (6.0, 2.0, 1.2, 2.0)}
_EVERY, _MOST_TICKS = (1, 2, 5, 10, 20, 50, 100, 200, 500), 6
_TICK_MIN = 30.0
_MARKUP = re.compile(r"</?b>|<br>")


def suit_section(plan: TimedPlan) -> content.Section:
    """What is left in each suit and of each way back: the panels of `suit_chart`, and a key of lines."""
    panels, (first, last) = panels_of(plan, LIGHT), shown_min(plan)
    shapes: list[content.Shape] = []
    for number, panel in enumerate(panels):
        top = number * (_PANEL + _HEAD) + _HEAD
        shapes += _Pane(plan, panel, top, axis_ms(first), axis_ms(last)).shapes()
    foot = len(panels) * (_PANEL + _HEAD)
    shapes.append(content.Label(2, foot + 9, "PET", _SIZE, LIGHT.ink, is_bold=True))
    for minute in np.arange(0.0, last, _TICK_MIN).tolist():
        x = _LEFT + (minute - first) / (last - first) * (WIDTH - _LEFT - _RIGHT)
        shapes.append(content.Label(x, foot + 9, pet_label(minute), _SIZE, LIGHT.ink, "middle", is_bold=True))
    for number, (name, look) in enumerate(line_looks(LIGHT).items()):
        x = _LEFT + number * 100
        shapes += [content.Line(((x, foot + 19), (x + 28, foot + 19)), look["color"], 1.4,
                                _DASHES.get(look["dash"], ())),
                   content.Label(x + 32, foot + 21, name, _SIZE, LIGHT.ink)]
    picture = content.Picture(WIDTH, foot + _FOOT, tuple(shapes), alt_words(plan))
    return content.Section("suits", "Suits and ways back", (), (picture,))


@dataclass(frozen=True)
class _Pane:
    """One panel, drawn from ``top`` down, from ``first`` to ``last`` on the time axis."""

    plan: TimedPlan
    panel: Panel
    top: float
    first: float
    last: float

    def shapes(self) -> Iterator[content.Shape]:
        for start, end in self.plan.light.night:
            left, right = (min(max(self._x(axis_ms(at)), _LEFT), WIDTH - _RIGHT) for at in (start, end))
            if right > left:
                yield content.Box(left, self.top, right - left, _PANEL, _NIGHT)
        yield content.Box(_LEFT, self.top, WIDTH - _LEFT - _RIGHT, _PANEL, "", LIGHT.quiet_ink)
        heading = shortened(_plain(self.panel.heading), 160)  # the list of margins tells the rest
        yield content.Label(2, self.top - 4, f"{heading} · {self.panel.side}", 7.2, LIGHT.ink, is_bold=True)
        span = self.panel.high - self.panel.low
        every = next((each for each in _EVERY if span / each <= _MOST_TICKS), _EVERY[-1])
        for value in range(ceil(self.panel.low / every) * every, floor(self.panel.high) + 1, every):
            y = self._y(value)
            yield content.Line(((_LEFT, y), (WIDTH - _RIGHT, y)), "#C9CDD3", 0.3)
            yield content.Label(_LEFT - 3, y + 2.2, f"{value}".replace("-", "−"), _SIZE, LIGHT.ink, "end")
        for trace in self.panel.traces:
            yield from self._trace(trace)

    def _trace(self, trace: dict[str, Any]) -> Iterator[content.Shape]:
        """A line, named at its beginning where it is a level; or the worst points with their words."""
        spots = [None if y is None else (self._x(x), self._y(y))
                 for x, y in zip(trace["x"], trace["y"], strict=True)]
        for run in _runs(spots) if "line" in trace else ():
            look = trace["line"]
            yield content.Line(tuple(run), look["color"], look["width"] * 0.6, _DASHES.get(look["dash"], ()))
        for spot, text in zip(spots, trace.get("text", ()), strict=False):
            if spot is not None and text:
                words, is_late = _plain(text), spot[0] > WIDTH * 0.62
                x, y = spot[0] + (-5 if is_late else 3), spot[1] + (
                    -4 if trace["textposition"].startswith("top") else 8.5)
                if "marker" in trace:  # its words are read over the lines
                    wide = len(words) * _SIZE * 0.5
                    yield content.Box(x - wide if is_late else x, y - 5.8, wide, 7.4, "#FFFFFF")
                    yield content.Mark(*spot, 2.6, "diamond", LIGHT.ink, LIGHT.paper)
                yield content.Label(x, y, words, _SIZE, LIGHT.ink, "end" if is_late else "start")

    def _x(self, ms: float) -> float:
        return _LEFT + (ms - self.first) / (self.last - self.first) * (WIDTH - _LEFT - _RIGHT)

    def _y(self, value: float) -> float:
        return self.top + _PANEL * (1 - (value - self.panel.low) / (self.panel.high - self.panel.low))


def _runs(spots: list[tuple[float, float] | None]) -> list[list[tuple[float, float]]]:
    """The stretches of a line between values that are not known."""
    runs = (list(filter(None, run)) for _, run in groupby(spots, key=lambda spot: spot is None))
    return [run for run in runs if len(run) > 1]


def _plain(told: str) -> str:
    """Words made for plotly, as a reader sees them."""
    return html.unescape(_MARKUP.sub(" ", told)).strip()
