"""The station map that is walked through, with its keys: they come as a second output beside the chart.

The chart itself is plotly's JSON, which every viewer draws alike and which runs nothing of ours. The second
output is one fixed script and a line that says which keys there are; a viewer that does not run it (a
notebook that is not trusted) leaves the map to the mouse.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import plotly.graph_objects as go
from IPython.display import display

from planning_kit.show.chart import Chart

KEYS = ("By keyboard: Tab to a control of the map; Enter presses a button; the arrow keys move the slider "
        "(Page Up and Down by ten) and step through the lists of steps and findings.")


class Film(Chart):
    """A chart with frames that shows itself with its keys.

    The frames are plotly's JSON as it is: to make plotly's own objects of them, which check every attribute,
    takes most of the time of a map, and is left to whoever asks for ``frames``.
    """

    def __init__(self, data: Any = None, layout: Any = None, frames: Any = None, **kwargs: Any) -> None:
        """Hold the parts of a figure, or a figure as a mapping, as plotly does."""
        if isinstance(data, Mapping) and "data" in data:
            data, layout, frames = data["data"], data.get("layout", layout), data.get("frames", frames)
        super().__init__(data=data, layout=layout, **kwargs)
        self._film = tuple(frames or ())

    @property
    def frames(self) -> Any:
        """The frames as plotly's objects."""
        film, self._film = self._film, ()
        if film:
            go.Figure.frames.fset(self, film)
        return super().frames

    @frames.setter
    def frames(self, frames: Any) -> None:
        self._film = ()
        go.Figure.frames.fset(self, frames)

    def to_dict(self) -> dict[str, Any]:
        """The figure as plain data, its frames not copied."""
        return super().to_dict() | ({"frames": [*self._film]} if self._film else {})

    def _ipython_display_(self) -> None:
        display(self._repr_mimebundle_(), raw=True)
        display(keys_bundle(), raw=True)


def keys_bundle() -> dict[str, Any]:
    """The output that brings the keys; the same for every map."""
    return {"text/html": f"<p><small>{KEYS}</small></p><script>{_script()}</script>", "text/plain": KEYS}


@cache
def _script() -> str:
    text = (files("planning_kit.show") / "station_map.bundle.js").read_text(encoding="utf-8")
    return text.partition("\n")[2].strip()  # without the line that says what it was joined from
