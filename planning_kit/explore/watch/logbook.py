"""Where a watch keeps its log: ``log.csv`` beside the scenario, or a file of the session's own.

Both are files and are appended to in the same safe way (`planning_kit.inputs.log_append`). The session's own
goes when the session goes, and the planner is told so.
"""

from __future__ import annotations

import os
import tempfile
import weakref
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.csv_cells import csv_row
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log import log_path, log_rows, raw_of_frame
from planning_kit.inputs.log_format import LOG_COLUMNS, LOG_FILE
from planning_kit.inputs.rows import Row

Signature = tuple[int, int, int] | None


@dataclass(frozen=True, eq=False)
class Logbook:
    """A log file. ``is_kept``: it stays when the session ends; ``words`` say where it is."""

    path: Path
    is_kept: bool
    words: str

    @classmethod
    def at(cls, file_or_folder: str | Path) -> Logbook:
        """The log in a file or folder, whether or not it is there yet."""
        path = log_path(file_or_folder)
        return cls(path, True, f"{path.parent.name}/{path.name}")

    @classmethod
    def beside(cls, folder: Path) -> Logbook:
        """The log beside a scenario; the session's own where that folder is none, or not ours to write."""
        is_ours = (folder / fmt.SCENARIO_FILE).is_file() and os.access(folder, os.W_OK)
        return cls.at(folder) if is_ours else cls.of_rows(())

    @classmethod
    def of_rows(cls, rows: Iterable[Sequence[str]]) -> Logbook:
        """A log of the session's own that begins with some rows (cells in the order of `LOG_COLUMNS`)."""
        home = tempfile.TemporaryDirectory(prefix="outing-log-")
        book = cls(Path(home.name) / LOG_FILE, False, "kept in this session only")
        weakref.finalize(book, home.cleanup)
        rows = list(rows)
        if rows:
            text = "".join(csv_row(row) + "\n" for row in (LOG_COLUMNS, *rows))
            book.path.write_text(text, encoding="utf-8", errors="backslashreplace", newline="")
        return book

    @classmethod
    def of_frame(cls, frame: pd.DataFrame) -> Logbook:
        """A log of the session's own that begins with a DataFrame as `read_log` makes it.

        Raises `ScenarioError` for a table that is no log; cells that make no sense are faults of the log.
        """
        faults = Faults()
        raw = raw_of_frame(frame, faults)
        faults.stop_if_any()
        cells = [dict(zip(raw.header, row, strict=True)) for row in raw.rows]
        numbered = ({"event_id": f"e{number}"} | {name: text for name, text in row.items() if text}
                    for number, row in enumerate(cells, start=1))
        return cls.of_rows([[row.get(name, "") for name in LOG_COLUMNS] for row in numbered])

    def signature(self) -> Signature:
        """What changes whenever the file does; None where there is none."""
        try:
            found = self.path.stat()
        except (OSError, ValueError):
            return None
        return found.st_mtime_ns, found.st_size, found.st_ino

    def rows(self, faults: Faults) -> list[Row]:
        """All rows of the file (see `log_rows`)."""
        return log_rows(self.path, faults)
