"""What a saved notebook shows without a kernel: the last chart, and the summary and findings as a table.

These are outputs of their own below the live view, whose style sheet hides them while it lives. Updating
them does not touch the view, so the last state is in the notebook whenever that is saved.
"""

import json
from dataclasses import asdict
from typing import Any
from uuid import uuid4

import pandas as pd
from IPython.display import publish_display_data

from planning_kit.explore.long_question import InPieces, at_once
from planning_kit.explore.session.session import Session
from planning_kit.explore.tightest import told_summary
from planning_kit.explore.watch.logbook import log_lines
from planning_kit.explore.watch.watch import Watch
from planning_kit.front.plan import Plan
from planning_kit.inputs.shown_text import TextTable, html_text, visible
from planning_kit.judge.findings import findings_in
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.chart import CHART_CONFIG, PLOTLY_MIME
from planning_kit.show.swimlane import swimlane_spec

WIDGET_MIME = "application/vnd.jupyter.widget-view+json"
_MOST_FINDINGS, _MOST_EVENTS = 12, 12
_FINDING_COLUMNS = ["severity", "check", "crew", "step", "message", "source", "accepted"]
_LOG_COLUMNS = ["event_id", "at", "crew", "event", "step", "by", "note", "problem"]
_LIVE_WORDS = "Workbench (live while the kernel runs); its last state:"


class Snapshot:
    """The static outputs of one workbench: two, because a page shows one form of each output."""

    def __init__(self, session: Session) -> None:
        """Nothing is shown yet."""
        self._session = session
        self._display_ids: tuple[str, ...] = ()
        self._last: tuple[TimedPlan, TimedPlan | None] | None = None

    def publish(self, view: Any) -> None:
        """Show the live view (its bundle), and below it the static outputs."""
        data = view[0] if isinstance(view, tuple) else view
        if data and WIDGET_MIME in data:
            publish_display_data({WIDGET_MIME: data[WIDGET_MIME], "text/plain": _LIVE_WORDS})
        self._display_ids = (uuid4().hex, uuid4().hex)
        at_once(self._publish(update=False))

    def update(self) -> None:
        """Bring the static outputs up to date, if they were shown and something changed."""
        at_once(self.updating())

    def updating(self) -> InPieces[None]:
        """`update` in pieces."""
        plan, baseline = self._last or (None, None)
        shown = self._shown()
        if self._display_ids and (plan is not shown[0] or baseline is not shown[1]):
            yield from self._publish(update=True)

    def _shown(self) -> tuple[TimedPlan, TimedPlan | None]:
        """The plan, and what its ghosts are; never a preview, which decides nothing."""
        session, watch = self._session, self._session.following
        return (session.plan, session.baseline) if watch is None else (watch.plan, watch.planned)

    def _publish(self, update: bool) -> InPieces[None]:
        self._last = self._shown()
        for bundle, name in zip((self.chart, self.tables), self._display_ids, strict=True):
            publish_display_data(bundle(), transient={"display_id": name}, update=update)
            yield

    def chart(self) -> dict[str, Any]:
        """The chart as plotly's JSON, and what it shows in words."""
        spec = json.loads(json.dumps(swimlane_spec(*self._shown())))
        return {PLOTLY_MIME: {**spec, "config": CHART_CONFIG}, "text/plain": spec["layout"]["meta"]["alt"]}

    def tables(self) -> dict[str, Any]:
        """Summary and findings, and outside where the outing stands and the log; every text escaped."""
        plan, watch = self._shown()[0], self._session.following
        summary, found = told_summary(plan), Plan(plan).findings.head(_MOST_FINDINGS)
        lines = [f"{item}: {value}" for item, value in summary.itertuples(index=False)]
        lines += [f"{each.severity} {each.check} {each.step}: {each.words}" for each in findings_in(found)]
        page = _table("Plan", summary) + _table("Findings", found[_FINDING_COLUMNS])
        if watch is not None:
            standing = pd.DataFrame({"where the outing stands": Plan(plan).standing.splitlines()})
            lines = [*standing.iloc[:, 0], *lines]
            page = _table("Outside", standing) + page + _table("Log, the latest first", _log(watch))
        return {"text/html": page, "text/plain": "\n".join(map(visible, lines))}


def _log(watch: Watch) -> pd.DataFrame:
    lines = log_lines(watch.log_so_far, watch.plan.pet_zero)[:_MOST_EVENTS]
    return pd.DataFrame([asdict(line) for line in lines], columns=_LOG_COLUMNS)


def _table(caption: str, frame: pd.DataFrame) -> str:
    return f"<h4>{html_text(caption)}</h4>{TextTable(frame)._repr_html_()}"
