"""What the station map says of a moment in words: the clock, the light, and each crew member."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from math import isfinite

from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.judge.findings import Finding
from planning_kit.plan.moments import Moment, Person, Stay
from planning_kit.show.escape import one_line, plotly_text, shortened
from planning_kit.show.palette import SEVERITY_SIGNS

GLYPHS = {"foothold": "▲", "bag": "■"}
LONGEST_ITEM_ID = 16
LINE_CHARS, MOST_LINES = 41, 9
_SKY_WORDS = {"night": "Shadow", "day": "Sun", "penumbra": "Penumbra"}
_LONGEST_FINDING = 120


def glyphs(stays: Iterable[Stay]) -> str:
    """The signs of the footholds and bags among some items."""
    return "".join(GLYPHS[stay.kind] for stay in stays if stay.kind in GLYPHS and not stay.in_bag)


def sky_words(moment: Moment, egress: datetime, has_links: bool) -> str:
    """The first column: PET and GMT, light, links, inhibits in force, what others do; safe to show."""
    clock = (f'<b><span style="font-size:20px">PET {pet_label(moment.at_min)}</span></b>  '
             f"GMT {gmt_label(moment_at(moment.at_min, egress))}")
    kind, rest = light_words(moment)
    light = f"<b>{kind}</b>{rest}"
    return "<br>".join([clock, light, *_wrapped(sky_lines(moment, has_links), MOST_LINES - 2)])


def sky_lines(moment: Moment, has_links: bool) -> list[str]:
    """Links, inhibits in force and what others do, a line each, as plain text."""
    lines = []
    if has_links:
        lines.append(f"In view: {', '.join(moment.in_view)}." if moment.in_view else "No relay in view.")
    lines += [f"{one_line(other.crew)}: {one_line(other.step)} {one_line(other.title)}."
              for other in moment.others]
    for hold in moment.inhibits:
        owner = f", {one_line(hold.owner)}" if hold.owner else ""
        lines.append(f"{one_line(hold.inhibit)} in force until {pet_label(hold.lift_after_min)}: "
                     f"{one_line(hold.title)}{owner}.")
    if not moment.inhibits:
        lines.append("No inhibit in force.")
    return lines


def light_words(moment: Moment) -> tuple[str, str]:
    """The light in one word, and which night or day it is until when, as plain text."""
    kind = moment.light.partition(" ")[0]
    if not kind:
        return "Light not known", "."
    until = f" until {pet_label(moment.light_until_min)}" if isfinite(moment.light_until_min) else ""
    name = "" if kind == "penumbra" else f" ({moment.light})"
    return _SKY_WORDS[kind], f"{name}{until}."


def person_words(person: Person, moment: Moment, ink: str, titles: Mapping[str, str],
                 cautions: Mapping[str, str], found: Sequence[Finding]) -> str:
    """A crew member's column: what they do and where, hands, tether, what to mind; safe to show.

    ``titles`` are those of places, ``cautions`` those of places and steps by id.
    """
    doing = person.doing
    head = (f'<b><span style="font-size:14px;color:{ink}">{plotly_text(person.crew, 8)}</span></b>  '
            f"{doing.kind} until {pet_label(doing.finish_min)}{_counted(found)}")
    lines = person_lines(person, moment, titles)
    minded = [cautions.get(person.place, "") if person.route is None else person.route.caution]
    minded += [cautions.get(doing.step, "") if doing.kind == "work" else ""]
    lines += [f"Mind: {text.rstrip('.')}." for text in dict.fromkeys(minded) if text]
    lines += [f"{finding.severity.upper()} {finding.check}: {shortened(finding.message, _LONGEST_FINDING)}"
              for finding in found]
    return "<br>".join([head, *_wrapped(lines, MOST_LINES - 1)])


def person_lines(person: Person, moment: Moment, titles: Mapping[str, str],
                 with_signs: bool = True) -> list[str]:
    """What a crew member does and where, hands and tether, a line each, as plain text."""
    doing = person.doing
    name = " ".join(part for part in (doing.step, one_line(doing.title)) if part)
    return [f"{name}.", _where(person, titles), _hands(moment.held_by(person.crew), with_signs),
            _tether(person)]


def _counted(found: Sequence[Finding]) -> str:
    """How many findings there are, where there are more than the column may have room for."""
    counts = [(sum(finding.severity == name for finding in found), name) for name in SEVERITY_SIGNS]
    told = ", ".join(f"{count} {name}{'s' if count > 1 else ''}" for count, name in counts if count)
    return f" · {told}" if len(found) > 1 else ""


def _where(person: Person, titles: Mapping[str, str]) -> str:
    place = titles.get(person.place) or person.place
    if person.route is None:
        return f"At {place} ({person.place})."
    to_place = titles.get(person.to_place) or person.to_place
    flags = " and ".join(word for word, is_set in (("tight", person.route.tight), ("snag", person.route.snag))
                         if is_set)
    return f"From {place} to {to_place}" + (f", {flags} route." if flags else ".")


def _hands(stays: Sequence[Stay], with_signs: bool) -> str:
    """What is in hand, contents of bags in brackets, with the signs that the map has for bags."""
    held = []
    for stay in (stay for stay in stays if not stay.in_bag):
        inside = [one_line(other.item) for other in stays if other.in_bag == stay.item]
        sign = f"{GLYPHS[stay.kind]} " if with_signs and stay.kind in GLYPHS else ""
        held.append(f"{sign}{one_line(stay.item)}" + (f" [{', '.join(inside)}]" if inside else ""))
    return f"Holds {', '.join(held)}." if held else "Hands empty."


def _tether(person: Person) -> str:
    whole = "" if person.tether_m is None else f" of {person.tether_m:g}"
    return f"Tether hooked at {person.hook}, {person.reach_m:.1f}{whole} m out."


def _wrapped(lines: Sequence[str], most: int) -> list[str]:
    """Lines that fit their column, each shown literally; an ellipsis says that there was more."""
    parts = [part for line in lines
             for part in textwrap.wrap(one_line(line), LINE_CHARS)]
    if len(parts) > most:
        parts = [*parts[: most - 1], shortened(parts[most - 1], LINE_CHARS - 2).rstrip("…") + " …"]
    return [plotly_text(part) for part in parts]
