"""The workbench by keyboard, under another theme, and shown twice: the keys' place is never lost."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from planning_kit.show.palette import DARK, LIGHT
from tests.browser.benches import SMALL, WAIT_MS, Bench


@pytest.fixture
def bench(page, lab, request):
    page.set_viewport_size({"width": 1280, "height": 1000})
    return Bench.open(page, lab, request.node.name[:30], SMALL)


def test_the_keyboard_reaches_everything_and_keeps_its_place(bench, page, page_errors):
    # A row of controls is one stop, and so is a table: ten at most lead to it, and nobody is caught in it.
    page.evaluate("""() => {
        const before = document.createElement('button');
        document.querySelector('.pk-workbench').before(before);
        before.focus(); }""")
    stops = []
    while len(stops) < 10 and stops[-1:] != ["table"]:
        page.keyboard.press("Tab")
        stops.append(bench.place_of_keys())
    assert stops[-1] == "table"
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert "Findings" in bench.place_of_keys()
    page.keyboard.press("Shift+Tab")
    assert bench.place_of_keys() == "Findings and plan"
    page.keyboard.press("ArrowLeft")

    # The list of keys, which leaves the keyboard where it was; typed in a field `?` is text.
    page.keyboard.press("?")
    bench.says(".pk-dialog", "Copy the chosen rows")
    page.keyboard.press("Escape")
    expect(page.locator(".pk-dialog")).to_have_count(0)
    assert bench.place_of_keys() == "Findings and plan"
    page.locator(".pk-tables [type=search]").focus()
    page.keyboard.type("?")
    expect(page.locator(".pk-dialog")).to_have_count(0)
    page.locator(".pk-tables [type=search]").fill("")

    # Sort by keyboard, for looking only.
    bench.cell("B1", "title").click()
    page.locator(".pk-button:text-is('Sort')").focus()
    page.keyboard.press("Enter")
    bench.begins_with("C3", "Z1", "B2")  # Close, Count, Get
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    bench.begins_with("A1", "B1", "C1")
    assert bench.place_of_keys() == "As planned"

    # A button that goes away hands the keys on.
    bench.keep("v")
    bench.choose("versions")
    page.get_by_label("Version", exact=True).select_option("v")
    bench.press("drop")
    page.locator("[data-act=bring_back]").focus()
    page.keyboard.press("Enter")
    bench.settle()
    page.wait_for_function("() => document.activeElement.dataset.act === 'save'", timeout=WAIT_MS)

    # Rows that a filter hides are passed over.
    page.locator(".pk-tables [type=search]").fill("EV2")
    bench.cell("C3", "title").click()
    page.keyboard.press("Alt+ArrowUp")
    bench.settle()
    bench.has_order("C1", "C3", "C2")
    assert page_errors == []


def test_one_cell_with_a_line_break_a_typed_date_and_another_theme(bench, page, page_errors):
    before = bench.order("title")
    bench.cell("B1", "title").click()
    bench.paste('"one\ntwo"')
    assert bench.order("title") == [before[0], "one\ntwo", *before[2:]]

    # A date typed digit by digit is one edit, and the field keeps what is typed meanwhile.
    field = page.get_by_label("PET 0, UTC")
    field.focus()
    page.keyboard.type("09042031")
    assert field.input_value() == "2031-09-04T07:30"
    page.keyboard.press("Enter")
    bench.settle()
    assert field.input_value() == "2031-09-04T07:30"
    page.keyboard.press("Shift+Tab")
    bench.press("undo")
    assert field.input_value() == "2031-09-03T07:30"

    # The chart follows the theme and stays alive: JupyterLab hides its page for a moment meanwhile.
    name = page.locator(".pk-crew-name").first
    for theme, palette in (("Dark", DARK), ("Light", LIGHT)):
        bench.change_theme(theme)
        expect(name).to_have_attribute("fill", palette.ink)
    for _ in range(20):  # the page may still move under the mouse when JupyterLab has just shown it again
        bench.bar("B2").click()
        if bench.chosen() == "B2":
            break
        page.wait_for_timeout(250)
    assert bench.chosen() == "B2"
    bench.settle()

    # A fault says in which row it is.
    bench.type_in("B2", "place", "NOWHERE")
    bench.says(".pk-faults", "steps B2 place")
    assert page_errors == []


def test_two_views_of_one_workbench_show_the_same_and_let_each_other_be(page, lab, page_errors):
    page.set_viewport_size({"width": 1800, "height": 1600})
    bench = Bench.open(page, lab, "views", SMALL, "bench")
    first, second = page.locator(".pk-workbench").nth(0), page.locator(".pk-workbench").nth(1)
    second.locator(".pk-bar-work").first.wait_for(state="attached")
    cell = ".tabulator-row:nth-child(2) [tabulator-field=minutes_likely]"
    second.locator(".pk-side .pk-item").first.wait_for(state="attached")
    for view, other, text in ((first, second, "17"), (second, first, "18")):
        bench.settle()  # what a view shows below its findings moves while they come
        view.locator(cell).click()
        expect(view.locator(cell)).to_contain_class("tabulator-range-selected")
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        expect(other.locator(cell)).to_have_text(text)
        expect(view.locator(cell)).to_have_text(text)
    # A new row is opened where it was asked for.
    second.locator(cell).click()
    page.keyboard.press("Alt+n")
    expect(first.locator(".tabulator-row")).to_have_count(9)
    bench.settle()
    page.wait_for_function("root => root.contains(document.activeElement)", arg=second.element_handle())
    assert page_errors == []
