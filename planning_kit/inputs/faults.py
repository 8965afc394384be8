"""Faults in what a user gave us: collected and raised together; and checks of what a function is given."""

import math
import os
from collections.abc import Collection
from dataclasses import dataclass, field
from numbers import Integral, Real
from pathlib import Path
from typing import Self, TypeGuard, TypeVar

import pandas as pd

from planning_kit.inputs.shown_text import TextTable, one_line, visible

FAULT_COLUMNS = ["table", "row", "column", "value", "problem"]
_SHOWN_IN_MESSAGE = 20
_LONGEST_VALUE = 80
_MOST_FAULTS = 10_000
_LONGEST_NUMBER = 10**40  # Python refuses to write whole numbers of thousands of digits


class ScenarioError(ValueError):
    """A scenario, an orbit message or a request that cannot be used as it is.

    ``problems`` is a DataFrame with the columns ``table``, ``row`` (as the file numbers it: the header is
    row 1; empty where no row applies), ``column``, ``value`` and ``problem`` (what is wrong and what to do):
    every fault found, not only the first.
    """

    def __init__(self, problems: pd.DataFrame) -> None:
        """Hold ``problems``, and say them as the message."""
        self.problems = problems
        super().__init__(_as_text(problems))

    def __reduce__(self) -> tuple[type[Self], tuple[pd.DataFrame]]:
        """Pickle by the faults, so that a worker process can raise one."""
        return type(self), (self.problems,)

    @classmethod
    def single(cls, problem: str, *, table: str = "", row: int | None = None, column: str = "",
               value: object = "") -> Self:
        """Make an error that holds one fault."""
        faults = Faults()
        faults.add(table, row, column, value, problem)
        return cls(faults.frame())

    @property
    def words(self) -> str:
        """What is wrong, all in one line, without where: for a place that is known already."""
        return "; ".join(one_line(problem) for problem in self.problems["problem"])

    def _render_traceback_(self) -> list[str]:
        """What Jupyter and IPython show in place of a traceback: the faults, one a line."""
        return str(self).splitlines()


class SaveConflict(ScenarioError):  # noqa: N818 - the contract names it so
    """The files on disk are not the ones that were read: saving would overwrite another's change."""


@dataclass
class Faults:
    """A list of faults that grows while something is checked; past 10,000 of them nobody reads on."""

    rows: list[dict[str, object]] = field(default_factory=list)

    def add(self, table: str, row: int | None, column: str, value: object, problem: str) -> None:
        """Note one fault. ``row`` is the file's own row number (header = 1) or None.

        Raises `ScenarioError` with all of them when there are too many to go on.
        """
        is_huge = isinstance(value, int) and abs(value) > _LONGEST_NUMBER
        text = "" if value is None else "a huge number" if is_huge else str(value)
        text = text.encode("utf-8", "backslashreplace").decode()  # half characters, as a console prints them
        if len(text) > _LONGEST_VALUE:
            text = text[: _LONGEST_VALUE - 1] + "…"
        name = column if column.isprintable() else repr(column)[1:-1]
        self.rows.append({"table": table, "row": row, "column": name, "value": text, "problem": problem})
        if len(self.rows) == _MOST_FAULTS:
            self.rows.append(self.rows[0] | {"table": "", "row": None, "column": "", "value": "", "problem":
                             f"there may be more: these are the first {_MOST_FAULTS:,} faults"})
            self.stop_if_any()

    def of_file(self, name: str, problem: str) -> None:
        """Note what is wrong with a file, or a table, as a whole."""
        self.add(name, None, "", "", problem)

    def frame(self) -> pd.DataFrame:
        """All faults as a DataFrame (see `ScenarioError.problems`)."""
        frame = TextTable(self.rows, columns=FAULT_COLUMNS)
        return frame.astype({"row": "Int64"})

    def stop_if_any(self) -> None:
        """Raise one `ScenarioError` with every fault noted so far; do nothing when there is none."""
        if self.rows:
            raise ScenarioError(self.frame())


def as_path(given: object, what: str) -> Path:
    """``given`` as a path; a `ScenarioError` where it cannot be one."""
    if not isinstance(given, str | os.PathLike):
        raise ScenarioError.single("is no path; give it as text or a Path", column=what, value=given)
    return Path(given)


def told_together(problems: pd.DataFrame) -> str:
    """Problems in one line, what several steps share told once: ``X1, X2: the steps of ...; B3: ...``."""
    together: dict[str, list[str]] = {}
    for row in problems.to_dict("records"):
        together.setdefault(row["problem"], []).append(str(row["value"]))
    return "; ".join(f"{', '.join(name for name in names if name)}: {problem}" if any(names) else problem
                     for problem, names in together.items())


def _as_text(problems: pd.DataFrame) -> str:
    count = len(problems)
    lines = [f"{count} fault{'s' if count != 1 else ''} found:"]
    for fault in problems.head(_SHOWN_IN_MESSAGE).to_dict("records"):
        row = "" if pd.isna(fault["row"]) else f"row {fault['row']}"
        where = one_line(" ".join(str(part) for part in (fault["table"], row, fault["column"]) if part))
        value = f" ({fault['value']!r})" if fault["value"] != "" else ""
        problem = visible(fault["problem"])
        lines.append(f"  {where}{value}: {problem}" if where else f"  {problem}")
    if count > _SHOWN_IN_MESSAGE:
        lines.append(f"  ... and {count - _SHOWN_IN_MESSAGE} more; see .problems")
    return "\n".join(lines)


Kind = TypeVar("Kind")


def is_number(value: object) -> TypeGuard[float]:
    """Whether ``value`` is one finite number; yes and no are none, though Python counts them."""
    if not isinstance(value, Real) or isinstance(value, bool):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def is_whole(value: object, least: int, most: float = math.inf) -> TypeGuard[int]:
    """Whether ``value`` is a whole number from ``least`` to ``most``; yes and no are none."""
    return isinstance(value, Integral) and not isinstance(value, bool) and least <= int(value) <= most


def table_with(given: object, columns: Collection[str], what: str, how: str) -> pd.DataFrame:
    """``given``, or a `ScenarioError` where it is no table with these columns; ``how`` as in `must_be`."""
    table = must_be(given, pd.DataFrame, what, how)
    missing = [name for name in columns if name not in table]
    if missing:
        raise ScenarioError.single(f"{how}; it has no {', '.join(missing)}", column=what)
    return table


def must_be(given: object, kind: type[Kind], what: str, how: str) -> Kind:
    """``given``, or a `ScenarioError` where it is no ``kind``; ``how`` says what to give as ``what``."""
    if not isinstance(given, kind):
        raise ScenarioError.single(how, column=what, value=type(given).__name__)
    return given
