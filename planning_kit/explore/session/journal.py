"""Unsaved work on disk: written after every edit, so that a kernel that dies takes nothing typed with it.

A session has a file of its own in the user's state folder (``PLANNING_KIT_STATE`` names another), replaced in
one step each time. Opening a scenario looks for files of other sessions on the same folder and offers them.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.sheet import Line, Sheet
from planning_kit.inputs.frozen import FrozenMapping
from planning_kit.inputs.locks import made_state_folder, name_of, state_folder

_FORMAT = 2


@dataclass(frozen=True)
class Unsaved:
    """Work found in a journal: the draft, ``base`` from which it was typed, the named versions.

    ``written`` is when it was written last, UTC.
    """

    path: Path
    written: datetime
    draft: Draft
    base: Draft
    versions: Mapping[str, Draft]


class Journal:
    """The file of one session on the scenario of ``folder``."""

    def __init__(self, folder: Path) -> None:
        """Choose a name; nothing is written yet."""
        self._folder = folder
        self.path = state_folder() / f"{name_of(folder)}-{secrets.token_hex(8)}.json"

    def write(self, draft: Draft, base: Draft, versions: Mapping[str, Draft]) -> None:
        """Put what is typed, and ``base``, from which it was, on disk: whole or not at all.

        Raises `OSError` when that fails.
        """
        content = {
            "format": _FORMAT, "folder": str(self._folder), "written": datetime.now(UTC).isoformat(),
            "draft": _plain(draft), "base": _plain(base),
            "versions": {name: _plain(each) for name, each in versions.items()},
        }
        # Escaped to ASCII: half characters that a cell may hold are kept too.
        data = json.dumps(content).encode("ascii")
        made_state_folder()
        part = self.path.with_suffix(".part")
        with part.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(part, self.path)

    def remove(self) -> None:
        """Delete the file: everything is saved."""
        with contextlib.suppress(OSError):
            self.path.unlink(missing_ok=True)

    def left_by_others(self, like: Draft) -> list[Unsaved]:
        """Work on the same scenario that other sessions left, newest first; unreadable files stay.

        It has the tables, columns and settings of ``like``, whatever version of the package left it.
        """
        found = []
        for path in state_folder().glob(f"{name_of(self._folder)}-*.json"):
            if path != self.path and (unsaved := _read(path, like)) is not None:
                found.append(unsaved)
        return sorted(found, key=lambda each: each.written, reverse=True)


def _read(path: Path, like: Draft) -> Unsaved | None:
    try:
        content = json.loads(path.read_bytes())
        if content["format"] != _FORMAT:
            return None
        versions = {str(name): _draft(each, like) for name, each in content["versions"].items()}
        written = datetime.fromisoformat(content["written"])
        draft, base = (_draft(content[name], like) for name in ("draft", "base"))
        return Unsaved(path, written, draft, base, FrozenMapping(versions))
    except (OSError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError):
        return None


def _plain(draft: Draft) -> dict[str, Any]:
    sheets = {name: {"columns": sheet.columns, "can_grow": sheet.can_grow,
                     "lines": [[line.id, line.cells] for line in sheet.lines]}
              for name, sheet in draft.sheets.items()}
    return {"sheets": sheets, "next_id": draft.next_id}


def _draft(plain: Mapping[str, Any], like: Draft) -> Draft:
    sheets = {}
    for name, each in plain["sheets"].items():
        columns = tuple(str(column) for column in each["columns"])
        lines = tuple(Line(int(number), tuple(str(cell) for cell in cells))
                      for number, cells in each["lines"])
        if any(len(line.cells) != len(columns) for line in lines):
            raise ValueError(f"{name}: a line of another length")
        sheets[str(name)] = Sheet(str(name), columns, lines, bool(each["can_grow"]))
    fitting = {name: _fitted(sheets.get(name, sheet), sheet) for name, sheet in like.sheets.items()}
    return Draft(FrozenMapping(fitting), max(int(plain["next_id"]), like.next_id))


def _fitted(sheet: Sheet, like: Sheet) -> Sheet:
    """``sheet`` with the columns that only ``like`` has; if it cannot grow, with the rows of ``like``."""
    if not like.can_grow:
        texts = {line.cells[0]: line.cells[1] for line in sheet.lines}
        rows = tuple(Line(line.id, (line.cells[0], texts.get(*line.cells[:2]), *line.cells[2:]))
                     for line in like.lines)
        return Sheet(like.name, like.columns, rows, can_grow=False)
    absent = tuple(column for column in like.columns if column not in sheet.columns)
    if not absent:
        return sheet
    lines = tuple(Line(line.id, (*line.cells, *("" for _ in absent))) for line in sheet.lines)
    return Sheet(sheet.name, (*sheet.columns, *absent), lines)
