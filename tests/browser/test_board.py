"""The board of a campaign in the browser: a task dragged and moved by key, answered, kept on the disk."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

import planning_kit as pk
from tests.browser.benches import SMALL, Bench
from tests.campaign.ridge import write_ridge

ROWS = ["AA,First <b>one</b>,required,10,,,,P1,EV1,20,", "BB,Second,optional,5,,,,P2,EV2,20,",
        "CC,Third,optional,4,,AA,3,P1,EV1,15,", "DD,Long,get-ahead,3,,,,P3,both,90,"]


@pytest.fixture
def ridge(lab, request):
    folder = write_ridge(lab.folder / request.node.name[:20], ROWS)
    campaign = pk.load_campaign(folder)
    for task, outing in (("AA", "R1"), ("BB", "R1"), ("CC", "R2")):
        campaign = campaign.moved(task, outing).campaign
    for name in campaign.ids:
        campaign.scenario(name).save()
    return folder


def planned(folder):
    campaign = pk.load_campaign(folder)
    return [campaign.planned(name) for name in campaign.ids]


def middle(locator):
    box = locator.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + min(box["height"] / 2, 12)


def test_a_task_is_dragged_and_moved_by_key_answered_and_kept(ridge, page, lab, page_errors):
    page.set_viewport_size({"width": 1366, "height": 768})
    bench = Bench.at(page, lab, "board", ridge / "r1")
    card = page.locator(".pk-outing[data-outing=R1] .pk-card[data-task=BB]")
    status, keep = page.locator(".pk-board-status"), page.locator("[data-act=board_keep]")
    before = planned(ridge)
    page.locator("[data-mode-to=campaign]").click()
    expect(card).to_contain_text("chance ")
    expect(page.locator(".pk-tables")).not_to_be_visible()

    # In the hand it is asked about, and nothing is written.
    column = page.locator(".pk-outing[data-outing=R2]")
    page.mouse.move(*middle(card))
    page.mouse.down()
    page.mouse.move(*middle(column), steps=6)
    expect(status).to_contain_text("BB on R2: chance ")
    expect(page.locator(".pk-held")).to_have_count(1)
    page.mouse.up()
    expect(page.locator(".pk-held")).to_have_count(0)
    expect(page.locator(".pk-board-answer")).to_contain_text("reserve 10 min kept")
    assert planned(ridge) == before
    page.keyboard.press("Escape")
    expect(keep).to_have_count(0)

    # By key: to the next outing, to no outing, back, and to Keep.
    page.keyboard.press("Alt+ArrowRight")
    page.keyboard.press("Alt+ArrowRight")
    expect(status).to_contain_text("BB on no outing: optional, value 5 is not done")
    page.keyboard.press("Alt+ArrowLeft")
    expect(status).to_contain_text("BB on R2: chance ")
    page.keyboard.press("Enter")
    expect(keep).to_be_focused()
    page.keyboard.press("Enter")
    bench.says(".pk-said", "BB goes on R2; saved: R1, R2")
    expect(column.locator(".pk-card[data-task=BB]")).to_be_focused()
    assert planned(ridge) == [("AA",), ("CC", "BB")]

    # An edit of the open outing is in its column; undo leads back there, too.
    inside = page.locator(".pk-outing[data-outing=R1] dl")
    was = inside.inner_text()
    page.locator("[data-mode-to=planning]").click()
    bench.type_in("AA", "minutes_likely", "38")
    page.locator("[data-mode-to=campaign]").click()
    expect(inside).not_to_have_text(was, use_inner_text=True)
    bench.press("undo")
    expect(inside).to_have_text(was, use_inner_text=True)

    # A no says why; outside the page is away, and planning has the tables again.
    page.locator(".pk-outing[data-outing=''] .pk-card").click()
    page.locator("[data-try=R1]").click()
    expect(status).to_contain_text("DD does not go on R1: both would be inside ")
    page.locator("[data-mode-to=outside]").click()
    expect(page.locator(".pk-board")).not_to_be_visible()
    page.locator("[data-mode-to=planning]").click()
    expect(page.locator(".pk-tables .tabulator-row").first).to_be_visible()
    assert page_errors == []


def test_a_scenario_in_no_campaign_has_no_such_page(page, lab):
    Bench.open(page, lab, "alone", SMALL)
    expect(page.locator("[data-mode-to=campaign]")).to_be_hidden()
