"""The swimlane chart of a plan: who does what, when, in which light, and what is wrong where.

It draws a finished plan and computes nothing of its own: every minute comes from the plan's tables.
"""

from __future__ import annotations

from typing import Any

from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan
from planning_kit.show.bars import Trace, pause_traces, tight_trace, together_trace, work_traces
from planning_kit.show.chart import Chart
from planning_kit.show.frame import layout_of, legends_of
from planning_kit.show.inhibit_rows import inhibit_trace
from planning_kit.show.labels import ghost_traces, label_traces
from planning_kit.show.marks import finding_traces, handover_traces
from planning_kit.show.palette import theme_named
from planning_kit.show.scene import Scene, scene_of
from planning_kit.show.sky_rows import link_trace, outing_trace, sky_traces


def swimlane(plan: AnyPlan, baseline: AnyPlan | None = None, theme: str = "light") -> Chart:
    """Draw ``plan`` as lanes over time: light, links, EV1, EV2, others at work, inhibits, limits.

    ``baseline`` is another plan, whose steps are shown as hollow ghosts beside the lanes. ``theme`` is
    ``light`` or ``dark``; the chart brings its own ground, so that either reads in any notebook. The x axis
    counts milliseconds of PET and is labelled in PET below and GMT above; bars carry ``[step, crew, kind]``
    as custom data. Raises `ScenarioError` for another theme and for what is no plan.
    """
    timed = as_plan(plan)
    before = None if baseline is None else as_plan(baseline, "baseline")
    return Chart(**swimlane_spec(timed, before, theme))


def swimlane_spec(plan: TimedPlan, baseline: TimedPlan | None = None,
                  theme: str = "light") -> dict[str, Any]:
    """The same chart as plain ``data`` and ``layout`` of a plotly figure, for a widget that redraws often.

    Making a figure of it costs several times as much as drawing it does: plotly checks every attribute.
    """
    scene = scene_of(plan, baseline, theme_named(theme))
    traces = [trace for trace in _traces(scene) if trace["x"]]
    return {"data": traces, "layout": layout_of(scene) | legends_of(scene, traces)}


def _traces(scene: Scene) -> list[Trace]:
    """From the ground up: what comes later is drawn over what came before."""
    return [
        *sky_traces(scene),
        link_trace(scene),
        together_trace(scene),
        *work_traces(scene),
        *pause_traces(scene),
        tight_trace(scene),
        *label_traces(scene),
        *ghost_traces(scene),
        inhibit_trace(scene),
        outing_trace(scene),
        *handover_traces(scene),
        *finding_traces(scene),
    ]
