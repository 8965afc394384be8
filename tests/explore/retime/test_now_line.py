"""The chart of a re-timed plan: a line at now, and the plan outside as ghosts."""

from __future__ import annotations

import planning_kit as pk
from tests.explore.retime.rehearsal import as_planned


def test_a_re_timed_plan_has_a_line_at_now_and_others_have_none(small_plan: pk.Plan) -> None:
    new = small_plan.retime(as_planned(small_plan, 30.0), 30.0)
    charts = pk.swimlane(new, baseline=small_plan), pk.swimlane(small_plan)
    lines = [[shape for shape in chart.layout.shapes if shape.name == "now"] for chart in charts]
    assert [len(found) for found in lines] == [1, 0]
    assert lines[0][0].x0 == lines[0][0].x1 == 30 * 60_000  # the x axis counts milliseconds of PET
    assert [note.text for note in charts[0].layout.annotations if note.name == "now"] == ["<b>now 0:30</b>"]
