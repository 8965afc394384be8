"""What somebody has accepted of a plan: ``accepted.csv`` beside a scenario, a row a finding, only added to.

It is no part of the scenario: no digest counts it and no save writes it. It is read each time that it is
asked for, so that a row that was deleted counts no longer. It is a record among colleagues, no signature.
Whether a row still holds is judged in `planning_kit.judge.acceptances`.
"""

import math
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Annotated

import pandas as pd

from planning_kit.inputs.cells import CellFault, parse_moment
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Table, column, columns_of
from planning_kit.inputs.format import ACCEPTED_FILE
from planning_kit.inputs.raw import RawTable, csv_row, read_tables
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.sign_offs import Reviewed, bytes_beside, unfit_texts, write_beside
from planning_kit.inputs.typed_tables import Row, number_text, parse_table


@dataclass(frozen=True)
class Acceptance:
    """One row: which finding, at which numbers (NaN where there is none), by whom, why and when."""

    row: int
    rule: Annotated[str, column("text", "check and rule, such as return/helped-too-far", needed=True)]
    about: Annotated[str, column("text", "what it is about, as in plan.findings")]
    crew: Annotated[str, column("text", "whom it concerns, as in plan.findings")]
    step: Annotated[str, column("text", "its step; it may be empty where the rule shows at any step")]
    value: Annotated[float, column("number", "the value that was accepted, in the unit of the finding")]
    limit: Annotated[float, column("number", "the limit that it was held against")]
    by: Annotated[str, column("text", "who accepted it", needed=True)]
    why: Annotated[str, column("text", "why it can be accepted", needed=True)]
    date: Annotated[str, column("text", "when: an ISO date or a UTC moment", needed=True)]


ACCEPTED = Table("accepted", "one finding of the plan that somebody has accepted", ("rule",),
                 columns_of(Acceptance), may_be_absent=True, is_unique=False)
ACCEPTED_COLUMNS = [field.name for field in ACCEPTED.fields]
_RULE = re.compile("[a-z-]+/[a-z-]+")


def acceptances_of(folder: Path) -> tuple[Acceptance, ...]:
    """What was accepted beside the scenario in ``folder``, in the order of the file; none without a file.

    Raises `ScenarioError` with every fault of the file.
    """
    data = bytes_beside(folder, ACCEPTED_FILE)
    return () if data is None else _read(data)[1]


def accepted_table(folder: Path) -> pd.DataFrame:
    """The same as a table, as ``Scenario.accepted`` gives it."""
    rows = [[getattr(each, name) for name in ACCEPTED_COLUMNS] for each in acceptances_of(folder)]
    return TextTable(rows, columns=ACCEPTED_COLUMNS).astype({"value": float, "limit": float})


def add_acceptance(reviewed: Reviewed, texts: Mapping[str, str], given_date: object) -> None:
    """Add a row under the folder's lock; ``texts`` by column, all but the date (today, if None).

    Raises `ScenarioError` for what is no acceptance and for a scenario with edits that are not saved,
    `SaveConflict` where it was changed on disk.
    """
    faults = unfit_texts(reviewed, **texts)
    for name, what in (("by", "who"), ("why", "why")):
        if isinstance(texts[name], str) and not texts[name].strip():
            faults.add(ACCEPTED.name, None, name, "", f"is empty; say {what}")
    when = ""
    try:
        when = _date_text(datetime.now(UTC).date() if given_date is None else given_date)
    except CellFault as fault:
        faults.add(ACCEPTED.name, None, "date", given_date, str(fault))
    faults.stop_if_any()
    cells = {**{name: " ".join(text.split()) for name, text in texts.items()}, "date": when}
    write_beside(reviewed, ACCEPTED_FILE, lambda before: _with_row(before, cells))


def _with_row(before: bytes | None, cells: Mapping[str, str]) -> bytes:
    """The file with a row more; what stood in it stays byte for byte, in its own order of columns."""
    if before is None:
        before = (csv_row(ACCEPTED_COLUMNS) + "\n").encode()
    raw = _read(before)[0]  # a file that cannot be read is not added to
    end = b"" if before.endswith((b"\n", b"\r")) else raw.newline.encode()
    row = csv_row(cells.get(name, "") for name in raw.header) + raw.newline
    after = before + end + row.encode()
    _read(after)
    return after


@lru_cache(maxsize=4)
def _read(data: bytes) -> tuple[RawTable, tuple[Acceptance, ...]]:
    faults = Faults()
    tables = read_tables({ACCEPTED.file: data}, faults, (ACCEPTED,))
    rows = parse_table(ACCEPTED, tables[ACCEPTED.name], faults) if tables else []
    for row in rows:
        _check(row, faults)
    faults.stop_if_any()
    return tables[ACCEPTED.name], tuple(map(_acceptance, rows))


def _check(row: Row, faults: Faults) -> None:
    """What the kinds of the columns do not say."""
    for name in ("by", "why"):
        if row.text(name).isspace():
            row.fault(faults, name, "says nothing; write it, or delete the row")
    if row.text("rule") and not _RULE.fullmatch(row.text("rule").strip()):
        row.fault(faults, "rule", "must be check and rule, such as return/helped-too-far")
    has_value, has_limit = (row.number_of(column) is not None for column in ("value", "limit"))
    if has_value != has_limit and {"value", "limit"} <= set(row.values):
        row.fault(faults, "limit" if has_value else "value", "is empty; value and limit stand together")
    if row.text("date"):
        try:
            _date_text(row.text("date"))
        except CellFault as fault:
            row.fault(faults, "date", str(fault))


def _acceptance(row: Row) -> Acceptance:
    texts = {name: " ".join(row.text(name).split()) for name in ACCEPTED_COLUMNS}
    numbers = {name: math.nan if (number := row.number_of(name)) is None else number
               for name in ("value", "limit")}
    return Acceptance(row.number, **{**texts, **numbers})  # type: ignore[arg-type]


def _date_text(given: object) -> str:
    """An ISO date or a UTC moment as text. Raises `CellFault`."""
    text = given.strip() if isinstance(given, str) else given
    if isinstance(text, str) and len(text) == len("2031-05-14"):
        with suppress(ValueError):
            text = date.fromisoformat(text)
    if isinstance(text, date) and not isinstance(text, datetime):
        return text.isoformat()
    try:
        return parse_moment(text).strftime("%Y-%m-%dT%H:%M:%SZ")
    except CellFault:
        raise CellFault("must be a date of the calendar like 2031-05-14 or a UTC time like "
                        "2031-05-14T11:20:00Z") from None


def numbers_text(value: float, limit: float) -> dict[str, str]:
    """The cells of value and limit; both empty where one of them is no number."""
    is_known = math.isfinite(value) and math.isfinite(limit)
    return {"value": number_text(value) if is_known else "", "limit": number_text(limit) if is_known else ""}
