"""Where every lane of the swimlane chart lies, in pixels from the top of the plot.

The y axis of the chart counts pixels at the chart's own height: heights here are heights on the screen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

LIGHT_PX = 22
LINK_PX = 11
FINDINGS_PX = 20
GHOST_PX = 19
CREW_PX = 92
GUTTER_PX = 44
ACTOR_PX = 21
LIMIT_LABEL_PX = 15
OUTING_PX = 20
INHIBIT_PX = 19


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
        strips: list[Strip | None] = list(self.inhibits)
        for lane in self.people.values():
            strips += [lane.main, lane.findings, lane.ghosts]
        return max(strip.bottom for strip in strips if strip is not None)


@dataclass
class _Stack:
    """Strips laid below each other."""

    at: float = 4.0

    def take(self, height: float, gap: float = 0.0) -> Strip:
        strip = Strip(self.at, height)
        self.at += height + gap
        return strip


def lay_out(crew: Sequence[str], actors: Sequence[str], links: Iterable[str], *, inhibit_rows: int = 0,
            with_ghosts: bool = False, with_findings: Iterable[str] = ()) -> Lanes:
    """Place the lanes: light, links, whole-plan findings, crew, others at work, inhibits, limits.

    ``with_findings`` names the lanes that need a strip for findings ("" is the whole plan). The first crew
    lane has its side strips above it, the others below: the gutter between the crew is for hand-overs.
    """
    stack, marked = _Stack(), set(with_findings)
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
    return Lanes(light, link_strips, whole_plan, people, inhibits, planned, hard, stack.take(OUTING_PX))


def _crew_lane(stack: _Stack, who: str, is_first: bool, is_last: bool, has_findings: bool,
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


def _actor_lane(stack: _Stack, who: str, has_findings: bool, with_ghosts: bool) -> Lane:
    marks = stack.take(FINDINGS_PX) if has_findings else None
    ghosts = stack.take(GHOST_PX, gap=2) if with_ghosts else None
    return Lane(who, False, stack.take(ACTOR_PX, gap=6), marks, ghosts)
