"""Outside in JupyterLab: an outing is logged by keyboard, goes late, and the picture follows."""

from __future__ import annotations

from playwright.sync_api import expect

import planning_kit as pk
from tests.browser.benches import SMALL, Bench

ATTACK = "<img src=x onerror='window.attacked = true'>"
NOW_LINE = "() => new DOMMatrix(getComputedStyle(document.querySelector('.pk-now-line')).transform).e"


def card(bench, who):
    return bench.page.locator(f".pk-lane-card[data-lane='{who}']")


def field(bench, who, label):
    return card(bench, who).locator(f"input[aria-label='{label}, {who}']")


def set_now(bench, text):
    bench.page.locator("input[aria-label='Now, PET or UTC']").fill(text)
    bench.page.keyboard.press("Enter")
    bench.settle()


def logged(bench):
    return list(pk.read_log(bench.folder)["event"])


def test_an_outing_is_logged_goes_late_and_is_left_with_nothing_lost(page, lab, page_errors, asked_outside):
    page.set_viewport_size({"width": 1280, "height": 1100})
    bench = Bench.open(page, lab, "outside", SMALL)
    page.locator("[data-mode-to=outside]").focus()
    page.keyboard.press("Enter")
    bench.settle()
    bench.says(".pk-log-where", "outside-scenario/log.csv, 0 rows")
    expect(page.locator(".pk-tables")).to_be_hidden()
    planned, line = bench.start_px("B1"), page.evaluate(NOW_LINE)

    # One key an event: the first card has the keyboard.
    page.keyboard.press("s")
    bench.settle()
    bench.says("[data-lane=EV1] .pk-lane-does", "at work since 0:00")
    set_now(bench, "0:14")
    assert page.evaluate(NOW_LINE) > line
    bench.says("[data-lane=EV2] .pk-lane-does", "estimate used up")

    # What cannot be is refused where it stands; what was typed stays, and is mended there.
    field(bench, "EV2", "now").fill("0:50")
    field(bench, "EV2", "note").fill(ATTACK)
    page.keyboard.press("Enter")
    bench.settle()
    bench.says("[data-lane=EV2] .pk-entry-faults", "lies in the future")
    assert field(bench, "EV2", "now").input_value() == "0:50"
    assert logged(bench) == ["started"]
    field(bench, "EV2", "now").fill("0:13")
    page.keyboard.press("Enter")
    bench.settle()
    expect(card(bench, "EV2").locator(".pk-entry-faults")).to_be_hidden()
    assert field(bench, "EV2", "note").input_value() == ""
    assert logged(bench) == ["started", "finished"]
    assert bench.start_px("B1") > planned
    expect(page.locator(".pk-past")).to_have_count(2)  # A1 in both lanes
    bench.says(".pk-standing", "behind")

    # The row of another writer comes by itself; one that cannot be is told and counts for nothing.
    plan = pk.time_plan(pk.load_scenario(bench.folder))
    pk.append_log(bench.folder, "started", "B1", at="0:14", by="another", note=ATTACK, plan=plan)
    bench.says("[data-lane=EV1] .pk-lane-does", "at work since 0:14")
    pk.append_log(bench.folder, "finished", "C3", at="2031-09-03T07:43:00Z")
    bench.says(".pk-impossible", "Does not count")
    bench.says(".pk-log", ATTACK)

    # What is being typed stays about its step, though another logs it meanwhile: never about the next one.
    field(bench, "EV1", "now").fill("0:14")
    pk.append_log(bench.folder, "skipped", "B1", at="0:14", by="another", plan=plan)
    bench.says("[data-lane=EV1] .pk-lane-about", "B2")
    field(bench, "EV1", "now").press("Enter")
    bench.settle()
    bench.says("[data-lane=EV1] .pk-entry-faults", "Not logged: B1 finished")
    assert logged(bench)[-1] == "skipped"
    card(bench, "EV1").get_by_text("Give up").click()
    bench.settle()
    assert card(bench, "EV1").locator("select").input_value() == "B2"
    page.locator("[data-event-id=e5] [data-act=correct]").click()
    page.locator("[data-act=withdraw]").click()
    bench.settle()

    # Correct an entry; a way home; why a step stands where it does.
    page.locator("[data-event-id=e2] [data-act=correct]").click()
    page.keyboard.type("0:12")
    page.keyboard.press("Enter")
    bench.settle()
    bench.says("[data-event-id=e2]", "corrected by e7")
    page.locator("[data-side=home]").click()
    bench.says(".pk-home-sequence", "Make B1 safe")
    page.locator("[data-how=abort]").click()
    bench.says(".pk-home-sequence", "Ingress")
    card(bench, "EV2").locator(".pk-lane-step").click()
    bench.says(".pk-why", "C1")

    # A bar that is clicked is the step to log.
    bench.bar("C2").click()
    bench.settle()
    assert card(bench, "EV2").locator("select").input_value() == "C2"
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.dataset.lane === 'EV2'")

    # Now runs from where it was set: the page does not wait for the kernel.
    page.locator("select[aria-label=Clock]").select_option("running")
    set_now(bench, "0:20")
    bench.says(".pk-clock-pet", "0:20:")
    moved = page.evaluate(NOW_LINE)
    page.wait_for_function(f"before => ({NOW_LINE})() > before", arg=moved)

    # Back to planning, and out again: the plan is as it was, the log is where it was.
    page.locator("[data-mode-to=planning]").click()
    bench.settle()
    expect(page.locator(".pk-tables")).to_be_visible()
    expect(page.locator(".pk-now-line")).to_have_count(0)
    bench.says(".pk-state", "saved")
    page.locator("[data-mode-to=outside]").click()
    bench.settle()
    bench.says(".pk-log-where", "7 rows")

    # A kernel that is gone is told at the first key.
    page.evaluate("() => { window.jupyterapp.commands.execute('kernelmenu:restart'); }")
    page.locator(".jp-Dialog button", has_text="Restart").click()
    page.wait_for_selector(".jp-Dialog", state="detached")
    bench.wait_less()
    card(bench, "EV1").focus()
    page.keyboard.press("f")
    bench.says(".pk-said", "The kernel does not answer")
    assert page.evaluate("() => window.attacked") is None
    assert (page_errors, asked_outside) == ([], [])


def test_one_journal_is_kept_in_two_views_and_a_call_home_in_either(page, lab, page_errors):
    page.set_viewport_size({"width": 1440, "height": 900})
    bench = Bench.open(page, lab, "two-views", SMALL, "bench")
    expect(page.locator(".pk-workbench")).to_have_count(2)
    bench.settle()
    first, second = page.locator(".pk-workbench").all()
    first.locator("[data-mode-to=outside]").click()
    bench.settle()
    for view in (first, second):
        expect(view).to_have_attribute("data-mode", "outside")

    # Each keeps what it looks at; what is logged in one is in the other, once.
    second.locator("[data-side=why]").click()
    second.locator("[data-act=follow]").click()
    first.locator(".pk-lane-card").first.focus()
    page.keyboard.press("s")
    bench.settle()
    for view in (first, second):
        expect(view.locator(".pk-log tbody tr")).to_have_count(1)
        expect(view.locator(".pk-log")).to_contain_text("A1 started")
    assert logged(bench) == ["started"]
    for view, tab, follows in ((first, "findings", "true"), (second, "why", "false")):
        expect(view.locator("[data-side][aria-selected=true]")).to_have_attribute("data-side", tab)
        expect(view.locator("[data-act=follow]")).to_have_attribute("aria-pressed", follows)

    # The same key in both before either has heard of the other: one entry, and one that says why not.
    set_all = "all => all.forEach(each => each.dispatchEvent(new KeyboardEvent('keydown', {key: 'k'})))"
    page.locator("[data-lane=EV1] select").evaluate_all(
        "all => all.forEach(each => { each.value = 'B1'; each.dispatchEvent(new Event('change')); })")
    page.locator("[data-lane=EV1]").evaluate_all(set_all)
    bench.settle()
    assert logged(bench)[:2] == ["started", "skipped"]
    before = len(logged(bench))

    # One key shows the way home, in this view only; Escape takes it back; nothing is logged by either.
    second.locator(".pk-lane-card").first.focus()
    page.keyboard.press("a")
    expect(second.locator(".pk-call:not(.pk-call-response)")).to_be_visible()
    expect(first.locator(".pk-call:not(.pk-call-response)")).to_be_hidden()
    expect(second.locator(".pk-call:not(.pk-call-response)")).to_contain_text("Not called yet")
    page.keyboard.press("Escape")
    expect(second.locator(".pk-call:not(.pk-call-response)")).to_be_hidden()
    page.keyboard.press("t")
    page.keyboard.press("Tab")
    expect(second.locator("[data-act=confirm_home]")).to_be_focused()
    assert len(logged(bench)) == before
    page.keyboard.press("Enter")
    bench.settle()
    assert set(logged(bench)[before:]) == {"skipped"}
    for view in (first, second):
        expect(view.locator(".pk-log")).to_contain_text("terminate called")
    assert page_errors == []
