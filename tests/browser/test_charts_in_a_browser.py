"""The charts as a reader meets them: in JupyterLab, in a page without a network, and with hostile text."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import nbformat
import pandas as pd
import pytest
from nbformat import v4

import planning_kit as pk
from planning_kit.judge.acceptances import told_findings
from planning_kit.show import swimlane_scene as scene
from planning_kit.show.offline_html import write_notebook_html
from planning_kit.show.season_chart import season_chart
from planning_kit.show.swimlane import swimlane

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "tests" / "data" / "tern-2"
ATTACK = "<img src=x onerror=\"window.harmed='yes'\"><script>window.harmed='yes'</script>"
BARS = ".trace.bars .point path"
WIDTH = "document.querySelector('#chart-1 .svg-container').getBoundingClientRect().width"
FIRST = "document.getElementById('chart-1')._fullLayout.xaxis.range[0]"
CHANGE_THEME = "name => { window.jupyterapp.commands.execute('apputils:change-theme', {theme: name}); }"


@pytest.fixture(scope="module")
def plan():
    return pk.time_plan(pk.load_scenario(DEMO))


def write_page(folder, *figures):
    outputs = [v4.new_output("execute_result", figure._repr_mimebundle_(), execution_count=1)
               for figure in figures]
    cell = v4.new_code_cell("pk.swimlane(plan)", outputs=outputs, execution_count=1, id="a")
    nbformat.write(v4.new_notebook(cells=[cell]), folder / "review.ipynb")
    return write_notebook_html(folder / "review.ipynb", folder / "review.html")


def texts(page, selector):
    return page.eval_on_selector_all(selector, "found => found.map(one => one.textContent)")


def test_the_offline_page_draws_and_asks_for_nothing(page, asked_outside, page_errors, plan, tmp_path):
    season = pk.season(pk.load_orbit(DEMO / "orbit.json"), "2031-05-01", "2031-07-31")
    page.goto(write_page(tmp_path, swimlane(plan), season_chart(season)).as_uri())
    page.wait_for_selector("#chart-1 .main-svg")
    page.wait_for_selector("#chart-2 .main-svg")
    assert page.locator(f"#chart-1 {BARS}").count() > len(plan.timeline)
    assert (asked_outside, page_errors) == ([], [])


def test_on_paper_a_chart_fits_a_landscape_sheet_and_comes_back_after(page, plan, tmp_path):
    page.set_viewport_size({"width": 1920, "height": 1080})
    page.goto(write_page(tmp_path, swimlane(plan)).as_uri())
    page.wait_for_selector(".main-svg")
    chart = page.locator("#chart-1 .svg-container")
    before = chart.bounding_box()
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.wait_for_function(f"() => {WIDTH} <= 980")
    printed = chart.bounding_box()
    # Letter and A4 less 10 mm all around, at 96 px an inch: 11 in - 20 mm = 980 px, 210 mm - 20 mm = 718 px.
    # The notebook's prompts stand to the left of the chart.
    assert printed["x"] + printed["width"] <= 1047
    assert printed["width"] <= 980
    assert printed["height"] <= 718
    page.emulate_media(media="screen")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    page.wait_for_function(f"before => Math.abs({WIDTH} - before) <= 2", arg=before["width"])


def test_the_two_axes_stay_in_step_when_the_reader_zooms_and_pans(page, plan, tmp_path):
    page.goto(write_page(tmp_path, swimlane(plan)).as_uri())
    page.wait_for_selector(".main-svg")
    minutes = pd.Timedelta(minutes=1)
    for shown in ((60, 180), (150, 162), (-5, 30)):
        ends = [minute * 60_000 for minute in shown]
        page.evaluate("ends => Plotly.relayout('chart-1', {'xaxis.range': ends})", ends)  # until it is drawn
        pet, gmt = (texts(page, f".{axis}tick text") for axis in ("x", "x2"))
        assert len(gmt) >= 3
        for axis in ("xaxis", "xaxis2"):
            start = page.evaluate(f"document.getElementById('chart-1')._fullLayout.{axis}.range[0]")
            assert pd.Timestamp(start) == pd.Timestamp(0) + shown[0] * minutes
        # Every label is one of those that the chart was given: no bare number of seconds, no default date.
        layout = swimlane(plan).layout
        assert set(pet) <= set(layout.xaxis.labelalias.values())
        assert set(gmt) <= set(layout.xaxis2.labelalias.values())


def test_a_drag_over_the_chart_zooms_both_axes_and_leaves_the_lanes(page, plan, tmp_path):
    page.goto(write_page(tmp_path, swimlane(plan)).as_uri())
    page.wait_for_selector(".main-svg")
    box = page.locator("#chart-1 .nsewdrag").first.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] * 0.3, middle)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.5, middle + 40, steps=4)
    before = page.evaluate(FIRST)
    page.mouse.up()
    page.wait_for_function(f"before => {FIRST} !== before", arg=before)
    first, second, lanes = page.evaluate("""() => {
        const layout = document.getElementById('chart-1')._fullLayout;
        return [layout.xaxis.range, layout.xaxis2.range, layout.yaxis.range]; }""")
    assert first == second
    assert pd.Timestamp(first[0]) > pd.Timestamp(0) + pd.Timedelta(minutes=90)
    assert lanes == list(swimlane(plan).layout.yaxis.range)


def test_pointing_at_a_bar_says_what_it_is(page, plan, tmp_path):
    page.goto(write_page(tmp_path, swimlane(plan)).as_uri())
    page.wait_for_selector(".main-svg")
    work = plan.timeline[(plan.timeline.kind == "work") & (plan.timeline.crew == "EV1")]
    longest = work.loc[(work.finish_min - work.start_min).idxmax()]
    point_at(page, longest)
    page.wait_for_selector(".hoverlayer .hovertext")
    said = " ".join(texts(page, ".hoverlayer .hovertext text"))
    assert said.startswith("EV1, ")
    assert longest.step in said
    assert "GMT" in said


def point_at(page, row):
    """Move the pointer to the lower part of a crew member's activity, where no hand-over ends."""
    x, y = page.evaluate("""([minute, crew]) => {
        const plot = document.querySelector('.js-plotly-plot'), layout = plot._fullLayout;
        const box = plot.getBoundingClientRect();
        const lane = layout.yaxis.tickvals[layout.yaxis.ticktext.findIndex(text => text.includes(crew))];
        return [box.left + layout.xaxis._offset + layout.xaxis.d2p(minute * 60000),
                box.top + layout.yaxis._offset + layout.yaxis.d2p(lane + 20)];
    }""", [float((row.start_min * 3 + row.finish_min) / 4), row.crew])
    page.mouse.move(x, y)


def hostile(scenario):
    """The demo with an attack in every title, caution and reason that a planner can type."""
    for name in ("steps", "tasks", "places", "actors", "hardware", "inhibits"):
        table = getattr(scenario, name).copy()
        for column in ("title", "caution", "reason", "objective", "owner"):
            if column in table:
                table[column] = ATTACK
        scenario = scenario.with_table(name, table)
    return scenario


def test_hostile_text_in_a_scenario_is_shown_and_never_run(page, page_errors, tmp_path):
    plan = pk.time_plan(hostile(pk.load_scenario(DEMO)))
    page.goto(write_page(tmp_path, swimlane(plan, plan)).as_uri())
    page.wait_for_selector(".main-svg")
    row = plan.timeline[(plan.timeline.kind == "work") & (plan.timeline.crew == "EV1")].iloc[0]
    point_at(page, row)
    page.wait_for_selector(".hoverlayer .hovertext")
    assert "<img src=x onerror=" in " ".join(texts(page, ".hoverlayer .hovertext text"))
    assert any("<img" in text for text in texts(page, ".legendtext"))
    page.evaluate("Plotly.relayout('chart-1', {'xaxis.range': [0, 1200000]})")  # titles come with zooming
    assert page.locator("#chart-1 img, #chart-1 script").count() == 0
    assert page.evaluate("window.harmed") is None
    assert page_errors == []


def test_hostile_text_in_the_scenario_file_itself(page, page_errors, plan, tmp_path, monkeypatch):
    settings = dataclasses.replace(plan.scenario.records.settings, title=ATTACK, station=ATTACK)
    records = dataclasses.replace(plan.scenario.records, settings=settings)
    checked = dataclasses.replace(plan.scenario.checked, records=records)
    scenario = dataclasses.replace(plan.scenario, checked=checked)
    found = told_findings(plan.timed)
    monkeypatch.setattr(scene, "told_findings", lambda plan: found)
    figure = swimlane(dataclasses.replace(plan.timed, scenario=scenario))
    page.goto(write_page(tmp_path, figure).as_uri())
    page.wait_for_selector(".main-svg")
    assert "<img src=x" in " ".join(texts(page, ".gtitle"))
    assert page.evaluate("window.harmed") is None
    assert page_errors == []


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_notebook_shows_the_chart_in_jupyterlab(page, lab, asked_outside, theme):
    name = lab.write(
        f"chart-{theme}.ipynb", "import planning_kit as pk\nfrom planning_kit.show.swimlane import swimlane",
        f"swimlane(pk.time_plan(pk.load_scenario({str(DEMO)!r})), theme={theme!r})")
    lab.open(page, name)
    title = "JupyterLab Dark" if theme == "dark" else "JupyterLab Light"
    page.evaluate(CHANGE_THEME, title)
    page.wait_for_selector(f".jp-OutputArea-output {BARS}", state="attached")
    is_light = "false" if theme == "dark" else "true"
    page.wait_for_selector(f"body[data-jp-theme-light={is_light}]", state="attached")
    assert {"EV1", "EV2"} <= set(texts(page, ".ytick text"))
    page.locator(".js-plotly-plot").hover(position={"x": 500, "y": 40})
    assert page.locator(".modebar-btn").count() > 0
    buttons = page.eval_on_selector_all(
        ".modebar-btn", "all => all.map(one => (one.getAttribute('data-title') || '').toLowerCase())")
    assert not [text for text in buttons if "cloud" in text or "plotly" in text]
    ground = page.eval_on_selector(".js-plotly-plot .main-svg", "svg => svg.style.background")
    assert ground.replace(" ", "") == ("rgb(21,25,30)" if theme == "dark" else "rgba(0,0,0,0)")
    assert asked_outside == []
    if theme == "light":  # no ground of its own: plotly hands the page's ink on to the letters
        for part in (".gtitle", ".ytick", ".xtick", ".x2tick", ".legendtext"):
            looks = page.eval_on_selector_all(f"{part} > tspan, {part} text > tspan", """all => all.map(
                each => each.outerHTML)""")
            assert looks, part
            assert all("fill:var(--jp-content-font-color" in look or "fill:currentcolor" in look.lower()
                       for look in looks), part
        inks = page.evaluate("""() => ['1', '2'].map(number => {
            const probe = document.querySelector('.jp-OutputArea').appendChild(document.createElement('i'));
            probe.style.color = `var(--jp-content-font-color${number})`;
            const shown = getComputedStyle(probe).color;
            probe.remove();
            return shown;
        })""")
        shown = page.eval_on_selector_all(
            ".xtick text > tspan", "all => all.map(one => getComputedStyle(one).fill)")
        assert set(shown) <= set(inks)
