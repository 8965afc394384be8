"""The findings table: what every check adds to, worst first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields

import pandas as pd

from planning_kit.inputs.text_table import TextTable

STOP, CONCERN, REMARK = "stop", "concern", "remark"
_SEVERITIES = (STOP, CONCERN, REMARK)


@dataclass(frozen=True)
class Finding:
    """One thing that a reviewer must know of a plan.

    ``severity``: ``stop`` (the plan cannot be flown so), ``concern`` (someone must accept it), ``remark``
    (something to know, or a check that could not run). ``start_min`` in PET minutes; ``value``, ``limit``
    and ``margin`` (limit kept: positive) in the unit that the message names, NaN where there is no number.
    ``source`` is where the limit comes from.
    """

    severity: str
    check: str
    crew: str
    step: str
    start_min: float
    message: str
    source: str = ""
    value: float = float("nan")
    limit: float = float("nan")
    margin: float = float("nan")

    def __post_init__(self) -> None:
        if self.severity not in _SEVERITIES:
            raise ValueError(f"severity must be one of {', '.join(_SEVERITIES)}, not {self.severity!r}")


FINDING_COLUMNS = [field.name for field in fields(Finding)]


def findings_table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Findings as a DataFrame, worst first, then by time (those of the whole outing first)."""
    frame = pd.DataFrame([asdict(finding) for finding in findings], columns=FINDING_COLUMNS)
    frame["rank"] = frame["severity"].map({name: rank for rank, name in enumerate(_SEVERITIES)})
    ordered = frame.sort_values(["rank", "start_min", "check"], kind="stable", na_position="first")
    return TextTable(ordered.drop(columns="rank").reset_index(drop=True))
