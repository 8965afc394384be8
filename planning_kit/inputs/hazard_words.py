"""The small languages of hazards and ways: when a hazard is there, what controls it, points along a route.

``when``: terms joined by ``and``: ``always``, ``day``, ``night``, ``beta<=-40``, ``abs(beta)>75``,
``item:ID@PLACE`` (the item is there), ``off:INHIBIT`` (it is not in force). ``controls``: ``A B`` (all),
``A | B`` (either), ``2 of (A B C)``; a group in brackets is one control. ``via``: ``x y z; x y z``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from planning_kit.inputs.fields import FAR_M

_ID = r"[A-Za-z0-9._-]+"
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_BETA = re.compile(rf"(abs\(beta\)|beta)\s*(<=|>=|<|>)\s*({_NUMBER})")
_ITEM = re.compile(rf"item:({_ID})@({_ID})")
_OFF = re.compile(rf"off:({_ID})")
_CONTROL_TOKEN = re.compile(rf"\s*([()|]|{_ID})")
_PAIR = re.compile(rf"({_ID}):({_ID})")
_MOST_DEEP = 10

Point = tuple[float, float, float]


@dataclass(frozen=True)
class Term:
    """One term of ``when``. ``kind``: always, day, night, beta, abs(beta), item or off.

    Beta terms: ``sign`` (<=, <, >, >=) and ``degrees``; ``about``: the item or inhibit, ``place`` the
    item's.
    """

    kind: str
    about: str = ""
    place: str = ""
    sign: str = ""
    degrees: float = 0.0


@dataclass(frozen=True)
class Controls:
    """At least ``least`` of these must be in force: inhibits by id, or controls again."""

    least: int
    of: tuple[str | Controls, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Every inhibit that is named, in order, once."""
        inner = (each.names if isinstance(each, Controls) else (each,) for each in self.of)
        return tuple(dict.fromkeys(name for names in inner for name in names))

    @property
    def text(self) -> str:
        """As it is typed."""
        parts = [f"({each.text})" if isinstance(each, Controls) else each for each in self.of]
        if self.least == len(parts):
            return " ".join(parts)
        return " | ".join(parts) if self.least == 1 else f"{self.least} of ({' '.join(parts)})"

    def without(self, gone: Collection[str]) -> Controls | None:
        """What is left where these inhibits are never in force; None where that can never be enough."""
        kept = [each.without(gone) if isinstance(each, Controls) else each for each in self.of
                if each not in gone]
        left = tuple(each for each in kept if each is not None)
        return Controls(self.least, left) if len(left) >= self.least else None

    @property
    def words(self) -> str:
        """As it is read: ``A and B``, ``A or B``, ``2 of A, B, C``."""
        parts = [f"({each.words})" if isinstance(each, Controls) else each for each in self.of]
        if self.least == len(parts):
            return " and ".join(parts)
        return " or ".join(parts) if self.least == 1 else f"{self.least} of {', '.join(parts)}"


def parse_when(text: str) -> tuple[Term, ...]:
    """The terms of a ``when``, all of which must hold. Raises ValueError that says what is wrong."""
    return tuple(_term(part.strip()) for part in re.split(r"\s+and\s+", text.strip()))


def _term(text: str) -> Term:
    if text in ("always", "day", "night"):
        return Term(text)
    if match := _BETA.fullmatch(text):
        return Term(match[1], sign=match[2], degrees=float(match[3]))
    if match := _ITEM.fullmatch(text):
        return Term("item", about=match[1], place=match[2])
    if match := _OFF.fullmatch(text):
        return Term("off", about=match[1])
    raise ValueError(f"{text[:60]!r} is no condition; write always, day, night, beta<=N, abs(beta)>N, "
                     "item:ID@PLACE or off:INHIBIT, joined by and")


def parse_controls(text: str) -> Controls:
    """What must be in force. Raises ValueError that says what is wrong."""
    tokens, at = [], 0
    while at < len(text.rstrip()):
        match = _CONTROL_TOKEN.match(text, at)
        if not match:
            raise ValueError(_how())
        tokens.append(match[1])
        at = match.end()
    controls, rest = _either(tokens, 0)
    if rest:
        raise ValueError(_how())
    return controls if isinstance(controls, Controls) else Controls(1, (controls,))


def _how() -> str:
    return "must be written A B (all), A | B (either) or 2 of (A B C), with ids of inhibits.csv"


def _either(tokens: list[str], deep: int) -> tuple[str | Controls, list[str]]:
    if deep > _MOST_DEEP:
        raise ValueError("is nested too deeply")
    choices: list[str | Controls] = []
    while True:
        group, tokens = _group(tokens, deep)
        choices.append(group[0] if len(group) == 1 else Controls(len(group), tuple(group)))
        if tokens[:1] != ["|"]:
            return (choices[0] if len(choices) == 1 else Controls(1, tuple(choices))), tokens
        tokens = tokens[1:]


def _group(tokens: list[str], deep: int) -> tuple[list[str | Controls], list[str]]:
    """All controls up to the next bar or bracket."""
    group: list[str | Controls] = []
    each: str | Controls
    while tokens and tokens[0] not in ("|", ")"):
        if tokens[0].isdigit() and tokens[1:3] == ["of", "("]:
            each, tokens = _some_of(int(tokens[0]), tokens[3:], deep)
        elif tokens[0] == "(":
            each, tokens = _either(tokens[1:], deep + 1)
            tokens = _closed(tokens)
        else:
            each, tokens = tokens[0], tokens[1:]
        group.append(each)
    if not group:
        raise ValueError(_how())
    return group, tokens


def _some_of(least: int, tokens: list[str], deep: int) -> tuple[Controls, list[str]]:
    if deep > _MOST_DEEP:
        raise ValueError("is nested too deeply")
    group, tokens = _group(tokens, deep + 1)
    if not 1 <= least <= len(group):
        raise ValueError(f"asks for {least} of {len(group)}")
    return Controls(least, tuple(group)), _closed(tokens)


def _closed(tokens: list[str]) -> list[str]:
    if tokens[:1] != [")"]:
        raise ValueError(_how())
    return tokens[1:]


def parse_points(text: str) -> tuple[Point, ...]:
    """Points ``x y z; x y z`` in metres. Raises ValueError that says what is wrong."""
    return tuple(_point(part) for part in text.strip().strip(";").split(";"))


def _point(text: str) -> Point:
    parts = text.split()
    if len(parts) != 3 or not all(re.fullmatch(_NUMBER, part) for part in parts):
        raise ValueError("must be points of three numbers, such as 1.5 0 -2; 3 0 -2")
    x, y, z = (float(part) for part in parts)
    if not all(math.isfinite(each) and abs(each) <= FAR_M for each in (x, y, z)):
        raise ValueError(f"has a point farther than {FAR_M:,g} m")
    return x, y, z


def parse_pairs(text: str) -> tuple[tuple[str, str], ...]:
    """Routes ``FROM:TO`` separated by blanks. Raises ValueError that says what is wrong."""
    return tuple(_pairs(text))


def _pairs(text: str) -> Iterator[tuple[str, str]]:
    for part in text.split():
        match = _PAIR.fullmatch(part)
        if not match:
            raise ValueError(f"{part[:60]!r} must be written FROM:TO, with the two ends of a route")
        yield match[1], match[2]
