"""Hostile text in every field that a planner can type: shown as text everywhere, run nowhere."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest
from playwright.sync_api import expect

import planning_kit as pk
from planning_kit.show.offline_html import write_notebook_html
from tests.browser.benches import GRID, Bench
from tests.browser.conftest import ROOT

HARM = "window.harmed=1"
ATTACKS = (f"<img src=x onerror={HARM}>", f"</script><script>{HARM}</script>", f"=1+1<svg onload={HARM}>")
HOSTILE_KEYS = ("title", "station", "summary", "pet_zero", "limits.planned_min_source",
                "limits.hard_min_source", "limits.return_reserve_min_source")
FRAME = "() => new Promise(drawn => requestAnimationFrame(() => requestAnimationFrame(drawn)))"
FREE_COLUMN = f"x_<img src=x onerror={HARM}>"


def hostile(folder):
    """The small outing with attacks in every text of its tables and settings, and as a column of its own."""
    scenario = pk.load_scenario(shutil.copytree(ROOT / "scenarios" / "small-outing", folder))
    attack = "".join(ATTACKS)
    for name in ("steps", "tasks", "places", "routes", "hardware", "gaps", "inhibits"):
        table = scenario.table(name)
        for column in ("title", "caution", "reason", "objective", "owner", "make_safe"):
            if column in table:
                table[column] = attack
        table[FREE_COLUMN] = attack
        scenario = scenario.with_table(name, table)
    actors = pd.DataFrame([{"actor": "DSK", "title": attack}])
    windows = pd.DataFrame([{"window": "w-1", "start": "2031-09-03T07:30:00Z", "end": "2031-09-03T09:30:00Z",
                             "source": attack}])
    scenario = scenario.with_table("actors", actors).with_table("windows", windows)
    scenario = scenario.with_settings(dict.fromkeys(HOSTILE_KEYS, attack))
    scenario = scenario.with_settings({"limits.planned_min": 40, "limits.return_reserve_min": 29})
    scenario.save()
    return folder


@pytest.fixture
def bench(page, lab):
    page.set_viewport_size({"width": 1280, "height": 1000})
    hostile(lab.folder / "hostile-scenario")
    return Bench.open(page, lab, "hostile")


def test_hostile_text_is_shown_and_never_run(bench, page, lab, page_errors, asked_outside):
    is_harmed = lambda: page.evaluate("window.harmed ?? null")  # noqa: E731
    # Every table, its own column included.
    for name in page.eval_on_selector_all("[data-sheet]", "all => all.map(one => one.dataset.sheet)"):
        page.locator(f"[data-sheet='{name}']").click()
        expect(page.locator(f"{GRID} .tabulator-col").first).to_be_visible()
        page.evaluate(FRAME)
    expect(page.locator(".pk-grid .tabulator-cell", has_text="onerror").first).to_be_attached()
    page.locator("[data-sheet='steps']").click()
    assert is_harmed() is None

    # Typed where an id, a number and a choice belong: kept, marked, told, and shown as a suggestion.
    for column in ("step", "place", "minutes_likely", "exertion", "takes"):
        bench.type_in("B2" if column != "step" else "C3", column, ATTACKS[0])
    assert page.locator(".pk-bad").count() >= 4
    bench.says(".pk-faults", "<img src=x")
    page.locator("[data-sheet='gaps']").click()
    page.locator(".pk-grid:not([hidden]) [tabulator-field='then_step']").nth(1).dblclick()
    bench.says(".pk-suggestions", "A1")
    assert ATTACKS[0] in page.locator(".pk-suggestions li").all_inner_texts()
    page.keyboard.press("Escape")
    page.locator("[data-sheet='steps']").click()
    for _ in range(5):
        bench.press("undo")
    assert is_harmed() is None

    # Chart, hover, findings, margins, why, versions, comparison.
    box = bench.bar("B3").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 10)
    bench.says(".pk-tip", "<img src=x")
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 10)
    page.locator(".pk-mark").first.hover()
    page.locator(".pk-item[data-finding]").first.click()
    for tab in ("findings", "margins", "why"):
        page.locator(f"[data-side='{tab}']").click()
    page.locator("input[aria-label='Name of a new version']").fill(ATTACKS[0])
    bench.press("keep")
    bench.type_in("B2", "title", ATTACKS[1])
    page.locator("select[aria-label='Version']").select_option(ATTACKS[0])
    bench.press("compare")
    bench.says(".pk-pane:not([hidden])", ATTACKS[1])
    page.locator("select[aria-label='Baseline']").select_option(ATTACKS[0])
    bench.settle()
    page.locator(".pk-ghost").first.hover()

    # Export keeps the text to the letter, and marks in the file what a spreadsheet would compute.
    bench.type_in("B2", "title", "=1+1")
    page.locator("input[aria-label='New folder for the export']").fill("hostile-export")
    bench.press("export")
    bench.says(".pk-said[role=status]", "exported to")
    assert ",'=1+1," in (lab.folder / "hostile-export" / "steps.csv").read_text(encoding="utf-8")
    assert pk.load_scenario(lab.folder / "hostile-export").steps["title"][4] == "=1+1"
    assert page.locator(".pk-workbench img, .pk-workbench script").count() == 0
    assert is_harmed() is None

    # The saved notebook as a page.
    bench.type_in("B2", "title", f"typed-last {ATTACKS[0]}")
    saved = bench.save_notebook(lab.folder / "hostile.ipynb", "typed-last")
    page.goto(write_notebook_html(saved, lab.folder / "hostile.html").as_uri())
    page.wait_for_selector(".main-svg")
    assert is_harmed() is None
    assert page.locator("img").count() == 0
    assert (page_errors, asked_outside) == ([], [])
