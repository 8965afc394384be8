"""The rows of the swimlane chart that are no person's: light, links, named windows, the outing as a whole."""

from __future__ import annotations

from planning_kit.inputs.times import pet_label
from planning_kit.show.bars import LABEL_FONT_PX, Bar, Trace, bar_trace
from planning_kit.show.escape import plotly_text
from planning_kit.show.scene import Scene


def sky_traces(scene: Scene) -> list[Trace]:
    """The light lane: night, penumbra and day windows, told apart by text and pattern too.

    They stand on the GMT axis (``x2``): plotly draws no axis that carries no trace.
    """
    theme, strip = scene.theme, scene.lanes.light
    looks = (("night", theme.night, theme.night_ink, ""), ("penumbra", theme.penumbra, theme.ink, "x"),
             ("day", theme.day, theme.day_ink, ""))
    traces = []
    for kind, fill, ink, pattern in looks:
        names = [kind if kind == "penumbra" else f"{kind} {number}"
                 for number in range(1, len(scene.light[kind]) + 1)]
        bars = [Bar(strip, start, finish, _period_text(scene, name, start, finish), (name, "", "light"))
                for name, (start, finish) in zip(names, scene.light[kind], strict=True)]
        traces.append(bar_trace(
            kind, bars, xaxis="x2", text=["" if kind == "penumbra" else name for name in names],
            textposition="inside", insidetextanchor="middle", textangle=0, constraintext="inside",
            textfont={"color": ink, "size": LABEL_FONT_PX},
            marker={"color": fill, "line": {"color": theme.quiet_ink, "width": 1},
                    "pattern": {"shape": pattern, "size": 4, "fgcolor": theme.paper}},
        ))
    return traces


def link_trace(scene: Scene) -> Trace:
    """One thin row a relay or named window."""
    bars = [Bar(scene.lanes.links[name], start, finish, _period_text(scene, name, start, finish),
                (name, "", "link"))
            for name, periods in scene.links.items() for start, finish in periods]
    look = {"color": scene.theme.link, "line": {"color": scene.theme.link, "width": 1}}
    return bar_trace("links and named windows", bars, marker=look)


def outing_trace(scene: Scene) -> Trace:
    """The outing as a whole, from egress to the end of ingress, against the planned limit."""
    end_min, theme = scene.end_min, scene.theme
    margin = scene.limits["planned limit"][0] - end_min
    side = "before" if margin >= 0 else "after"
    text = f"outing ends {pet_label(end_min)}, {pet_label(abs(margin))} {side} the planned limit"
    hover = _period_text(scene, "Outing", 0.0, end_min)
    bar = Bar(scene.lanes.outing, 0.0, end_min, hover, ("", "", "outing"))
    return bar_trace(
        "outing", [bar], text=[text], textposition="inside", insidetextanchor="start", textangle=0,
        constraintext="inside", textfont={"size": LABEL_FONT_PX, "color": theme.paper},
        marker={"color": theme.quiet_ink, "line": {"width": 0}},
    )


def _period_text(scene: Scene, name: str, start: float, finish: float) -> str:
    words = scene.words
    return f"{plotly_text(name)}, {words.span(start, finish)}.<br>{words.gmt_span(start, finish)}."
