"""The plan told in words, in the order it happens: long, to talk through, and in one minute.

It says what the tables and the timed plan say and nothing else: no praise, no guess, no filling-in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from planning_kit.inputs.shown_text import html_text, one_line
from planning_kit.inputs.text_table import TextTable
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_ends import closing_lines, opening_lines
from planning_kit.show.briefing_events import Told, told_events
from planning_kit.show.briefing_minute import minute_lines

BRIEFING_COLUMNS = ["part", "pet", "gmt", "who", "kind", "step", "words", "at_min"]


@dataclass(frozen=True)
class Part:
    """One stretch of the briefing: a day, a night, or what comes before and after."""

    title: str
    lines: tuple[str, ...]
    events: tuple[Told, ...] = ()


@dataclass(frozen=True, repr=False)
class TimedBriefing:
    """A plan in words: ``text`` is the long form, ``one_minute`` the short one, ``table`` the events."""

    title: str
    parts: tuple[Part, ...]
    minute: tuple[str, ...]
    timed: TimedPlan

    @property
    def text(self) -> str:
        """The long form as plain text: parts by day and night, an event a line."""
        blocks = [self.title]
        for part in self.parts:
            blocks.append("\n".join([part.title, *part.lines, *(_line(told) for told in part.events)]))
        return "\n\n".join(blocks)

    @property
    def one_minute(self) -> str:
        """The short form: to be read aloud in about a minute."""
        return " ".join(self.minute)

    @property
    def table(self) -> pd.DataFrame:
        """The events, a row each; columns as in ``BRIEFING_COLUMNS``, ``at_min`` in PET minutes."""
        rows = [(part.title, pet_label(told.at_min), gmt_label(moment_at(told.at_min, self.timed.egress)),
                 told.who, told.kind, told.step, told.words, told.at_min)
                for part in self.parts for told in part.events]
        return TextTable(rows, columns=BRIEFING_COLUMNS)

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        count = sum(len(part.events) for part in self.parts)
        return f"<Briefing of {self.title!r}: {count} events in {len(self.parts)} parts>"

    def _repr_html_(self) -> str:
        return briefing_html(self)


def briefing(plan: TimedPlan) -> TimedBriefing:
    """Tell ``plan`` in words: purpose, way, hands, waits, hazards, inhibits, return, by PET.

    Both crew members are interwoven; parts follow day and night. Text of the scenario is shown on one line,
    without control characters; the notebook's view escapes it.
    """
    settings = plan.scenario.settings
    title = " · ".join(part for part in (one_line(settings.title), one_line(settings.station)) if part)
    parts = [Part("Before egress", tuple(opening_lines(plan)), _before(plan)), *_by_light(plan),
             Part("Back inside", tuple(closing_lines(plan)))]
    return TimedBriefing(title, tuple(parts), tuple(minute_lines(plan)), plan)


def _before(plan: TimedPlan) -> tuple[Told, ...]:
    return tuple(told for told in told_events(plan) if told.at_min < 0)


def _by_light(plan: TimedPlan) -> list[Part]:
    """The events of the outing, a part a day or night; each event where it begins."""
    edges = _edges(plan)
    events = [told for told in told_events(plan) if told.at_min >= 0]
    parts = []
    for (begin, name), end in zip(edges, [*(edge for edge, _ in edges[1:]), float("inf")], strict=True):
        until = min(end, plan.end_min)
        title = f"{name}, PET {pet_label(begin)} to {pet_label(until)}"
        parts.append(Part(title, (), tuple(told for told in events if begin <= told.at_min < end)))
    return parts


def _edges(plan: TimedPlan) -> list[tuple[float, str]]:
    """When each day and night of the outing begins, and its name; the first begins at egress."""
    named = [(float(begin), f"{name} {number}")
             for name, windows in (("Night", plan.light.night), ("Day", plan.light.day))
             for number, (begin, _) in enumerate(windows, start=1) if begin < plan.end_min]
    edges = sorted(named) or [(0.0, "Penumbra")]
    return [(0.0, edges[0][1]), *edges[1:]]


def _line(told: Told) -> str:
    return f"  {pet_label(told.at_min)}  {told.who}: {told.words}"


def briefing_html(brief: TimedBriefing, level: int = 3) -> str:
    """The long form as HTML, all text escaped; ``level`` is that of the parts' headings."""
    pieces = [f"<p><strong>{html_text(brief.title)}</strong></p>"]
    for part in brief.parts:
        pieces.append(f"<h{level}>{html_text(part.title)}</h{level}>")
        pieces += [f"<p>{html_text(line)}</p>" for line in part.lines]
        pieces.append(_list(part.events))
    return "".join(pieces)


def _list(events: Sequence[Told]) -> str:
    if not events:
        return ""
    rows = "".join(f"<li><strong>{html_text(pet_label(told.at_min))} {html_text(told.who)}</strong> "
                   f"{html_text(told.words)}</li>" for told in events)
    return f'<ul style="list-style:none;padding-left:0">{rows}</ul>'
