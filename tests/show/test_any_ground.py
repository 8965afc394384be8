"""Charts in notebooks, on the light page and on the dark one: the contrast of every colour on both.

Contrast as in `test_palette.py`: 4.5 for text, 3 for marks (WCAG 2.2). Grounds and inks are those of
JupyterLab's two themes, as its style sheets had them when this was written (`layout-color0`,
`content-font-color1` and `2`, `error-color1`).
"""

import json
import re

import pytest

import planning_kit as pk
from planning_kit.show.any_ground import INKS, MARK, MARKS, on_any_ground
from planning_kit.show.chart import PLOTLY_MIME
from planning_kit.show.palette import CLEAR, INK_ON_FILL, LIGHT, NO_TASK_FILL, TASK_FILLS
from tests.conftest import SCENARIOS
from tests.show.test_palette import contrast

WHITE, BLACK = "#FFFFFF", "#111111"
PAGES = {
    WHITE: {"content-font-color1": (0, 0.87), "content-font-color2": (0, 0.54), "error-color1": "#D32F2F"},
    BLACK: {"content-font-color1": (255, 1), "content-font-color2": (255, 0.7), "error-color1": "#F44336"}}
BRINGS = {LIGHT.night: LIGHT.night_ink, LIGHT.day: LIGHT.day_ink, LIGHT.penumbra: INK_ON_FILL,
          MARK: WHITE} | dict.fromkeys((*TASK_FILLS, NO_TASK_FILL), INK_ON_FILL)
"""Fills that bring their ground with them: what is written on each."""
OUTLINED = {LIGHT.concern, *BRINGS}
"""Fills with an outline that stands out where they do not."""


def shade(page, ink):
    """The colour that an ink of JupyterLab comes to on a page."""
    if isinstance(ink, str):
        return ink
    value, alpha = ink
    return "#" + f"{round(alpha * value + (1 - alpha) * int(page[1:3], 16)):02X}" * 3


@pytest.fixture(scope="module")
def charts(demo_plan, small_plan):
    odds, season = small_plan.odds(samples=200, progress=None), pk.load_campaign(SCENARIOS / "tern-campaign")
    sweep = small_plan.sweep("2031-09-03T06:00:00Z", "2031-09-03T10:00:00Z", every_min=60, progress=None)
    return {"swimlane": pk.swimlane(demo_plan), "ghosts": pk.swimlane(small_plan, baseline=small_plan),
            "suits": pk.suit_chart(demo_plan), "fan": pk.fan_chart(odds), "tornado": pk.tornado_chart(odds),
            "sweep": pk.sweep_chart(sweep), "season": season.season(), "board": season.board(),
            "thread": season.thread("reel"), "early": season.early_end("three")}


def shown(chart):
    return chart._repr_mimebundle_()[PLOTLY_MIME]


def parts(part, path=()):
    """Every text of a figure that is no markup's own, with where it stands."""
    if isinstance(part, dict):
        for key, each in part.items():
            if key != "template":
                yield from parts(each, (*path, key))
    elif isinstance(part, list):
        for each in part:
            yield from parts(each, path)
    elif isinstance(part, str):
        yield path, part


@pytest.mark.parametrize("page", PAGES)
def test_inks_of_text_read_on_each_page(page):
    for ink in INKS.values():
        name = re.fullmatch(r"var\(--jp-([a-z0-9-]+),#[0-9A-F]{6}\)", ink)[1]
        assert contrast(shade(page, PAGES[page][name]), page) >= 4.5, name
    assert contrast(MARK, page) >= 3.9  # minutes that only a close look shows


def test_no_one_colour_would_do_for_text():
    greys = [f"#{grey:02X}{grey:02X}{grey:02X}" for grey in range(256)]
    most = max(min(contrast(grey, page) for page in PAGES) for grey in greys)
    assert 4.2 < most < 4.5


def test_every_mark_stands_out_on_both_pages(charts):
    for name, chart in charts.items():
        for path, text in parts(shown(chart)):
            if text.startswith("rgba("):
                assert text in (CLEAR, *MARKS.values()), (name, path, text)  # shades of white only
            if not re.fullmatch(r"#[0-9A-Fa-f]{6}", text) or "hoverlabel" in path or "modebar" in path:
                continue
            if path[-2] in ("font", "tickfont", "textfont") or path[-1] == "fgcolor":
                continue  # of texts, below; what hatches a fill
            if text in OUTLINED or (path[-2] == "line" and text == INK_ON_FILL):
                continue
            assert min(contrast(text, page) for page in PAGES) >= 3, (name, path, text)
    for fill, ink in BRINGS.items():
        assert contrast(fill, ink) >= 4.5, fill


def test_every_text_has_the_ink_of_the_page_or_a_ground_of_its_own(charts):
    own = {*BRINGS.values(), INK_ON_FILL}
    for name, chart in charts.items():
        figure = shown(chart)
        layout = figure["layout"]
        assert (layout["paper_bgcolor"], layout["plot_bgcolor"]) == (CLEAR, CLEAR), name
        texts = [layout["title"]["text"]]
        texts += [each["text"] for each in layout.get("annotations", ()) if each.get("text")]
        texts += [each["name"] for each in (*figure["data"], *layout.get("shapes", ()))
                  if each.get("name") and each.get("showlegend", "type" in each and "xref" not in each)]
        for trace in figure["data"]:
            if trace.get("textfont", {}).get("color") not in own:
                text = trace.get("text", [])
                texts += [each for each in ([text] if isinstance(text, str) else text) if each]
        for axis in (each for key, each in layout.items() if key.startswith(("xaxis", "yaxis"))):
            texts += axis.get("ticktext", [])
            for minute in axis.get("labelalias", {}).values():
                assert re.fullmatch(r'<span style="color:currentColor">[^<]+</span>', minute), (name, minute)
            assert any(key in axis for key in ("ticktext", "labelalias", "tickprefix")), name
        for text in filter(None, texts):
            assert re.match(r'<span style="color:var\(--jp-', text), (name, text)
            assert not re.search("color:#", text), (name, text)


def test_what_is_no_chart_of_ours_or_dark_is_left_as_it_is(small_plan):
    dark = pk.swimlane(small_plan, theme="dark")
    assert shown(dark)["layout"] == json.loads(dark.to_json())["layout"]
    assert on_any_ground({"data": [], "layout": {}}) == {"data": [], "layout": {}}


def test_the_figure_itself_stays_as_it_is_made(small_plan):
    chart = pk.swimlane(small_plan)
    before = chart.to_json()
    shown(chart)
    assert chart.to_json() == before
    assert "var(--jp" not in before
