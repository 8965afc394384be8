"""A chart in a notebook, legible on the white page of one reader and on the dark page of another.

One saved output serves both, and a notebook's theme is the reader's. So the chart has no ground of its own,
and what is drawn on the page's ground takes other colours than those of `LIGHT`:

- Marks (lines, outlines, hatchings, shades) take one grey or red that stands out on both. No colour has more
  than the root of the contrast between the two grounds: `contrast(#FFFFFF, #111111)` is 18.9, its root 4.3.
  That is enough for marks (3), and too little for small text (4.5).
- Text takes the colour of the page's own text by a CSS variable of JupyterLab, in the markup that plotly
  takes in texts. Where no such variable is (a page of HTML, a saved picture), it is the ink of `LIGHT`.
- The minutes of a time axis are hundreds: they take the page's own colour by the shorter `currentColor`.

Text on fills and in hover labels, which bring their ground with them, stays as it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planning_kit.show.palette import CLEAR, LIGHT

MARK, STOP_MARK = "#6B747F", "#D93A36"
MARKS = {LIGHT.paper: CLEAR, LIGHT.ink: MARK, LIGHT.quiet_ink: MARK, LIGHT.stop: STOP_MARK,
         LIGHT.grid: "rgba(128,136,148,0.28)", LIGHT.lane: "rgba(128,136,148,0.09)",
         LIGHT.night_shade: "rgba(92,112,176,0.20)"}
"""Colour of a mark on white to that of the same mark on either ground."""
INKS = {LIGHT.ink: f"var(--jp-content-font-color1,{LIGHT.ink})",
        LIGHT.quiet_ink: f"var(--jp-content-font-color2,{LIGHT.quiet_ink})",
        LIGHT.stop: f"var(--jp-error-color1,{LIGHT.stop})"}
"""Colour of text on white to that of the same text on the page's ground."""
_MINUTE_INKED = '<span style="color:currentColor">', "</span>"
_FONTS = ("font", "tickfont", "textfont", "insidetextfont", "outsidetextfont")
_OWN_GROUND = ("hoverlabel", "template")


def on_any_ground(figure: dict[str, Any]) -> dict[str, Any]:
    """The figure, as plotly's JSON, without a ground; unchanged unless its ground is that of `LIGHT`."""
    layout = figure["layout"]
    if layout.get("paper_bgcolor") != LIGHT.paper:
        return figure
    made = _axes_inked(_drawn(layout))
    made["shapes"] = [_named(each) if each.get("showlegend") else each for each in made.get("shapes", ())]
    made["font"] = layout["font"] | {"color": MARK}
    return {**figure, "layout": made,
            "data": [_drawn(trace) if trace.get("showlegend") is False else _named(_drawn(trace))
                     for trace in figure["data"]]}


def inked(text: str, color: Any) -> str:
    """Text as plotly takes it, in the page's colour for what is ``color`` on white."""
    for plain, ink in INKS.items():
        text = text.replace(f'color:{plain}"', f'color:{ink}"')  # quotes in texts of others are escaped
    return f'<span style="color:{INKS[color]}">{text}</span>' if text and color in INKS else text


def _drawn(part: Any, key: str = "") -> Any:
    """A part with its marks on any ground, and its texts in the page's ink where it says their colour."""
    if isinstance(part, list):
        return [_drawn(each, key) for each in part]
    if not isinstance(part, Mapping):
        return MARKS.get(part, part) if isinstance(part, str) and key != "fgcolor" else _hatched(part)
    made = {name: value if name in (*_OWN_GROUND, *_FONTS) else _drawn(value, name)
            for name, value in part.items()}
    for name in _FONTS:
        color = part.get(name, {}).get("color")
        if color in INKS and isinstance(part.get("text"), str):
            made["text"] = inked(part["text"], color)
        elif color in INKS and isinstance(part.get("text"), list):
            made["text"] = [inked(each, color) if isinstance(each, str) else each for each in part["text"]]
    return made


def _hatched(color: Any) -> Any:
    return MARK if color in (LIGHT.ink, LIGHT.quiet_ink) else color


def _named(part: dict[str, Any]) -> dict[str, Any]:
    """What stands in the legend, its name in the page's ink."""
    return part | {"name": inked(part["name"], LIGHT.ink)} if part.get("name") else part


def _axes_inked(layout: dict[str, Any]) -> dict[str, Any]:
    """A layout whose axes have their labels in the page's ink."""
    made = dict(layout)
    for name, axis in layout.items():
        if not name.startswith(("xaxis", "yaxis")):
            continue
        color = axis.get("tickfont", {}).get("color", LIGHT.ink)
        if "ticktext" in axis:
            more: dict[str, Any] = {"ticktext": [inked(str(each), color) for each in axis["ticktext"]]}
        elif "labelalias" in axis:
            more = {"labelalias": {key: each.join(_MINUTE_INKED) for key, each in axis["labelalias"].items()}}
        elif color in INKS:
            opened, closed = inked("|", color).split("|")
            more = {"tickprefix": opened + axis.get("tickprefix", ""),
                    "ticksuffix": axis.get("ticksuffix", "") + closed}
        else:
            more = {}
        title = axis.get("title", {})
        if title.get("text") and "font" in title and "color" not in title["font"]:
            more["title"] = title | {"text": inked(title["text"], LIGHT.ink)}
        made[name] = axis | more
    return made
