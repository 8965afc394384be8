"""Hostile text in every field that a planner can type: shown as text everywhere, run nowhere."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

import planning_kit as pk
from planning_kit.show.offline_html import write_notebook_html
from tests.attack.hostile import HIT, write_folder
from tests.browser.benches import GRID, Bench

ATTACKS = (f"<img src=x onerror={HIT}>", f"</script><script>{HIT}</script>", f"=1+1<svg onload={HIT}>",
           "from $x^2$ to $y$")
FRAME = "() => new Promise(drawn => requestAnimationFrame(() => requestAnimationFrame(drawn)))"


@pytest.fixture
def bench(page, lab):
    page.set_viewport_size({"width": 1280, "height": 1000})
    write_folder(lab.folder, ("".join(ATTACKS),), "hostile-scenario")
    return Bench.open(page, lab, "hostile")


def test_hostile_text_is_shown_and_never_run(bench, page, lab, page_errors, asked_outside):
    is_harmed = lambda: page.evaluate("window.__hit ?? null")  # noqa: E731
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
    offered = page.locator(".pk-suggestions li").all_inner_texts()  # an id, then its title
    assert any(each.startswith(ATTACKS[0]) for each in offered)
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
    bench.keep(ATTACKS[0])
    bench.type_in("B2", "title", ATTACKS[1])
    bench.hold_against(ATTACKS[0])
    bench.says(".pk-pane:not([hidden])", ATTACKS[1])
    bench.says(".pk-facts", ATTACKS[0])
    page.locator(".pk-ghost").first.hover()

    # Export keeps the text to the letter, and marks in the file what a spreadsheet would compute.
    bench.type_in("B2", "title", "=1+1")
    bench.choose("out")
    page.locator("input[aria-label='New folder for the export']").fill("hostile-export")
    bench.press("export")
    bench.says(".pk-said[role=status]", "exported to")
    assert ",'=1+1," in (lab.folder / "hostile-export" / "steps.csv").read_text(encoding="utf-8")
    assert pk.load_scenario(lab.folder / "hostile-export").steps["title"][4] == "=1+1"
    assert page.locator(".pk-workbench img, .pk-workbench script, mjx-container").count() == 0
    assert is_harmed() is None

    # The screen as a page, by itself: without scripts, to the letter.
    with page.expect_download() as saving:
        bench.choose("page")
    saving.value.save_as(lab.folder / "screen.html")
    alone = page.context.browser.new_page()
    alone.goto((lab.folder / "screen.html").as_uri())
    assert alone.evaluate("[window.__hit ?? null, document.scripts.length, document.images.length]") == [
        None, 0, 0]
    expect(alone.locator("body")).to_contain_text(ATTACKS[0])
    expect(alone.locator("svg .pk-bar-work").first).to_be_visible()
    alone.close()

    # The saved notebook as a page.
    bench.type_in("B2", "title", f"typed-last {ATTACKS[0]}")
    saved = bench.save_notebook(lab.folder / "hostile.ipynb", "typed-last")
    page.goto(write_notebook_html(saved, lab.folder / "hostile.html").as_uri())
    page.wait_for_selector(".main-svg")
    assert is_harmed() is None
    assert page.locator("img").count() == 0
    assert ATTACKS[3] in page.locator("table").first.inner_text()
    assert (page_errors, asked_outside) == ([], [])
