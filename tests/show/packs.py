"""Packs that many tests read: the demo's, and one whose every free text is hostile."""

from __future__ import annotations

from itertools import cycle
from pathlib import Path

import planning_kit as pk
from planning_kit.inputs import format as fmt

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HOSTILE = (
    '=HYPERLINK("http://example.invalid","x")', "+1+1", "-2-3", "@SUM(1)", "<img src=x onerror=alert(1)>",
    "</style></table><script>alert(1)</script>", "{{7*7}}{% raw %}",
    "</p><a href='javascript:alert(1)'>x</a>",
    '"><svg onload=alert(1)>', "a \u202e b & &amp; &P &D", "<b>bold</b> & $x$", "中文 and \U0001f680",
    "<para><font size=90>x</font></para>",
)


def hostile_scenario(name: str = "small-outing") -> pk.Scenario:
    """A scenario in which every cell of free text, its title, station and summary are hostile."""
    scenario, texts = pk.load_scenario(SCENARIOS / name), cycle(HOSTILE)
    for table in fmt.TABLES:
        frame = scenario.table(table.name)
        for field in table.fields:
            if field.kind == "text" and len(frame) and field.name in frame:
                frame[field.name] = [next(texts) for _ in range(len(frame))]
        scenario = scenario.with_table(table.name, frame)
    return scenario.with_settings({
        "title": '=1+1 </title><script>alert(1)</script> &P "x', "station": HOSTILE[4], "summary": HOSTILE[5],
        "pet_zero": HOSTILE[7], "limits.hard_min_source": HOSTILE[8]})
