"""The film in a page without network, in a notebook, and as a video; pictures are judged by their pixels."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import nbformat
import pytest
from axe_playwright_python.sync_playwright import Axe
from nbformat import v4

import planning_kit as pk
from planning_kit.show.film import __main__ as command
from tests.attack.hostile import write_folder
from tests.browser.benches import Bench
from tests.browser.conftest import BROWSER_FLAGS, TOKEN, browser_path
from tests.conftest import SCENARIOS
from tests.glb_bytes import box_glb

SMALL, DEMO = SCENARIOS / "small-outing", SCENARIOS / "tern-station"
FILM = "document.getElementById('film').film"
DRAWN = f"() => {FILM}?.drawn"
GO = f"minute => {{ {FILM}.go(minute); {FILM}.paint(0.5); }}"
# Mean brightness of the picture, its words at the upper edge left out.
BRIGHT = f"""() => {{ const canvas = {FILM}.canvas, from = Math.round(canvas.height / 10);
    const {{ data }} = canvas.getContext('2d').getImageData(0, from, canvas.width, canvas.height - from);
    let sum = 0; for (let n = 0; n < data.length; n += 4) sum += data[n] + data[n + 1] + data[n + 2];
    return sum / data.length; }}"""
OVERLAPS = f"""() => {{ const {{ labels, occupied }} = {FILM}.drawn;
    const boxes = [...labels.map(each => each.box), ...occupied];
    const lie = (a, b) => a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;
    return labels.flatMap((one, n) => boxes.slice(n + 1).filter(other => lie(one.box, other))
        .map(() => one.lines[0])); }}"""

# Which films of the page have been drawn, by names of their own: a notebook drops what is far out of sight.
SEEN = """() => [...document.querySelectorAll('.pkf')].filter(each => each.film?.drawn)
    .map(each => (each.dataset.seen ??= String(Math.random())))"""


@pytest.fixture(scope="module")
def demo():
    return pk.time_plan(pk.load_scenario(DEMO))


@pytest.fixture(scope="module")
def address(demo, tmp_path_factory):
    return demo.film(tmp_path_factory.mktemp("film") / "film.html").as_uri()


@pytest.fixture
def film(page, address):
    page.goto(address)
    page.wait_for_function(DRAWN)
    return page


def test_it_opens_from_a_file_asks_for_nothing_and_tells_where_everybody_is(film, asked_outside, page_errors):
    told = film.locator(".pkf-picture").get_attribute("aria-label")
    assert told.startswith("PET 0:00")
    assert "EV1: " in told
    assert "EV2: " in told
    assert asked_outside == page_errors == []


def test_day_is_brighter_than_night_and_every_step_can_be_jumped_to(film, demo):
    night = float(demo.light.night[0].mean())
    day = float(demo.light.day[1].mean())
    bright = []
    for minute in (day, night):
        film.evaluate(GO, minute)
        bright.append(film.evaluate(BRIGHT))
    assert bright[0] > 1.3 * bright[1] > 0
    film.locator("select[aria-label='to a step']").select_option(index=5)
    step = sorted(demo.timed.starts)[4]
    assert film.evaluate(f"() => {FILM}.minute") == pytest.approx(step, abs=1e-4)


def test_no_label_overlaps_at_fifty_moments(film, demo):
    for number in range(50):
        film.evaluate(GO, number * demo.end_min / 49)
        assert film.evaluate(OVERLAPS) == []


def test_it_plays_pauses_and_is_moved_by_the_keyboard(film):
    film.locator(".pkf-picture").focus()
    film.keyboard.press(" ")
    film.wait_for_function(f"() => {FILM}.second > 0.5")
    film.keyboard.press(" ")
    stopped = film.evaluate(f"() => {FILM}.second")
    film.keyboard.press("PageDown")
    assert film.evaluate(f"() => {FILM}.second") > stopped
    film.keyboard.press("2")
    assert film.evaluate(f"() => {FILM}.camera") == "EV2"


def test_it_can_be_used_without_seeing(film):
    found = Axe().run(film, context="#film", options={"runOnly": ["wcag2a", "wcag2aa"]})
    assert [each["id"] for each in found.response["violations"]] == []


def test_harmful_text_runs_nothing(page, tmp_path, asked_outside, page_errors):
    plan = pk.time_plan(pk.load_scenario(write_folder(tmp_path)))
    page.goto(plan.film(tmp_path / "film.html").as_uri())
    page.wait_for_function(DRAWN)
    for number in range(10):
        page.evaluate(GO, number * plan.end_min / 9)
    assert page.locator(".pkf-controls option").count() > 20
    assert page.locator(".pkf img:not(.pkf-still), .pkf a, .pkf script").count() == 0
    assert page.evaluate("() => window.__hit") is None
    assert asked_outside == page_errors == []


# How many pixels are far more red than green, seen from one side (what it looks at is 18 m away).
RED = f"""([eye, look]) => {{ const film = {FILM}; film.setCamera("free");
    film.free = {{ eye, look, up: [0, 0, -1] }}; film.paint(0.5);
    const {{ width, height }} = film.canvas;
    const {{ data }} = film.canvas.getContext("2d").getImageData(0, 0, width, height);
    let count = 0;
    for (let n = 0; n < data.length; n += 4) count += data[n] > 40 && data[n] > 3 * data[n + 1];
    return count; }}"""


def test_a_model_is_drawn_where_it_is_typed_and_as_large(page, tmp_path, page_errors):
    scenario = pk.load_scenario(SMALL).save(tmp_path / "outing")
    plain = pk.time_plan(scenario).film(tmp_path / "plain.html")
    (tmp_path / "outing" / "arm.glb").write_bytes(box_glb(colour=(1.0, 0.0, 0.0, 1.0)))
    row = {"body": "arm", "kind": "model", "ends": "0 0 -30", "model": "arm.glb", "scale": "4"}
    with_model = pk.time_plan(scenario.add_row("bodies", row)).film(tmp_path / "model.html")
    seen = []
    for file in (plain, with_model):
        page.goto(file.as_uri())
        page.wait_for_function(DRAWN)
        # Its broad side, 8 m by 4 m, from 18 m; its end, 4 m by 4 m, from as far; and a place beside it.
        seen.append([page.evaluate(RED, [[x, y, -30.0], [0.0, 0.0, z]])
                     for x, y, z in ((0.0, 20.0, -30.0), (22.0, 0.0, -30.0), (0.0, 20.0, -80.0))])
    assert seen[0] == [0, 0, 0]
    broad, end, beside = seen[1]
    # From 18 m a metre is 1 / (2 * 18 * tan(fov / 2)) of the picture's height.
    height, fov_deg = page.evaluate(f"() => [{FILM}.canvas.height, {FILM}.scene.camera.fov_deg]")
    metre = height / (2 * 18.0 * math.tan(math.radians(fov_deg / 2)))
    assert broad == pytest.approx(32 * metre**2, rel=0.05)
    assert end == pytest.approx(16 * metre**2, rel=0.05)
    assert beside == 0
    assert page_errors == []


def test_with_less_motion_it_plays_as_stills(browser, address):
    context = browser.new_context(reduced_motion="reduce", viewport={"width": 800, "height": 700})
    page = context.new_page()
    page.goto(address)
    page.wait_for_function(DRAWN)
    page.evaluate(f"() => {{ {FILM}.speed = 4; {FILM}.play(); }}")
    page.wait_for_function(f"() => {FILM}.second > 0")
    assert page.evaluate(f"() => {FILM}.second % 2") == 0
    context.close()


def test_without_webgl_the_words_and_the_lanes_stay(address):
    # Another playwright would not start beside the session's, so that it is a process of its own.
    script = f"""
from playwright.sync_api import sync_playwright
with sync_playwright() as playwright:
    browser = playwright.chromium.launch(executable_path={browser_path()!r},
                                         args={[*BROWSER_FLAGS, '--disable-3d-apis']!r})
    page = browser.new_page()
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto({address!r})
    page.locator(".pkf-notice").filter(has_text="no WebGL").wait_for()
    page.evaluate("() => {FILM}.go(90)")
    assert page.locator(".pkf-captions p").count() > 0
    assert page.locator(".pkf-strip rect").count() > 50
    assert errors == []
    browser.close()
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=180)
    assert done.returncode == 0, done.stderr


def test_twenty_films_in_one_notebook_use_one_context_and_give_it_back(page, lab, page_errors):
    page.set_viewport_size({"width": 1100, "height": 900})
    name = lab.write("films.ipynb", "import planning_kit as pk",
                     f"plan = pk.time_plan(pk.load_scenario({str(SMALL)!r}))",
                     *["view = plan.film(); view"] * 20, "view.go('B3')")
    lab.open(page, name)
    page.locator(".jp-Notebook .pkf-picture").first.wait_for()
    seen: set[str] = set()
    for _ in range(60):
        page.mouse.move(550, 500)
        page.mouse.wheel(0, 700)
        page.wait_for_timeout(400)
        seen |= set(page.evaluate(SEEN))
        if len(seen) >= 20:
            break
    assert len(seen) >= 20
    assert page_errors == []


def test_a_saved_notebook_that_nobody_trusts_shows_the_outing(page, lab, small_plan):
    """JupyterLab drops SVG elements from such an output: the pictures are images of their own."""
    film, still = small_plan.film()._repr_mimebundle_()[0]["text/html"], small_plan.still(5)._repr_html_()
    outputs = [v4.new_output("display_data", {"text/html": shown}) for shown in (film, still)]
    notebook = v4.new_notebook(cells=[v4.new_code_cell("", id="a", outputs=outputs)])
    nbformat.write(notebook, lab.folder / "saved.ipynb")
    page.goto(f"{lab.address}/lab/tree/saved.ipynb?token={TOKEN}&reset")
    page.wait_for_selector(".jp-OutputArea img")
    told = page.locator(".jp-OutputArea img").evaluate_all(
        "all => all.map(one => [one.alt, one.complete && one.naturalWidth > 0, one.clientHeight])")
    assert [alt for alt, _, _ in told] == [small_plan.still(0, "station").alt, small_plan.still(5).alt]
    assert all(is_seen and high > 200 for _, is_seen, high in told), told
    assert page.locator(".jp-OutputArea svg[role=img]").count() == 0


def elements(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Id and content of each element (RFC 8794: an id with its length bits, a size without them)."""
    at = 0
    while at < len(data):
        found = []
        for keeps_bits in (True, False):
            size = 9 - data[at].bit_length()
            whole = int.from_bytes(data[at:at + size])
            found.append(whole if keeps_bits else whole & ~(1 << 7 * size))
            at += size
        yield found[0], data[at:at + found[1]]
        at += found[1]


def milliseconds_of_blocks(webm: bytes) -> Iterator[int]:
    """When each picture of a video is shown (RFC 9559: a cluster's time, and after it that of a block)."""
    segment = dict(elements(webm))[0x18538067]
    for cluster in (content for name, content in elements(segment) if name == 0x1F43B675):
        parts = [*elements(cluster)]
        begin = int.from_bytes(dict(parts)[0xE7])
        yield from (begin + int.from_bytes(block[1:3], signed=True) for name, block in parts if name == 0xA3)


def test_a_video_and_its_captions_are_made_by_the_command(tmp_path, monkeypatch):
    short = "const film = document.getElementById('film').film; film.scene.shots.splice(1); " \
        "film.scene.shots[0].film_s = 2.4;"
    original = 'const film = document.getElementById("film").film;'
    assert original in command._MAKE
    monkeypatch.setattr(command, "_MAKE", command._MAKE.replace(original, short))
    target = tmp_path / "film.webm"
    with ThreadPoolExecutor(1) as pool:  # this thread has the session's playwright
        asked = [str(SMALL), "--draft", "--cut", "", "--to", str(target)]
        assert pool.submit(command.main, asked).result() == 0
    # A draft has ten pictures a second: none is missing, none is early or late.
    assert [*milliseconds_of_blocks(target.read_bytes())] == [100 * number for number in range(24)]
    assert Path(target).with_suffix(".vtt").read_text(encoding="utf-8").startswith("WEBVTT")


def test_the_film_of_a_workbench_goes_to_the_bar_that_is_chosen_and_follows_an_edit(page, lab, page_errors):
    """In a kernel: the film is made in pieces there, and an edit is answered meanwhile."""
    bench = Bench.open(page, lab, "film-follows", SMALL, "bench.film()")
    page.locator(".jp-Notebook .pkf-picture").wait_for(state="attached")
    film = "document.querySelector('.pkf').film"
    starts = dict(page.evaluate(f"() => {film}.scene.steps.map(each => [each.step, each.from])"))
    bench.bar("B2").click()
    page.wait_for_function(f"start => {film}.minute === start", arg=starts["B2"])
    bench.type_in("B2", "minutes_likely", "23")
    page.wait_for_function(f"start => {film}.scene.steps.find(each => each.step === 'B3').from > start",
                           arg=starts["B3"])
    bench.bar("B3").click()
    now = f"{film}.scene.steps.find(each => each.step === 'B3').from"
    page.wait_for_function(f"() => {film}.minute === {now}")
    page.evaluate(f"() => {film}.go(1)")
    bench.bar("B3").click()
    page.wait_for_function(f"() => {film}.minute === {now}")
    # On a dark page its words and controls are dark, too.
    ground = "() => getComputedStyle(document.querySelector('.pkf')).backgroundColor"
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
    bench.change_theme("Dark")
    assert page.evaluate(ground) == "rgb(21, 25, 30)"
    assert page_errors == []
