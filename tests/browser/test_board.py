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


def test_thread_season_and_early_end_follow_a_move_that_is_not_kept(ridge, page, lab, page_errors):
    """By key alone: the views beside the board, a move while one is looked at, and back."""
    page.set_viewport_size({"width": 1366, "height": 768})
    scenario = pk.load_scenario(ridge / "r1")
    scenario.add_row("inhibits", inhibit="I1", title="Antenna <b>off</b>", owner="Ground", from_step="AA",
                     until_step="BB", needed_by="AA", lead_min=5).save()
    Bench.at(page, lab, "looks", ridge / "r1")
    page.locator("[data-mode-to=campaign]").click()
    page.locator(".pk-card[data-task=BB]").focus()
    look, words = page.locator(".pk-look"), page.locator(".pk-look-words")
    stands = look.locator("[role=status]")
    page.locator("[data-look=board]").focus()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("[data-look=end]")).to_be_focused()
    expect(page.locator(".pk-outings")).not_to_be_visible()
    expect(stands).to_have_text("The campaign as it stands on the board.")
    expect(words).to_contain_text("If work on R1 ends at PET")
    page.get_by_label("Work ends at, PET h:mm").fill("0:30")
    page.keyboard.press("Enter")
    expect(words).to_contain_text("If work on R1 ends at PET 0:30, both are inside by PET")
    expect(words).to_contain_text("Left for later: BB, AA: value 15, 1 of 2 required")
    page.get_by_label("Work ends at this minute").press("ArrowRight")
    expect(words).to_contain_text("ends at PET 0:31")

    # What is asked about counts here, too, and no more once it is dropped.
    page.locator("[data-try=R2]").click()
    expect(stands).to_have_text("The campaign as it stands on the board, BB on R2, not kept.")
    expect(words).to_contain_text("Left for later: AA: value 10, 1 of 1 required")
    page.locator("[data-act=board_drop]").click()
    expect(stands).to_have_text("The campaign as it stands on the board.")
    expect(words).to_contain_text("Left for later: BB, AA")

    page.locator("[data-look=thread]").click()
    expect(words).to_contain_text("inhibit I1 Antenna <b>off</b>")
    expect(look.locator(".pk-strip-bar").first).to_have_text("in force")
    page.locator("[data-look=season]").click()
    expect(look.locator(".pk-strip-bars > [data-fill=is]")).to_have_count(2)
    page.locator("[data-look=board]").click()
    expect(page.locator(".pk-card[data-task=BB]")).to_be_visible()
    expect(look).not_to_be_visible()
    assert page_errors == []
