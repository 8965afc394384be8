"""The small languages of hazards and ways: when a hazard is there, what controls it, points along a route.

``when``: terms joined by ``and``: ``always``, ``day``, ``night``, ``beta<=-40``, ``abs(beta)>75``,
``item:ID@PLACE`` (the item is there), ``off:INHIBIT`` (it is not in force). ``controls``: ``A B`` (all),
``A | B`` (either), ``2 of (A B C)``; a group in brackets is one control. ``via``: ``x y z; x y z``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from dataclasses import dataclass

from planning_kit.inputs.fields import FAR_M

_ID = r"[A-Za-z0-9._-]+"
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_BETA = re.compile(rf"(abs\(beta\)|beta)\s*(<=|>=|<|>)\s*({_NUMBER})")
_ITEM = re.compile(rf"item:({_ID})@({_ID})")
_OFF = re.compile(rf"off:({_ID})")
_CONTROL_TOKEN = re.compile(rf"[()|]|{_ID}")
_HOW = "must be written A B (all), A | B (either) or 2 of (A B C), with ids of inhibits.csv"
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
        return self._told(parts, " ", " | ", f"({' '.join(parts)})")

    @property
    def words(self) -> str:
        """As it is read: ``A and B``, ``A or B``, ``2 of A, B, C``."""
        parts = [f"({each.words})" if isinstance(each, Controls) else each for each in self.of]
        return self._told(parts, " and ", " or ", ", ".join(parts))

    def _told(self, parts: list[str], every: str, either: str, some: str) -> str:
        if self.least in (1, len(parts)):
            return (every if self.least == len(parts) else either).join(parts)
        return f"{self.least} of {some}"

    def without(self, gone: Collection[str]) -> Controls | None:
        """What is left where these inhibits are never in force; None where that can never be enough."""
        kept = [each.without(gone) if isinstance(each, Controls) else each for each in self.of
                if each not in gone]
        left = tuple(each for each in kept if each is not None)
        return Controls(self.least, left) if len(left) >= self.least else None


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
    tokens = _CONTROL_TOKEN.findall(text)
    if "".join(tokens) != "".join(text.split()):
        raise ValueError(_HOW)
    controls = _either(tokens, 0)
    if tokens:
        raise ValueError(_HOW)
    return controls if isinstance(controls, Controls) else Controls(1, (controls,))


def _either(tokens: list[str], deep: int) -> str | Controls:
    """Groups with bars between them, which are taken off the ``tokens``; as the functions below do."""
    choices: list[str | Controls] = []
    while not choices or tokens[:1] == ["|"]:
        del tokens[:len(choices) and 1]
        group = _group(tokens, deep)
        choices.append(group[0] if len(group) == 1 else Controls(len(group), group))
    return choices[0] if len(choices) == 1 else Controls(1, tuple(choices))


def _group(tokens: list[str], deep: int) -> tuple[str | Controls, ...]:
    """All controls up to the next bar or closing bracket."""
    if deep > _MOST_DEEP:
        raise ValueError("is nested too deeply")
    group: list[str | Controls] = []
    while tokens and tokens[0] not in ("|", ")"):
        first = tokens.pop(0)
        if first != "(" and not (first.isdigit() and tokens[:2] == ["of", "("]):
            group.append(first)
            continue
        if first == "(":
            group.append(_either(tokens, deep + 1))
        else:
            del tokens[:2]
            some = _group(tokens, deep + 1)
            if not 1 <= int(first) <= len(some):
                raise ValueError(f"asks for {first} of {len(some)}")
            group.append(Controls(int(first), some))
        if not tokens or tokens.pop(0) != ")":
            raise ValueError(_HOW)
    if not group:
        raise ValueError(_HOW)
    return tuple(group)


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
    for part in text.split():
        if not _PAIR.fullmatch(part):
            raise ValueError(f"{part[:60]!r} must be written FROM:TO, with the two ends of a route")
    return tuple((match[1], match[2]) for match in map(_PAIR.fullmatch, text.split()) if match)
