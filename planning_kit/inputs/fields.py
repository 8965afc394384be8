"""The words in which format 2 is defined: a field (a column or a key), a table and a section of fields."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Any, Literal, get_origin, get_type_hints

SUITED = ("EV1", "EV2")
WINDOW_WORDS = ("night", "day")
GIVING_WAY = ("night_guard", "link", "min_gap", "max_gap", "same_window", "light", "windows", "after")
"""What gives way where no plan keeps all rules, the soonest first; a scenario may say otherwise."""
MAX_HORIZON_H = 240.0
LONGEST_MIN = MAX_HORIZON_H * 60
FAR_M = 100_000.0

Kind = Literal[
    "id", "name", "text", "number", "count", "yes_no", "choice", "reference", "references", "moves",
    "datetime", "moment", "numbers", "file", "names", "pairs", "points", "when", "controls", "values", "tool",
    "date", "people",
]

NUMERIC_KINDS = ("number", "count")
LIST_KINDS = ("references", "moves", "numbers", "names", "pairs", "values", "people")

KIND_WORDS: dict[str, str] = {
    "id": "an id: letters, digits, '.', '_' and '-'",
    "name": "a name that several rows may share: letters, digits, '.', '_' and '-'",
    "text": "free text",
    "number": "a number with a decimal point",
    "count": "a whole number",
    "yes_no": "yes or no; empty is no, or not known where that is said",
    "choice": "one of a few words",
    "reference": "the id of a row of another table",
    "references": "ids separated by spaces",
    "moves": "entries item, EV1:item, item<BAG (out of a bag), item>BAG or item>EV2, separated by spaces",
    "datetime": "an ISO 8601 UTC time such as 2031-05-14T11:20:00Z",
    "moment": "an ISO 8601 UTC time, or PET as h:mm (-h:mm before PET 0), which moves with PET 0",
    "numbers": "a list of numbers",
    "file": "the name of a file in the scenario's folder",
    "names": "names separated by spaces",
    "pairs": "routes FROM:TO, separated by spaces",
    "points": "points x y z in metres, separated by semicolons",
    "when": "conditions joined by and: always, day, night, beta<=N, abs(beta)>N, item:ID@PLACE, off:INHIBIT",
    "controls": "inhibits: A B (all), A | B (either), 2 of (A B C)",
    "tool": "an item, or item:setting",
    "values": "states with a value, such as cover-REG=open, separated by spaces",
    "date": "an ISO 8601 date, UTC, such as 2031-05-14",
    "people": "names of persons, in a table with semicolons between",
}


@dataclass(frozen=True, eq=False)  # a field is itself: cells are remembered by it
class Field:
    """One column of a table, or one key of ``scenario.toml``.

    ``needed``: the cell may not be empty (or the key absent). ``may_be_absent``: the column need not stand in
    the header; it then counts as empty. ``least`` and ``most`` are inclusive unless ``above_least``.
    ``refers_to`` names the tables whose ids are allowed, ``words`` the reserved words allowed beside them,
    or beside a number.
    ``default`` is what the record holds for an empty cell where the kind has no empty value of its own.
    ``may_be_unknown``: an empty yes or no is not known (None), and not no.
    ``example``: a value as typed, for the reference where the demo has none.
    """

    name: str
    kind: Kind
    about: str
    unit: str = ""
    needed: bool = False
    may_be_absent: bool = False
    least: float | None = None
    most: float | None = None
    above_least: bool = False
    choices: tuple[str, ...] = ()
    refers_to: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    default: float | str | None = None
    may_be_unknown: bool = False
    example: str = ""

    @property
    def is_list(self) -> bool:
        """Whether a cell holds several entries."""
        return self.kind in LIST_KINDS

    @property
    def is_number(self) -> bool:
        """Whether a cell holds one number."""
        return self.kind in NUMERIC_KINDS


def column(kind: Kind, about: str, unit: str = "", **more: Any) -> Field:
    """What a field of a record may hold; its name is that of the field."""
    return Field("", kind, about, unit, **more)


def number(about: str, unit: str = "", *, least: float = 0, **more: Any) -> Field:
    """A column of numbers, none below 0 if nothing else is said."""
    return column("number", about, unit, least=least, **more)


def minutes(about: str, **more: Any) -> Field:
    """A column of minutes."""
    return number(about, "min", most=LONGEST_MIN, **more)


def choice(about: str, *choices: str, **more: Any) -> Field:
    """A column of one of a few words."""
    return column("choice", about, choices=choices, **more)


def reference(about: str, *tables: str, **more: Any) -> Field:
    """A column that names a row of one of these tables."""
    return column("reference", about, refers_to=tables, **more)


def references(about: str, *tables: str, **more: Any) -> Field:
    """A column that names rows of these tables."""
    return column("references", about, refers_to=tables, **more)


@cache
def columns_of(record: type) -> tuple[Field, ...]:
    """The columns that a record declares (``name: Annotated[type, column(...)]``), in order."""
    hints = get_type_hints(record, include_extras=True)
    # A column may be called as Python may not: class is the field class_.
    return tuple(replace(hint.__metadata__[0], name=name.rstrip("_")) for name, hint in hints.items()
                 if get_origin(hint) is Annotated)


@dataclass(frozen=True, eq=False)
class Table:
    """One CSV file of a scenario. ``key`` tells its rows apart; ``is_unique``: no two rows may share it.

    ``record``: what a row becomes.
    """

    name: str
    about: str
    key: tuple[str, ...]
    fields: tuple[Field, ...]
    may_be_absent: bool = False
    is_unique: bool = True
    record: type = object

    @property
    def file(self) -> str:
        """The file's name in the scenario folder."""
        return f"{self.name}.csv"

    @property
    def by_name(self) -> dict[str, Field]:
        """The fields by column name."""
        return {field.name: field for field in self.fields}


@dataclass(frozen=True)
class Section:
    """A table of ``scenario.toml``; ``name`` is empty for the keys at the top.

    ``sub_sections`` are the tables in it. ``is_override``: what it does not say, the one around it says.
    """

    name: str
    about: str
    fields: tuple[Field, ...]
    has_sources: bool = False
    sub_sections: tuple[Section, ...] = ()
    is_override: bool = False

    @property
    def by_name(self) -> dict[str, Field]:
        """The fields by key."""
        return {field.name: field for field in self.fields}

    def each(self, above: str = "") -> Iterator[tuple[str, Section]]:
        """It and the tables in it, by their dotted names."""
        name = f"{above}.{self.name}" if above else self.name
        yield name, self
        for sub in self.sub_sections:
            yield from sub.each(name)
