"""The whole workbench on one screen, at three sizes and at 200 %: nothing lies over another or is cut off."""

from __future__ import annotations

import shutil
from itertools import combinations, pairwise

import pandas as pd
import pytest
from playwright.sync_api import expect

import planning_kit as pk
from tests.bench.bench_workbench import steps_repeated
from tests.browser.benches import DEMO, ROOT, Bench
from tests.conftest import LATE

SIZES = ((1280, 800), (1366, 768), (1440, 900), (1920, 1080))
AT_200_PERCENT = ((683, 384), (720, 450))
PARTS = (".pk-head", ".pk-right", ".pk-toolbar", ".pk-chart-box", ".pk-tables", ".pk-side", ".pk-caution")
LOOK = """parts => {
    const root = document.querySelector('.pk-workbench');
    const box = each => { const { left, top, right, bottom } = each.getBoundingClientRect();
        return { left, top, right, bottom }; };
    const shown = each => each.getClientRects().length > 0;
    const holder = root.querySelector('.pk-grid:not([hidden]) .tabulator-tableholder');
    const inside = (each, around) => each.top >= around.top - 1 && each.bottom <= around.bottom + 1;
    const count = (all, around) => [...root.querySelectorAll(all)].filter(
        each => shown(each) && inside(box(each), around)).length;
    return {
        frame: box(root.closest('.jp-WindowedPanel-outer')),
        root: box(root),
        parts: Object.fromEntries(parts.map(part => [part, box(root.querySelector(part))])),
        rows: count('.pk-grid:not([hidden]) .tabulator-row', box(holder)),
        bars: count('.pk-bar-work', box(root.querySelector('.pk-chart-box'))),
        cut: [...root.querySelectorAll('button:not(.pk-tightest, .pk-lane-step)')].filter(
            each => shown(each) && each.scrollWidth > each.clientWidth + 1 && each.textContent)
            .map(each => each.textContent),
        scrolls: [...root.querySelectorAll('*')].filter(each => shown(each)
            && /auto|scroll/.test(getComputedStyle(each).overflowY)
            && each.scrollHeight > each.clientHeight + 1).map(each => String(each.className)),
    }; }"""

SEEN_IN = """(all, around) => { const box = document.querySelector(around).getBoundingClientRect();
    return all.map(each => each.getBoundingClientRect()).filter(
        ({ top, bottom }) => bottom > top && top >= box.top - 1 && bottom <= box.bottom + 1).length; }"""

BROKEN_WORDS = """cells => [...document.querySelectorAll(cells)].flatMap(cell => {
    const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT), broken = [];
    for (let node; (node = walk.nextNode());)
        for (const { index, 0: word } of node.data.matchAll(/[^\\s-]+/g)) {
            const range = document.createRange();
            range.setStart(node, index);
            range.setEnd(node, index + word.length);
            const tops = [...range.getClientRects()].map(({ top }) => Math.round(top));
            if (new Set(tops).size > 1) broken.push(word);
        }
    return broken; })"""

# Which steps have a bar, how many of them their id in it or beside it, and ids that lie over each other.
NAMED_BARS = """() => {
    const ids = [...document.querySelectorAll('.pk-chart .pk-id')].map(each =>
        [each.textContent, each.getBoundingClientRect()]);
    const steps = [...new Set([...document.querySelectorAll('.pk-bar-work')].map(each => each.dataset.step))];
    const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
        && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 4; // lines of a font overlap a little
    const over = ids.flatMap(([one, a], at) => ids.slice(at + 1).filter(([, b]) => meet(a, b))
        .map(([other]) => `${one} ${other}`));
    return [steps, ids.map(([words]) => words).filter(words => steps.includes(words)), over]; }"""

SEEN_WHOLE = """(all, around) => { const frame = document.querySelector(around).getBoundingClientRect();
    return all.map(each => { const box = each.getBoundingClientRect();
        return Number(each.getClientRects().length === 1 && box.height > 0 && box.top >= frame.top - 1
            && box.bottom <= frame.bottom + 1 && box.left >= frame.left - 1
            && box.right <= frame.right + 1); }); }"""

OUTSIDE = (".pk-face", ".pk-head", ".pk-calls", ".pk-toolbar", ".pk-clock", ".pk-right", ".pk-chart-box",
           "[data-lane=EV1]", "[data-lane=EV2]", ".pk-log-side", ".pk-side", ".pk-caution")
BESIDE = ("[data-pane=options]", "[data-pane=home]")  # where there is room for both
CUT_IN_HEAD = """() => [...document.querySelectorAll('.pk-head *')].filter(
    each => each.getClientRects().length && each.scrollWidth > each.clientWidth + 1
    && getComputedStyle(each).overflow !== 'visible').map(each => each.textContent)"""
CHOSEN_ROW = """() => {
    const holder = document.querySelector('.pk-grid:not([hidden]) .tabulator-tableholder');
    const row = holder.querySelector('.tabulator-row.tabulator-range-highlight');
    const [box, around] = [row, holder].map(each => each.getBoundingClientRect());
    return box.top >= around.top - 1 && box.bottom <= around.bottom + 1; }"""
TARGETS = """() => {
    const root = document.querySelector('.pk-workbench');
    const low = (all, least) => [...root.querySelectorAll(all)].filter(each => each.getClientRects().length
        && getComputedStyle(each).visibility === 'visible' && each.offsetHeight < least)
        .map(each => each.textContent);
    return [...low('.pk-button', 32), ...low('[data-call], .pk-lane-card:not(.pk-lane-slim) '
        + ':is([data-event=started], [data-event=finished])', 44)]; }"""


def look(page, width, height, parts=PARTS):
    """What stands where at a size, scrolled to the workbench."""
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_timeout(500)  # sizes are told from one part to the next, a frame each
    page.evaluate("document.querySelector('.pk-workbench').scrollIntoView({ block: 'start' })")
    return page.evaluate(LOOK, parts)


def overlap(a, b):
    """Whether two boxes share more than a line."""
    return (min(a["right"], b["right"]) - max(a["left"], b["left"]) > 1
            and min(a["bottom"], b["bottom"]) - max(a["top"], b["top"]) > 1)


def holds(around, box):
    """Whether a box stands within another."""
    return (box["top"] >= around["top"] - 1 and box["bottom"] <= around["bottom"] + 1
            and box["left"] >= around["left"] - 1 and box["right"] <= around["right"] + 1)


def pages_of(page, pane, rows):
    """Which rows are seen whole on each page of a pane, which is left at its first."""
    seen, bar = [], page.locator(f"{pane} + .pk-pages")
    while True:
        seen.append(page.eval_on_selector_all(f"{pane} {rows}", SEEN_WHOLE, pane))
        following = bar.locator("[data-turn='1']")
        if bar.is_hidden() or following.get_attribute("aria-disabled") == "true":
            break
        following.click()
    for _ in seen[1:]:
        bar.locator("[data-turn='-1']").click()
    return seen


@pytest.fixture
def bench(page, lab, request):
    page.set_viewport_size({"width": 1366, "height": 768})
    after = [f"'a cell after it, {number}'" for number in range(9)]
    return Bench.open(page, lab, request.node.name[:20], DEMO, *after)


def test_the_whole_workbench_is_on_one_screen(bench, page, page_errors):
    # After Run All, with cells below it, the page stands at the workbench.
    page.wait_for_function("""() => { const at = document.querySelector('.pk-workbench');
        const frame = at.closest('.jp-WindowedPanel-outer').getBoundingClientRect();
        const { top, bottom } = at.getBoundingClientRect();
        return top >= frame.top - 1 && bottom <= frame.bottom + 1; }""")

    for size in SIZES:
        seen = look(page, *size)
        assert holds(seen["frame"], seen["root"]), size
        for part, box in seen["parts"].items():
            assert holds(seen["root"], box), (size, part)
        for one, other in combinations(PARTS, 2):
            assert not overlap(seen["parts"][one], seen["parts"][other]), (size, one, other)
        assert seen["cut"] == [], size
        assert seen["rows"] >= 4, size
        assert seen["bars"] > 80, size
        assert [name for name in seen["scrolls"] if "tabulator" not in name] == [], size
        for tabs in (".pk-side .pk-tabs", ".pk-tables > .pk-tabs"):  # one row each
            assert page.locator(tabs).bounding_box()["height"] < 34, (size, tabs)

    # Pages instead of a scroll: of each pane, of the form of a row, of the list of columns.
    for size in SIZES:
        page.locator("[data-side=margins]").click()
        assert [name for name in look(page, *size)["scrolls"] if "tabulator" not in name] == [], size
        assert int(page.locator("[data-pane=margins] + .pk-pages").inner_text().split()[3]) > 2, size
        page.get_by_role("button", name="Form", exact=True).click()
        assert page.eval_on_selector_all(".pk-form-row", SEEN_IN, ".pk-form-body") >= 8, size
        assert [name for name in look(page, *size)["scrolls"] if "tabulator" not in name] == [], size
        page.locator(".pk-form-head .pk-button").click()
        page.get_by_role("button", name="Columns", exact=True).click()
        assert page.eval_on_selector_all(".pk-columns li", SEEN_IN, ".pk-columns ul") >= 15, size
        assert [name for name in look(page, *size)["scrolls"] if "tabulator" not in name] == [], size
        page.keyboard.press("Escape")
        page.locator(".pk-legend-toggle").click()
        assert [name for name in look(page, *size)["scrolls"] if "tabulator" not in name] == [], size
        page.locator(".pk-legend-toggle").click()
    # No key lies on what it does.
    bench.choose("keys")
    assert page.evaluate("""() => [...document.querySelectorAll('.pk-keys dt')].filter(each =>
        each.scrollWidth > each.clientWidth + 1).map(each => each.textContent)""") == []
    for size in SIZES:
        assert [name for name in look(page, *size)["scrolls"] if "tabulator" not in name] == [], size
    page.keyboard.press("Escape")

    # At 200 % the first screen has the head, a row of bars and a row of the table.
    for size in AT_200_PERCENT:
        seen = look(page, *size)
        assert holds(seen["frame"], seen["root"]), size
        assert holds(seen["root"], seen["parts"][".pk-head"]), size
        assert seen["rows"] >= 1, size
        assert seen["bars"] >= 1, size
        pane, tables = (page.locator(f".pk-{part}").bounding_box() for part in ("grid-pane", "tables"))
        assert pane["width"] > tables["width"] - 2, size
        assert page.locator(".pk-tables .pk-row-tools").bounding_box()["height"] > 18, size

    # Beside a version with a long name the head keeps its two rows, what moved and what is tightest.
    bench.keep("a version with a name that is as long as names are")
    page.keyboard.press("Escape")
    bench.hold_against("a version with a name that is as long as names are")
    for size in SIZES:
        seen = look(page, *size)
        assert seen["parts"][".pk-head"]["bottom"] - seen["parts"][".pk-head"]["top"] < 40, size
        assert page.locator(".pk-tightest").bounding_box()["width"] > 190, size
        assert holds(seen["parts"][".pk-head"], page.evaluate(
            "() => document.querySelector('.pk-tightest').getBoundingClientRect().toJSON()")), size
        around = page.locator(".pk-against").bounding_box()
        assert around["width"] > page.locator(".pk-against strong").bounding_box()["width"], size

    # What moved is told in whole words.
    bench.type_in(bench.order()[4], "minutes_likely", "29")
    page.locator("[data-side=moved]").click()
    expect(page.locator("[data-pane=moved] td").first).to_be_visible()
    for size in SIZES:
        look(page, *size)
        assert page.evaluate(BROKEN_WORDS, "[data-pane=moved] :is(th, td)") == [], size
    assert page_errors == []


def test_in_a_smaller_window_the_chosen_row_is_seen_and_nothing_of_the_head_is_cut(page, lab, page_errors):
    page.set_viewport_size({"width": 1920, "height": 1080})
    bench = Bench.open(page, lab, "smaller", ROOT / "tests" / "data" / "orders-whimbrel")
    bench.bar("S8").click()
    bench.settle()
    expect(bench.cell("S8", "step")).to_contain_class("tabulator-range-selected")
    expect(page.locator(".pk-tightest")).to_contain_text("with the partner")
    for size in SIZES[::-1]:
        look(page, *size)
        assert page.evaluate(CUT_IN_HEAD) == [], size
        assert page.evaluate(CHOSEN_ROW), size
    # What was scrolled away on purpose is not brought back.
    rows = page.locator(".pk-grid:not([hidden]) .tabulator-tableholder")
    rows.evaluate("rows => { rows.scrollTop = 0; }")
    look(page, 1440, 900)
    look(page, 1366, 768)
    assert rows.evaluate("rows => rows.scrollTop") == 0

    bench.keep("before")
    page.keyboard.press("Escape")
    bench.hold_against("before")
    for size in SIZES:
        look(page, *size)
        assert page.evaluate(CUT_IN_HEAD) == [], size
        names = page.locator(".pk-chart text").all_text_contents()
        assert {"light", "day", "night", "baseline"} <= set(names), size
    assert page_errors == []


def test_150_steps_and_60_places_are_legible(page, lab, page_errors):
    page.set_viewport_size({"width": 1440, "height": 900})
    many = steps_repeated(150).with_settings({"horizon_h": 13.0, "limits.planned_min": 630.0,
                                              "limits.hard_min": 690.0})
    more = [{**dict.fromkeys(many.places, ""), "place": f"W{number}", "title": f"Work place {number}",
             "x_m": number, "y_m": 2, "z_m": 3} for number in range(60 - len(many.places))]
    ways = [{**dict.fromkeys(many.routes, ""), "from_place": "HUB", "to_place": place["place"], "metres": 9}
            for place in more]
    for name, rows in (("places", more), ("routes", ways)):
        whole = pd.concat([getattr(many, name).astype(object), pd.DataFrame(rows)], ignore_index=True)
        many = many.with_table(name, whole)
    many.save(lab.folder / "many-scenario")
    assert len(pk.load_scenario(lab.folder / "many-scenario").places) == 60
    bench = Bench.at(page, lab, "many", lab.folder / "many-scenario")
    bench.bar("EG1").click()
    bench.settle()

    # All of it: more than half is named. Some zooms on nearly all is, and a page on is the rest.
    steps, named, over = page.evaluate(NAMED_BARS)
    assert (len(steps), over) == (151, [])
    assert len(set(named)) > 75
    for _ in range(3):
        page.get_by_role("button", name="Zoom in").click()
    page.locator(".pk-window").focus()
    seen = set()
    for _ in range(4):
        steps, named, over = page.evaluate(NAMED_BARS)
        assert over == []
        seen |= set(named)
        page.keyboard.press("PageDown")
        page.wait_for_timeout(200)
    assert len(seen) > 130

    page.locator("[data-sheet=places]").click()
    expect(page.locator(".pk-tables .pk-row-tools")).to_contain_text("60 rows")
    page.get_by_placeholder("Find").fill("W41")
    expect(bench.cell("W41", "title", "place")).to_have_text("Work place 41")
    assert page_errors == []


def test_what_no_page_holds_is_reached_by_keys(bench, page, page_errors):
    pane = "[data-pane=findings]"
    page.locator("[data-side=findings]").click()
    look(page, 1366, 768)
    stands = "e => [e.scrollTop, e.clientHeight, e.scrollHeight]"

    def turned():
        """Where the pane stands, from its top down to its end, by PageDown alone."""
        page.locator(f"{pane} .pk-item").first.focus()
        page.eval_on_selector(pane, "e => { e.scrollTop = 0; }")
        tops = [0.0]
        while True:
            page.keyboard.press("PageDown")
            page.wait_for_timeout(300)
            top, high, whole = page.eval_on_selector(pane, stands)
            if top == tops[-1]:
                return tops, high, whole
            tops.append(top)

    # A finding higher than the page; then a pane lower than a page. Every line is seen on the way.
    for width, height, words in ((1366, 768, "and so on " * 400), (683, 300, "short")):
        page.set_viewport_size({"width": width, "height": height})
        first = page.locator(f"{pane} .pk-item-text").first
        first.evaluate("(each, words) => { each.textContent = words; }", words)
        page.wait_for_timeout(600)
        expect(page.locator(pane)).to_contain_class("pk-one-page")
        tops, high, whole = turned()
        assert len(tops) > 2, width
        assert all(after - before <= high for before, after in pairwise(tops)), width
        assert tops[-1] + high >= whole - 1, width
    assert high < 140
    assert page_errors == []


def test_what_is_chosen_stays_chosen_outside_and_back_and_in_full_screen(bench, page, page_errors):
    scroll = """() => document.querySelector('.pk-grid:not([hidden]) .tabulator-tableholder').scrollTop"""
    bench.bar("AN2").click()
    bench.settle()
    expect(bench.cell("AN2", "step")).to_contain_class("tabulator-range-selected")
    expect(page.locator(".pk-of-chosen", has_text="AN2").first).to_be_attached()
    stood = page.evaluate(scroll)
    assert stood > 0
    for mode in ("outside", "planning"):
        page.locator(f"[data-mode-to={mode}]").click()
        bench.settle()
    expect(page.locator(".pk-tables")).to_be_visible()
    assert (page.evaluate(scroll), bench.chosen()) == (stood, "AN2")
    expect(bench.cell("AN2", "step")).to_contain_class("tabulator-range-selected")

    # A drag that brings stops is told by the head, by number and word.
    expect(page.locator("[data-act=stops]")).to_have_text("✓ no stops")
    bench.cell("AN2", "place").click()
    box, before = bench.bar("CL2").bounding_box(), bench.bar("KN2").bounding_box()
    bench.drag((box["x"] + 5, box["y"] + 9), (before["x"] + 1, before["y"] + 9))
    expect(page.locator(".pk-head")).to_have_attribute("data-level", "stop")
    expect(page.locator(".pk-counts")).to_have_attribute("aria-busy", "false")
    page.locator("[data-act=stops]").click()
    expect(page.locator(".pk-item[data-severity=stop]").first).to_be_focused()

    page.locator("[data-act=full_screen]").click()
    page.wait_for_function("() => document.fullscreenElement?.matches('.pk-workbench')")
    assert page.evaluate("document.querySelector('.pk-desk').getBoundingClientRect().height > 740")
    bench.choose("keys")
    expect(page.locator(".pk-dialog")).to_be_visible()
    assert page_errors == []


def test_all_of_an_outing_is_on_one_screen(page, lab, page_errors):
    page.set_viewport_size({"width": 1440, "height": 900})
    folder = lab.folder / "outside-screen-scenario"
    shutil.copytree(DEMO, folder)
    shutil.copy(LATE / "log.csv", folder)
    bench = Bench.open(page, lab, "outside-screen", DEMO)
    page.locator("[data-mode-to=outside]").click()
    bench.settle()
    page.locator("input[aria-label='Now, PET or UTC']").fill("3:58")
    page.keyboard.press("Enter")
    bench.settle()
    page.locator("[data-act=rehearse]").click()
    bench.settle()
    for size in SIZES:
        parts = (*OUTSIDE, *(BESIDE if size[0] >= 1440 else ()))
        seen = look(page, *size, parts)
        assert holds(seen["frame"], seen["root"]), size
        for part, box in seen["parts"].items():
            assert holds(seen["root"], box), (size, part)
            assert box["bottom"] - box["top"] > 25 or part == ".pk-caution", (size, part)
        for one, other in combinations(OUTSIDE, 2):
            assert not overlap(seen["parts"][one], seen["parts"][other]), (size, one, other)
        for part in set(parts) & set(BESIDE):
            assert holds(seen["parts"][".pk-side"], seen["parts"][part]), (size, part)
        assert seen["parts"][".pk-chart-box"]["bottom"] - seen["parts"][".pk-chart-box"]["top"] > 120, size
        assert seen["cut"] == [], size
        assert page.evaluate(TARGETS) == [], size
        assert [name for name in seen["scrolls"] if "tabulator" not in name] == [], size
        # All that stands and the latest of the log are seen together; every other row a turn on, and whole.
        assert all(page.eval_on_selector_all(".pk-standing li", SEEN_WHOLE, ".pk-log-pages")), size
        turned = pages_of(page, ".pk-log-pages", ".pk-log tbody tr")
        assert turned[0][0], size
        assert min(map(sum, turned[1:-1])) >= 4, size
        assert set(map(sum, zip(*turned, strict=True))) == {1}, size
    assert page_errors == []


def test_what_is_corrected_is_whole_on_a_small_screen(page, lab, page_errors):
    page.set_viewport_size({"width": 1280, "height": 800})
    folder = lab.folder / "corrected-scenario"
    shutil.copytree(DEMO, folder)
    shutil.copy(LATE / "log.csv", folder)
    bench = Bench.open(page, lab, "corrected", DEMO)
    page.locator("[data-mode-to=outside]").click()
    bench.settle()
    page.locator(".pk-log [data-act=correct]").first.click()
    for act in ("put-right", "withdraw"):
        page.locator(f".pk-log [data-act={act}]").focus()
        assert page.eval_on_selector_all(f".pk-log [data-act={act}]", SEEN_WHOLE, ".pk-log-pages") == [1], act
    assert [name for name in look(page, 1280, 800)["scrolls"] if "tabulator" not in name] == []
    assert page_errors == []


def test_long_findings_are_whole_beside_the_console(page, lab, page_errors):
    page.set_viewport_size({"width": 1440, "height": 900})
    bench = Bench.open(page, lab, "long-findings", ROOT / "tests" / "data" / "curlew-deck")
    page.locator("[data-mode-to=outside]").click()
    bench.settle()
    page.locator("input[aria-label='Now, PET or UTC']").fill("1:30")
    page.keyboard.press("Enter")
    bench.settle()
    expect(page.locator("[data-act=stops]")).to_contain_text("stops")
    for size in SIZES:
        seen = look(page, *size, OUTSIDE)
        assert [name for name in seen["scrolls"] if "tabulator" not in name] == [], size
        assert all(map(any, zip(*pages_of(page, "[data-pane=findings]", "li"), strict=True))), size
    assert page_errors == []
