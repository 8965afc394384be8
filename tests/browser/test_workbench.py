"""The workbench in JupyterLab, by mouse and keyboard: what is done is seen, saved, outlives the kernel."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

import planning_kit as pk
from planning_kit.show.offline_html import write_notebook_html
from tests.browser.benches import GRID, SMALL, Bench

pytestmark = pytest.mark.usefixtures("page_errors")
GROUNDS = """names => names.map(
    name => getComputedStyle(document.querySelector(name)).backgroundColor)"""


@pytest.fixture
def wide(page):
    page.set_viewport_size({"width": 1280, "height": 1000})
    return page


def copied(page):
    """What Ctrl+C would put on the clipboard."""
    return page.evaluate("""() => {
        const data = new DataTransfer();
        const how = { clipboardData: data, bubbles: true, cancelable: true };
        document.activeElement.dispatchEvent(new ClipboardEvent('copy', how));
        return data.getData('text/plain');
    }""")


def centre(box, share=0.5):
    return box["x"] + box["width"] * share, box["y"] + box["height"] / 2


def test_a_planner_edits_drags_undoes_pastes_and_saves(wide, lab, page_errors, asked_outside):
    bench = Bench.open(wide, lab, "edits")
    page = wide
    before, where = bench.head(), bench.start_px("KN2")

    # Edit a cell: the chart moves, and the table says so.
    bench.type_in("KN1", "minutes_likely", "6")
    assert bench.start_px("KN2") > where
    bench.says(".pk-state", "unsaved")
    bench.press("undo")
    assert bench.start_px("KN2") == where
    bench.says(".pk-state", "saved")
    page.keyboard.press("Control+y")  # the keyboard's place is still in the workbench
    bench.settle()
    assert bench.start_px("KN2") > where
    page.keyboard.press("Control+z")
    bench.settle()

    # Break a cell: it is marked where it stands, the last good plan stays; mend it.
    bench.type_in("KN1", "place", "NOWHERE")
    expect(page.locator(".pk-bad")).to_have_count(1)
    bench.says(".pk-faults", "NOWHERE")
    assert (bench.head(), bench.start_px("KN2")) == (before, where)
    expect(bench.cell("KN1", "place")).to_have_text("NOWHERE")
    bench.type_in("KN1", "place", "BK")
    expect(page.locator(".pk-bad")).to_have_count(0)
    expect(page.locator(".pk-faults")).to_be_hidden()

    # Drag an edge, then a bar to another place in its lane, then to the other lane.
    box = bench.bar("KN2").bounding_box()
    bench.drag((box["x"] + box["width"] - 1, box["y"] + 30), (box["x"] + box["width"] + 12, box["y"] + 30))
    assert float(bench.cell("KN2", "minutes_likely").inner_text()) > 14
    page.keyboard.press("Control+z")
    bench.settle()
    bench.drag(centre(bench.bar("CB4").bounding_box()), centre(bench.bar("CB2").bounding_box(), 0.2))
    assert bench.start_px("CB4") < bench.start_px("CB2")
    page.keyboard.press("Control+z")
    bench.settle()
    lane = bench.bar("CB2").bounding_box()
    source = centre(bench.bar("KN1").bounding_box())
    bench.drag(source, (source[0], lane["y"] + 20))
    assert bench.bar("KN1").bounding_box()["y"] == pytest.approx(lane["y"], abs=1)
    expect(bench.cell("KN1", "crew")).to_have_text("EV2")
    page.keyboard.press("Control+z")
    bench.settle()

    # Paste a block from a spreadsheet over three rows.
    bench.cell("EG1", "minutes_likely").click()
    bench.paste("19\t25\n7\t10\n2\t3\n")
    bench.settle()
    texts = [bench.cell(step, column).inner_text()
             for step in ("EG1", "OP1", "KN0") for column in ("minutes_likely", "minutes_high")]
    assert texts == ["19", "25", "7", "10", "2", "3"]

    # Copy the same block: tabs and line ends, as a spreadsheet takes it.
    bench.cell("EG1", "minutes_likely").click()
    bench.cell("KN0", "minutes_high").click(modifiers=["Shift"])
    assert copied(page) == "19\t25\n7\t10\n2\t3"

    # Save, and only then is it in the folder.
    assert "EG1,EGR,both,AIR,\"Open the hatch, step out, check tethers and suits\",14,18" in steps_file(bench)
    bench.press("save")
    bench.says(".pk-said[role=status]", "saved to")
    assert "check tethers and suits\",14,19,25" in steps_file(bench)
    assert (page_errors, asked_outside) == ([], [])


def test_a_drag_shows_what_it_would_come_to_and_makes_just_that(wide, lab, page_errors):
    bench, page = Bench.open(wide, lab, "dragged"), wide
    before, left = bench.head(), ".pk-drag-box, .pk-candidate, .pk-drag, .pk-trying"

    # The mouse held still: ghosts, a box, then what the checks say. Escape leaves nothing.
    box = bench.bar("SH4").bounding_box()
    end = box["x"] + box["width"] - 1, box["y"] + 30
    page.mouse.move(*end)
    page.mouse.down()
    page.mouse.move(end[0] + 30, end[1], steps=5)
    bench.says(".pk-drag-box", "Tightest:")
    ghosts = page.locator(".pk-candidate rect[data-step='CL2']").first
    ghost = next(filter(None, (ghosts.bounding_box() for _ in range(100))))  # None while it is drawn anew
    told = page.locator(".pk-drag-end").inner_text()
    assert re.fullmatch(r"\+0:\d\d, end \d:\d\d", told)
    assert ghost["x"] > bench.start_px("CL2")
    inside = page.locator(".pk-chart").bounding_box()
    shown = page.locator(".pk-drag-box").bounding_box()
    assert inside["y"] <= shown["y"] <= shown["y"] + shown["height"] <= inside["y"] + inside["height"] + 1
    page.keyboard.press("Escape")
    expect(page.locator(left)).to_have_count(0)
    page.mouse.up()
    bench.settle()
    assert bench.head() == before
    expect(page.locator("[data-act='undo']")).to_be_disabled()

    # Dropped, it is what was shown.
    page.mouse.move(*end)
    page.mouse.down()
    page.mouse.move(end[0] + 30, end[1], steps=5)
    bench.says(".pk-drag-end", told)
    page.mouse.up()
    bench.settle()
    expect(page.locator(left)).to_have_count(0)
    assert told.rpartition(" ")[2] in bench.head()
    assert bench.start_px("CL2") == pytest.approx(ghost["x"], abs=1)
    page.keyboard.press("Control+z")
    bench.settle()

    # Several as one: two bars go to the end of the lane, and one undo brings both back.
    bench.bar("CB2").click(position={"x": 4, "y": 30})
    bench.bar("CB3").click(position={"x": 4, "y": 30}, modifiers=["Shift"])
    page.keyboard.press("Alt+ArrowRight")
    bench.settle()
    assert bench.start_px("CB4") < bench.start_px("CB2") < bench.start_px("CB3")
    page.keyboard.press("Control+z")
    bench.settle()
    assert bench.start_px("CB2") < bench.start_px("CB3") < bench.start_px("CB4")
    assert page_errors == []


def steps_file(bench):
    return (bench.folder / "steps.csv").read_text(encoding="utf-8")


def test_unsaved_work_survives_a_killed_kernel_and_the_last_state_is_in_the_notebook(wide, lab, page_errors):
    bench, page = Bench.open(wide, lab, "killed"), wide
    bench.type_in("KN1", "minutes_likely", "6")
    bench.type_in("EG1", "minutes_high", "abc")
    shown = bench.head()
    end = shown.split("PET ")[1].split()[0]
    saved = bench.save_notebook(lab.folder / "killed.ipynb", f"Both inside: PET {end},")
    html = write_notebook_html(saved, lab.folder / "killed.html").read_text()
    assert "Plotly.newPlot" in html
    assert "Both inside" in html

    page.evaluate("""() => { const panel = window.jupyterapp.shell.currentWidget;
        panel.sessionContext.session.kernel.restart().finally(() => { window.isBack = true; }); }""")
    page.wait_for_function("() => window.isBack")  # until then the status bar tells of the one before
    page.wait_for_selector("#jp-main-statusbar >> text=/\\| Idle/")
    page.evaluate("() => { window.jupyterapp.commands.execute('notebook:run-all-cells'); }")
    page.wait_for_selector(".pk-workbench [data-act=restore]")
    bench.wait_until_shown()
    bench.press("restore")
    expect(bench.cell("KN1", "minutes_likely")).to_have_text("6")
    expect(bench.cell("EG1", "minutes_high")).to_have_text("abc")
    expect(page.locator(".pk-bad")).to_have_count(1)
    bench.type_in("EG1", "minutes_high", "24")
    assert bench.head() == shown
    expect(page.locator(".pk-workbench [data-act=restore]")).to_have_count(0)
    # Now and then the server hands the page a message that a dying kernel had not finished, and JupyterLab
    # says so.
    assert [error for error in page_errors if not error.startswith("Kernel message validation error")] == []


def test_everything_can_be_done_from_the_keyboard(wide, lab):
    bench, page = Bench.open(wide, lab, "keys", SMALL), wide
    page.locator(".pk-tab[data-sheet='steps']").focus()
    page.keyboard.press("ArrowRight")
    bench.says(".pk-tab[aria-selected='true'][data-sheet]", "tasks")
    page.keyboard.press("ArrowLeft")

    # In the chart: choose, move in the lane and to the other, change minutes, why.
    page.locator(".pk-chart").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    bench.settle()
    assert bench.chosen() == "B1"
    page.keyboard.press("+")
    bench.settle()
    expect(bench.cell("B1", "minutes_likely")).to_have_text("5")
    page.keyboard.press("Alt+ArrowRight")
    bench.settle()
    bench.has_order("A1", "C1", "C2", "B2", "B1", "B3", "C3", "Z1")
    page.keyboard.press("Alt+ArrowDown")
    bench.settle()
    expect(bench.cell("B1", "crew")).to_have_text("EV2")
    page.locator(".pk-tab[data-side='why']").focus()
    page.keyboard.press("Enter")
    bench.says(".pk-why", "PET 0")

    # In the table: duplicate, move, delete, add, type with a choice from the list, clear, undo all.
    bench.cell("C2", "title").click()
    page.keyboard.press("Alt+d")
    bench.settle()
    expect(bench.cell("C2-2", "title")).to_have_count(1)
    page.keyboard.press("Alt+ArrowUp")
    bench.settle()
    bench.comes_before("C2-2", "C2")
    page.keyboard.press("Alt+Delete")
    bench.settle()
    expect(bench.cell("C2-2", "title")).to_have_count(0)
    bench.cell("B3", "place").click()
    page.keyboard.type("p")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    bench.settle()
    expect(bench.cell("B3", "place")).to_have_text("POR")
    page.keyboard.press("Delete")
    bench.settle()
    for _ in range(9):
        page.keyboard.press("Control+z")
    bench.settle()
    bench.has_order("A1", "B1", "C1", "C2", "B2", "B3", "C3", "Z1")
    bench.says(".pk-state", "saved")


def test_sorting_is_for_looking_and_a_conflict_shows_both_sides(wide, lab):
    bench, page = Bench.open(wide, lab, "conflict", SMALL), wide
    before = bench.head()
    page.locator(".pk-grid .tabulator-col[tabulator-field='step'] .tabulator-col-sorter").click()
    page.locator(".pk-grid .tabulator-col[tabulator-field='step'] .tabulator-col-sorter").click()
    bench.begins_with("Z1")
    assert bench.head() == before
    page.locator(".pk-button:text-is('As planned')").click()
    expect(page.locator(f"{GRID} .tabulator-row [tabulator-field='step']").first).to_have_text("A1")
    page.locator(".pk-tables input[type=search]").fill("lamp ring")
    expect(page.locator(".pk-grid .tabulator-row")).to_have_count(1)
    page.locator(".pk-tables input[type=search]").fill("")

    other = pk.load_scenario(bench.folder)
    steps = other.steps
    steps.loc[1, "title"] = "Changed by another"
    other.with_table("steps", steps).save()
    bench.type_in("B1", "title", "Changed here")
    bench.press("save")
    bench.says(".pk-conflict", "Changed by another")
    bench.says(".pk-conflict", "Changed here")
    assert "Changed by another" in steps_file(bench)

    # By keyboard: the panel has the keys, and gives them back.
    assert bench.place_of_keys() == "Conflict"
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.locator("[data-act=merge]").focus()
    page.keyboard.press("Enter")
    bench.settle()
    bench.says(".pk-said[role=status]", "merged")
    expect(bench.cell("B1", "title")).to_have_text("Changed here")
    page.wait_for_function("() => document.activeElement.dataset.act === 'save'")
    bench.press("undo")
    bench.press("save")  # back before the merge: a conflict as before
    bench.press("take_theirs")
    expect(bench.cell("B1", "title")).to_have_text("Changed by another")
    bench.choose("versions")
    versions = page.locator("select[aria-label='Version'] option").all_inner_texts()
    assert versions == ["as loaded", "mine"]


def test_pet_zero_baseline_a_sweep_that_can_be_stopped_and_both_themes(wide, lab):
    bench, page = Bench.open(wide, lab, "pet_zero"), wide
    bench.hold_against("as loaded")
    assert page.locator(".pk-ghost").count() > 80
    page.locator(".pk-slider").focus()
    for _ in range(3):
        page.keyboard.press("ArrowUp")
    bench.settle()
    assert page.locator(".pk-pet-zero input[type=datetime-local]").input_value().endswith("11:23")
    bench.press("sweep")
    page.wait_for_function("() => document.querySelectorAll('.pk-try').length >= 2")
    bench.press("sweep")
    bench.says(".pk-pet-zero", "stopped")
    assert page.locator(".pk-try").count() < 37  # as many had it gone on

    for theme, ground in (("Dark", "rgb(21, 25, 30)"), ("Light", "rgb(255, 255, 255)")):
        bench.change_theme(theme)
        grounds = page.evaluate(GROUNDS, [".pk-workbench", ".tabulator-row", ".tabulator-col"])
        assert set(grounds) == {ground}
