"""The findings table: what every check adds to, worst first, and what makes two findings the same one."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

import pandas as pd

from planning_kit.inputs.shown_text import TextTable

STOP, CONCERN, REMARK = "stop", "concern", "remark"
SEVERITIES = (STOP, CONCERN, REMARK)
RANK = {severity: rank for rank, severity in enumerate(SEVERITIES)}
# Rules whose finding is of the whole outing, of one item, inhibit or hook: the step that it names is where
# that shows in this plan, and another step in another plan is no other finding.
_SHOWS_ANYWHERE = {
    ("suits", "runs-out"), ("return", "alone-too-far"), ("return", "alone-too-late"),
    ("return", "helped-too-far"), ("return", "helped-too-late"), ("return", "helped-no-way"),
    ("tethers", "still-hooked"), ("custody", "not-inside"), ("custody", "not-in-place"),
    ("custody", "stays-outside"), ("hazards", "total-too-long"), ("hazards", "contamination-inside"),
    ("looks", "no-look"), ("hazard-data", "never-controls"), ("hazard-data", "confirmed-early"),
    ("way-home", "through-hazard"), ("crew", "not-trained"), ("states", "not-at-end"),
    ("procedure", "turns"), ("procedure", "turns-open"), ("responses", "not-in-time"), ("voice", "too-far"),
}


@dataclass(frozen=True)
class Finding:
    """One thing that a reviewer must know of a plan.

    ``severity``: ``stop`` (the plan cannot be flown so), ``concern`` (someone must accept it), ``remark``
    (something to know, or a check that could not run). ``rule`` names the one rule of the check that is
    broken (each check lists its own), ``about`` what it is about: an item, place, inhibit, route, consumable,
    gap or task, by id; several with blanks between; "" for none. ``start_min`` in PET minutes; ``value``,
    ``limit`` and ``margin`` (limit kept: positive) in the unit that the message names, NaN where there is no
    number. ``source`` is where the limit comes from. The message is for people: no code reads it.
    ``accepted`` is who accepted it, when and why (see `planning_kit.judge.acceptances`); "" for nobody.
    """

    severity: str
    check: str
    rule: str = ""
    about: str = ""
    crew: str = ""
    step: str = ""
    start_min: float = float("nan")
    message: str = ""
    source: str = ""
    value: float = float("nan")
    limit: float = float("nan")
    margin: float = float("nan")
    accepted: str = ""

    def __post_init__(self) -> None:
        if self.severity not in SEVERITIES:
            raise ValueError(f"severity must be one of {', '.join(SEVERITIES)}, not {self.severity!r}")

    @property
    def words(self) -> str:
        """The message, and who accepted it."""
        return f"{self.message}. Accepted {self.accepted}" if self.accepted else self.message


FINDING_COLUMNS = [field.name for field in fields(Finding)]

Identity = tuple[str, str, str, str, str]


def identity(row: Mapping[Any, Any]) -> Identity:
    """What makes the finding of a row of ``plan.findings`` the same one in another plan.

    Check, rule, what it is about, crew, and the step unless it only shows there (`_SHOWS_ANYWHERE`). Times,
    numbers, severity, words and who accepted it are no part of it: they may differ.
    """
    check, rule = row["check"], row["rule"]
    return check, rule, row["about"], row["crew"], "" if (check, rule) in _SHOWS_ANYWHERE else row["step"]


def findings_in(table: pd.DataFrame) -> list[Finding]:
    """The rows of a findings table, in their order."""
    return [Finding(*row) for row in table.itertuples(index=False)]


def findings_table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Findings as a DataFrame, worst first, then by time (those of the whole outing first)."""
    frame = pd.DataFrame([asdict(finding) for finding in findings], columns=FINDING_COLUMNS)
    frame["rank"] = frame["severity"].map(RANK)
    ordered = frame.sort_values(["rank", "start_min", "check"], kind="stable", na_position="first")
    return TextTable(ordered.drop(columns="rank").reset_index(drop=True))
