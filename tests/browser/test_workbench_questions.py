"""Odds and a better order in the page: it stays live, an edit makes an answer old, a click takes an order."""

from __future__ import annotations

import shutil

from playwright.sync_api import expect

import planning_kit as pk
from planning_kit.explore.session.session import Session
from tests.browser.benches import SMALL, WAIT_MS, Bench
from tests.explore.session.conftest import add_a_step_behind_the_night

ATTACK = "<img src=x onerror=window.harmed=1>"


def test_odds_and_a_better_order_beside_the_editing(page, lab, page_errors):
    page.set_viewport_size({"width": 1280, "height": 1000})
    session = Session(pk.load_scenario(shutil.copytree(SMALL, lab.folder / "questions-scenario")))
    add_a_step_behind_the_night(session, ATTACK)
    session.save()
    bench = Bench.open(page, lab, "questions", SMALL)
    words = page.locator(".pk-pane:not([hidden]) [role=status]")

    page.locator("[data-side=odds]").click()
    bench.press("odds")
    page.wait_for_selector(".pk-pane:not([hidden]) .pk-meter", timeout=WAIT_MS)
    bench.says(".pk-pane:not([hidden])", "± 0.")
    bench.says(".pk-pane:not([hidden])", "night-1")
    bench.type_in("Z1", "minutes_likely", "11")
    expect(words).to_have_text("of the plan before your last edits")
    bench.press("undo")
    expect(words).to_have_text("")

    page.locator("[data-side=order]").click()
    bench.press("order")
    page.wait_for_selector("[data-take]", timeout=WAIT_MS)
    before, order = bench.head(), bench.order()
    page.locator("[data-look]").first.click()
    bench.settle()
    bench.says(".pk-chart", "proposed")
    page.locator("[data-take]").first.click()
    bench.settle()
    assert bench.head() != before
    expect(page.locator(".pk-ghost")).to_have_count(0)
    bench.comes_before("X1", "B3")
    page.keyboard.press("Control+z")
    bench.settle()
    bench.has_order(*order)
    assert bench.head() == before

    # A sweep can be stopped, and what is typed meanwhile counts.
    bench.press("sweep")
    page.wait_for_function("() => document.querySelectorAll('.pk-try').length >= 2")
    bench.type_in("Z1", "title", "Typed meanwhile")
    bench.press("sweep")
    bench.says(".pk-pet-zero", "of the plan before your last edits")
    assert page.locator(".pk-try").count() < 288  # every 5 minutes of a day
    expect(bench.cell("Z1", "title")).to_have_text("Typed meanwhile")
    assert page.evaluate("window.harmed ?? null") is None
    assert page_errors == []
