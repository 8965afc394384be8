"""The station map that is walked through, with its keys: they come as a second output beside the chart.

The chart itself is plotly's JSON, which every viewer draws alike and which runs nothing of ours. The second
output is one fixed script and a line that says which keys there are; a viewer that does not run it (a
notebook that is not trusted) leaves the map to the mouse.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from IPython.display import display

from planning_kit.show.chart import Chart

KEYS = ("By keyboard: Tab to a control of the map; Enter presses a button; the arrow keys move the slider "
        "(Page Up and Down by ten) and step through the lists of steps and findings.")


class Film(Chart):
    """A chart with frames that shows itself with its keys."""

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
