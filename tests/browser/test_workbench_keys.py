"""The workbench by keyboard, under another theme, and shown twice: the keys' place is never lost."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

import planning_kit as pk
from planning_kit.show.palette import DARK, LIGHT
from tests.browser.benches import GRID, SMALL, WAIT_MS, Bench


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

    # Sort by keyboard, for looking only: the tools are one stop, arrows go on from there.
    bench.cell("B1", "title").click()
    page.keyboard.press("Shift+Tab")
    assert bench.place_of_keys() == "Find in this table"
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert bench.place_of_keys() == "Sort"
    page.keyboard.press("Enter")
    bench.begins_with("C3", "Z1", "B2")  # Close, Count, Get
    page.keyboard.press("ArrowRight")
    assert bench.place_of_keys() == "As planned"
    page.keyboard.press("Enter")
    bench.begins_with("A1", "B1", "C1")
    page.wait_for_function("() => document.querySelector('.pk-workbench').contains(document.activeElement)")

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


def test_columns_stay_as_wanted_when_the_cell_is_run_again(bench, page, page_errors):
    def heads():
        return page.eval_on_selector_all(f"{GRID} .tabulator-col[tabulator-field]:not(.pk-number)",
                                         "all => all.map(one => one.getAttribute('tabulator-field'))")

    usual = heads()
    assert usual[:5] == ["step", "task", "crew", "place", "title"]
    assert "wait_at" not in usual  # nobody has used it

    # Hide one, move one, pin one, all by keys.
    page.get_by_role("button", name="Columns", exact=True).click()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Alt+ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("p")
    page.keyboard.press("Escape")
    bench.settle()
    wanted = ["step", "title", "place", "crew", *usual[5:]]
    assert heads() == wanted
    assert bench.place_of_keys() == "table"
    bench.says(".pk-state", "saved")  # no edit of the scenario

    # A pasted block goes into the columns that are seen.
    bench.cell("B1", "place").click()
    bench.paste("POR\tEV2")
    assert [bench.cell("B1", column).inner_text() for column in ("place", "crew")] == ["POR", "EV2"]
    bench.press("undo")

    page.evaluate("() => { window.jupyterapp.commands.execute('notebook:run-all-cells'); }")
    page.locator(".pk-workbench").first.wait_for(state="detached")
    bench.wait_until_shown()
    bench.cell("B1", "title").wait_for()
    assert heads() == wanted
    assert page_errors == []


def test_a_step_is_added_and_filled_in_by_pick_lists_alone(bench, page, page_errors):
    bench.cell("B2", "title").click()
    page.get_by_role("button", name="Add step").click()
    bench.settle()
    expect(page.get_by_label("likely, min")).to_be_focused()
    says = page.locator(".pk-form [data-column=minutes_likely] [role=alert]")
    expect(says).to_contain_text("is empty")
    page.keyboard.type("30")
    page.keyboard.press("Enter")
    bench.settle()
    expect(says).to_be_empty()

    def pick(label, typed):
        page.get_by_label(label, exact=True).locator("visible=true").last.fill(typed)
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        bench.settle()

    pick("crew", "EV2")
    pick("place", "deck")  # by its title
    page.locator(".pk-form [data-column=after] input").click()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    bench.settle()
    expect(page.locator(".pk-bad")).to_have_count(0)
    columns = ("crew", "place", "after", "minutes_likely")
    assert [bench.cell("B4", column).inner_text() for column in columns] == ["EV2", "POR", "A1", "30"]
    expect(bench.bar("B4")).to_have_count(1)

    # Escape is the way back to the cell; a likely duration typed there moves low and high.
    page.keyboard.press("Escape")
    expect(page.locator(f"{GRID} .tabulator-tableholder")).to_be_focused()
    bench.type_in("B1", "minutes_likely", "45")
    assert [bench.cell("B1", f"minutes_{which}").inner_text() for which in ("likely", "high")] == ["45", "45"]
    expect(page.locator(".pk-bad")).to_have_count(0)
    assert page_errors == []


def test_ten_tabs_reach_the_grid_from_its_tabs_on_and_a_hidden_step_comes_back(bench, page, page_errors):
    page.locator(".pk-tab[data-sheet='steps']").focus()
    stops = []
    for _ in range(2):
        page.keyboard.press("Tab")
        stops.append(bench.place_of_keys())
    assert stops == ["Add step", "table"]
    page.get_by_label("Only the rows of one crew").select_option("EV2")
    expect(page.locator(".pk-tables .pk-row-tools [role=status]")).to_contain_text("of 8 rows")
    bench.bar("B2").click()
    bench.has_order("A1", "B1", "C1", "C2", "B2", "B3", "C3", "Z1")
    bench.says(".pk-cell-line", "the filter had hidden B2")
    assert page_errors == []


def test_a_place_and_its_route_are_added_by_the_form_and_a_step_goes_there(bench, page, page_errors):
    def fill(column, text):
        page.locator(f".pk-form [data-column={column}] :is(input, textarea)").first.fill(text)
        page.keyboard.press("Enter")
        bench.settle()

    place = {"place": "NEW", "title": "New rack", "x_m": "4", "y_m": "5", "z_m": "0"}
    route = {"from_place": "MID", "to_place": "NEW", "metres": "7"}
    for sheet, texts in (("places", place), ("routes", route)):
        page.locator(f"[data-sheet={sheet}]").click()
        page.locator(f"{GRID} .tabulator-row [tabulator-field={next(iter(texts))}]").last.click()
        page.get_by_role("button", name="Add row").click()
        bench.settle()
        expect(page.locator(".pk-form")).to_be_visible()
        for column, text in texts.items():
            fill(column, text)
        expect(page.locator(".pk-bad")).to_have_count(0)
    page.locator("[data-sheet=steps]").click()
    bench.type_in("B1", "place", "NEW")
    expect(page.locator(".pk-bad")).to_have_count(0)
    expect(page.locator(".pk-faults")).to_be_hidden()
    bench.press("save")
    scenario = pk.load_scenario(bench.folder)
    saved = scenario.places.set_index("place").loc["NEW"]
    assert (saved["title"], saved["x_m"], saved["y_m"]) == ("New rack", 4.0, 5.0)
    assert scenario.routes.iloc[-1][["from_place", "to_place", "metres"]].tolist() == ["MID", "NEW", 7.0]
    lanes = pk.time_plan(scenario).timeline
    assert lanes.loc[(lanes["step"] == "B1") & (lanes["kind"] == "work"), "place"].tolist() == ["NEW"]
    assert page_errors == []
