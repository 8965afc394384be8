"""The station map in a page without kernel and network: it plays, jumps, slides, and runs nothing typed."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from axe_playwright_python.sync_playwright import Axe
from nbformat import v4

import planning_kit as pk
from planning_kit.inputs.times import pet_label
from planning_kit.show.offline_html import write_notebook_html
from planning_kit.show.station_map import station_map
from planning_kit.show.station_map_controls import keys_bundle
from tests.show.test_station_map import ATTACK

SMALL = Path(__file__).resolve().parents[2] / "scenarios" / "small-outing"
CHART = "chart-1"
EVERY_MIN = 5  # software drawing is slow: few frames, but each is drawn in full
EYE = {"x": 0.1, "y": 1.4, "z": -0.9}
NOW = "() => document.getElementById('chart-1').data.find(trace => trace.name === 'now').x[0] / 60000"
PLACE = """crew => { const trace = document.getElementById('chart-1').data.find(one => one.name === crew);
    return [trace.x[0], trace.y[0], trace.z[0]]; }"""
DRAWN_DISC = """() => { const plot = document.getElementById('chart-1');
    const points = plot.querySelectorAll('.x4y4 .scatterlayer .trace .points path.point');
    return [...points].map(one => one.getAttribute('transform')).join(); }"""

AT_REST = """() => { const plot = document.getElementById('chart-1'), film = plot._transitionData;
    return film._frameQueue.length === 0 && !film._animationRaf && !plot._transitioning; }"""
# Each drawing of the page comes half a second after it was asked for, as on a machine that draws slowly.
LATE_DRAWING = """() => { const soon = window.requestAnimationFrame.bind(window);
    window.requestAnimationFrame = drawn => soon(() => setTimeout(() => soon(drawn), 500)); }"""
NOTE_FRAMES = """() => { window.shown = [];
    const plot = document.getElementById('chart-1');
    plot.on('plotly_animatingframe', frame => window.shown.push(Number(frame.name))); }"""


@pytest.fixture(scope="module")
def address(small_plan, tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("walk"), station_map(small_plan, every_min=EVERY_MIN))


def write_page(folder, figure):
    bundles = figure._repr_mimebundle_(), keys_bundle()
    outputs = [v4.new_output("display_data", bundle) for bundle in bundles]
    cell = v4.new_code_cell("pk.station_map(plan)", outputs=outputs, execution_count=1, id="a")
    nbformat.write(v4.new_notebook(cells=[cell]), folder / "walk.ipynb")
    return write_notebook_html(folder / "walk.ipynb", folder / "walk.html").as_uri()


def opened(page, address):
    page.goto(address)
    page.wait_for_selector(f"#{CHART} .slider-group")
    page.wait_for_function("() => document.getElementById('chart-1')._transitionData._frames.length > 5")
    return page


def dressed(page):
    """Wait until every control has its name and its keys; plotly may draw them anew while it starts."""
    page.wait_for_function("""() => { const all = [...document.querySelectorAll('#chart-1 :is(' +
        '.slider-group, .updatemenu-button, .updatemenu-header)')];
        return all.length === 7 && all.every(one => one.matches('.station-map-key')); }""")


def press(page, label):
    kind = "header" if label.startswith("Jump") else "button"
    page.locator(f"#{CHART} .updatemenu-{kind}", has_text=label).first.click()


def come_to_rest(page) -> float:
    """The minute at which the film stands; a frame or two may still be on its way after "pause"."""
    page.wait_for_function(AT_REST)
    return page.evaluate(NOW)


def test_it_waits_until_play_is_pressed_then_moves_and_pauses(page, address, small_plan, asked_outside,
                                                              page_errors):
    opened(page, address)
    assert page.evaluate(NOW) == 0
    page.evaluate("eye => Plotly.relayout('chart-1', {'scene.camera.eye': eye})", EYE)
    before = page.evaluate(DRAWN_DISC)
    press(page, "fast")
    page.wait_for_function(f"() => ({NOW})() >= 15")
    press(page, "pause")
    stopped = come_to_rest(page)
    assert stopped < small_plan.end_min
    person = small_plan.at(stopped).people[0]
    assert page.evaluate(PLACE, "EV1") == pytest.approx(person.point_m, abs=0.006)
    assert page.evaluate(DRAWN_DISC) != before
    # The reader has turned the view in space: it stays as turned.
    assert page.evaluate("() => document.getElementById('chart-1')._fullLayout.scene.camera.eye") == EYE
    assert asked_outside == []
    # Plotly breaks the promise of a film that is stopped, and says nothing by it.
    assert [error for error in page_errors if error != "undefined"] == []


def test_a_list_jumps_to_a_step_and_the_slider_follows_by_hand(page, address, small_plan):
    opened(page, address)
    press(page, "Jump to a step")
    page.locator(f"#{CHART} .updatemenu-dropdown-button", has_text="B3").first.click()
    start = float(small_plan.timed.starts[small_plan.timed.position("B3")])
    page.wait_for_function(f"() => ({NOW})() >= {start}")
    assert page.evaluate(NOW) < start + EVERY_MIN
    rail = page.locator(f"#{CHART} .slider-rail-touch-rect").bounding_box()
    page.mouse.click(rail["x"] + rail["width"] - 1, rail["y"] + rail["height"] / 2)
    page.wait_for_function(f"() => Math.abs(({NOW})() - {small_plan.end_min}) < 0.01")
    grip = page.locator(f"#{CHART} .slider-grip-rect").bounding_box()
    line = page.evaluate("""() => { const plot = document.getElementById('chart-1'), l = plot._fullLayout;
        const now = plot.data.find(trace => trace.name === 'now').x[0];
        return plot.getBoundingClientRect().left + l.xaxis._offset + l.xaxis.d2p(now); }""")
    assert grip["x"] + grip["width"] / 2 == pytest.approx(line, abs=8)  # pixels: the grip under the line


def focused(page, name):
    return page.evaluate(f"() => document.activeElement.getAttribute({name!r})")


def test_the_keyboard_does_all_that_the_mouse_does(page, address, small_plan, page_errors):
    opened(page, address)
    dressed(page)
    roles = {}
    for _ in range(12):
        page.keyboard.press("Tab")
        roles[focused(page, "aria-label")] = focused(page, "role")
    assert roles.items() >= {"PET": "slider", "slow": "button", "play": "button", "fast": "button",
                             "pause": "button", "Jump to a step": "spinbutton",
                             "Jump to a finding": "spinbutton"}.items()
    found = Axe().run(page, context=f"#{CHART}", options={"runOnly": ["wcag2a", "wcag2aa"]})
    assert found.response["violations"] == [], found.generate_report()

    page.locator(".slider-group").focus()
    for key, minute in (("ArrowRight", EVERY_MIN), ("PageUp", 11 * EVERY_MIN), ("Home", 0),
                        ("End", small_plan.end_min)):
        page.keyboard.press(key)
        page.wait_for_function(f"() => Math.abs(({NOW})() - {minute}) < 0.01")
    assert focused(page, "aria-valuetext") == f"PET {pet_label(small_plan.end_min)}"

    page.locator(".updatemenu-header").first.focus()
    order = sorted(small_plan.timeline.query("kind == 'work' and step != ''").drop_duplicates("step")[
        ["start_min", "step"]].itertuples(index=False, name=None))
    for at_min, step in order[:3]:
        page.keyboard.press("ArrowDown")
        page.wait_for_function(f"() => ({NOW})() >= {at_min - 0.01} && ({NOW})() < {at_min + EVERY_MIN}")
        assert step in focused(page, "aria-valuetext").split()

    page.locator(".slider-group").focus()
    page.keyboard.press("Home")
    page.locator(".updatemenu-button", has_text="fast").focus()
    page.keyboard.press("Enter")
    page.wait_for_function(f"() => ({NOW})() >= 10")
    page.locator(".updatemenu-button", has_text="pause").focus()
    page.keyboard.press(" ")
    assert come_to_rest(page) < small_plan.end_min
    assert page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle") == "solid"
    assert [error for error in page_errors if error != "undefined"] == []


def jump_by_key(page):
    page.locator(".slider-group").focus()
    page.keyboard.press("PageUp")


def play_by_key(page):
    page.locator(".updatemenu-button", has_text="fast").focus()
    page.keyboard.press("Enter")


def jump_by_mouse(page):
    rail = page.locator(".slider-rail-touch-rect").bounding_box()
    page.mouse.click(rail["x"] + rail["width"] / 2, rail["y"] + rail["height"] / 2)


def play_by_mouse(page):
    button = page.locator(".updatemenu-button", has_text="fast").bounding_box()
    page.mouse.click(button["x"] + button["width"] / 2, button["y"] + button["height"] / 2)


@pytest.mark.parametrize(("jump", "play"), [(jump_by_key, play_by_key), (jump_by_mouse, play_by_mouse)])
def test_play_pressed_before_a_jump_is_drawn_plays_on_from_there(page, address, jump, play):
    opened(page, address)
    dressed(page)
    page.evaluate(LATE_DRAWING)
    page.evaluate(NOTE_FRAMES)
    jump(page)
    play(page)
    page.wait_for_function("() => window.shown.length >= 3")
    first, *later = page.evaluate("window.shown")
    assert first > 6 * EVERY_MIN
    assert later[:2] == [first + EVERY_MIN, first + 2 * EVERY_MIN]


def test_hostile_text_is_shown_and_never_run(page, small, page_errors, tmp_path):
    for name in ("steps", "places", "hardware", "inhibits"):
        table = small.table(name)
        for column in ("title", "caution", "reason", "owner"):
            if column in table:
                table[column] = ATTACK
        small = small.with_table(name, table)
    opened(page, write_page(tmp_path, station_map(pk.time_plan(small), every_min=EVERY_MIN)))
    press(page, "Jump to a step")
    press(page, "fast")
    page.wait_for_function(f"() => ({NOW})() >= 10")
    assert "<img src=x" in " ".join(page.locator(f"#{CHART} text").all_text_contents())
    assert page.locator(f"#{CHART} img, #{CHART} script, #{CHART} a[href]").count() == 0
    assert page.evaluate("window.harmed") is None
    assert page_errors == []


def test_jupyterlab_plays_it_too(page, lab, asked_outside):
    imports = "import planning_kit as pk\nfrom planning_kit.show.station_map import station_map"
    name = lab.write("walk.ipynb", imports,
                     f"station_map(pk.time_plan(pk.load_scenario({str(SMALL)!r})), every_min=5)")
    lab.open(page, name)
    page.wait_for_selector(".jp-OutputArea-output .slider-group")
    now = "() => document.querySelector('.js-plotly-plot').data.find(one => one.name === 'now').x[0] / 60000"
    assert page.evaluate(now) == 0
    page.locator(".updatemenu-button", has_text="fast").first.click()
    page.wait_for_function(f"() => ({now})() >= 5")
    page.locator(".updatemenu-button", has_text="pause").first.click()
    cells = page.locator(".jp-Cell").count()
    page.locator(".slider-group.station-map-key").first.focus()
    page.keyboard.press("End")
    page.wait_for_function(f"() => ({now})() > 70")
    for key in ("ArrowLeft", "b", "ArrowLeft"):  # "b" would add a cell, were it the notebook's
        page.keyboard.press(key)
    page.wait_for_function(f"() => ({now})() <= 70")
    assert page.locator(".jp-Cell").count() == cells
    assert asked_outside == []
