"""What a saved notebook shows without a kernel: the last chart, its findings, and a few lines of text.

It is an output of its own beside the live view, which hides it while it lives. Updating it does not touch
the view, so the last state is in the notebook whenever that is saved.
"""

from __future__ import annotations

import html
import json
from typing import Any
from uuid import uuid4

import pandas as pd
from IPython.display import publish_display_data

from planning_kit.explore.session.session import Session
from planning_kit.show.chart import CHART_CONFIG, PLOTLY_MIME
from planning_kit.show.swimlane import swimlane_spec

WIDGET_MIME = "application/vnd.jupyter.widget-view+json"
_MOST_FINDINGS = 12


class Snapshot:
    """The static output of one session."""

    def __init__(self, session: Session) -> None:
        """Nothing is shown yet."""
        self._session = session
        self._display_id = ""
        self._last: tuple[Any, Any] | None = None

    def publish(self, view: Any) -> None:
        """Show the live view (its bundle), and below it the static output."""
        data = view[0] if isinstance(view, tuple) else view
        if data and WIDGET_MIME in data:
            publish_display_data({WIDGET_MIME: data[WIDGET_MIME], "text/plain": "Workbench"})
        self._display_id = uuid4().hex
        self._publish(update=False)

    def update(self) -> None:
        """Bring the static output up to date, if it was shown and something changed."""
        plan, baseline = self._last or (None, None)
        if self._display_id and (plan is not self._session.plan or baseline is not self._session.baseline):
            self._publish(update=True)

    def _publish(self, update: bool) -> None:
        self._last = self._session.plan, self._session.baseline
        publish_display_data(self.bundle(), transient={"display_id": self._display_id}, update=update)

    def bundle(self) -> dict[str, Any]:
        """The chart as plotly's JSON, the findings as a table, the summary as text; every text escaped."""
        session = self._session
        spec = json.loads(json.dumps(swimlane_spec(session.plan, session.baseline)))
        summary = session.plan.summary
        lines = [f"{item}: {value}" for item, value in summary.itertuples(index=False)]
        return {PLOTLY_MIME: {**spec, "config": CHART_CONFIG}, "text/plain": "\n".join(lines),
                "text/html": _table("Plan", summary) + _table("Findings", _findings(session))}


def _findings(session: Session) -> pd.DataFrame:
    found: pd.DataFrame = session.plan.findings  # type: ignore[attr-defined]
    return found[["severity", "check", "crew", "step", "message", "source"]].head(_MOST_FINDINGS)


def _table(caption: str, frame: pd.DataFrame) -> str:
    head = "".join(f"<th>{html.escape(str(name))}</th>" for name in frame.columns)
    body = "".join("<tr>" + "".join(f"<td>{html.escape(str(value))}</td>" for value in row) + "</tr>"
                   for row in frame.itertuples(index=False))
    return f"<table><caption>{html.escape(caption)}</caption><tr>{head}</tr>{body}</table>"
