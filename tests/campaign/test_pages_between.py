"""The pages of a pack from outing to outing: there where there is something, and nowhere else."""

from __future__ import annotations

import html
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.campaign.campaign import around_of
from planning_kit.campaign.end_state import EndState
from planning_kit.inputs.raw import csv_row
from planning_kit.inputs.shown_text import one_line
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.html_page import html_page
from tests.attack.hostile import PAYLOADS
from tests.campaign.made_campaign import write_campaign
from tests.campaign.test_campaign_checks import from_nothing


@pytest.mark.parametrize("make", [write_campaign, from_nothing])
def test_each_outing_has_the_pages_that_it_needs(tmp_path: Path, make: object) -> None:
    campaign = pk.load_campaign(make(tmp_path / "c"))  # type: ignore[operator]
    first, second = campaign.ids
    end = campaign.end_state(first)
    pages = [section.key for section in assemble(campaign.timed_plan(second), "", None, (end, None)).sections]
    assert ("carried" in pages, "left" in pages) == (True, False)
    pages = [section.key for section in assemble(campaign.timed_plan(first), "", None, (None, end)).sections]
    assert ("carried" in pages, "left" in pages) == (False, True)
    alone = [section.key for section in assemble(campaign.timed_plan(first), "", None).sections]
    assert not {"carried", "left"} & {*alone}
    odds = campaign.plan(second).odds(100, progress=None)
    told = campaign.write_pack(second, tmp_path / "pack", chances=odds)
    assert "review.html" in set(told["file"])
    page = (tmp_path / "pack" / "review.html").read_text(encoding="utf-8")
    assert "Carried over from before" in page
    outside = next(each.item.item for each in end.items if each.is_outside)
    assert outside in page


def test_a_page_is_left_out_where_nothing_is_left(tmp_path: Path) -> None:
    campaign = pk.load_campaign(from_nothing(tmp_path / "c"))
    idle = campaign.plan("A").what_if(drop=["A1"]).end_state()
    pages = [section.key for section in assemble(campaign.timed_plan("B"), "", None, (idle, None)).sections]
    assert "carried" not in pages


def test_a_plan_of_an_outing_in_a_campaign_has_the_pages_by_itself(tmp_path: Path) -> None:
    """As the workbench and a plan write it; elsewhere, and of a campaign that cannot be read, it says so."""
    folder = from_nothing(tmp_path / "c")
    plan = pk.time_plan(pk.load_scenario(folder / "b"))
    before, after = around_of(plan.timed)
    assert isinstance(before, EndState)
    assert after is None
    assert {"box", "lid"} <= {*before.left["id"]}
    chances = plan.odds(100, progress=None)
    plan.write_pack(tmp_path / "pack", chances=chances)
    page = (tmp_path / "pack" / "review.html").read_text(encoding="utf-8")
    assert "Carried over from before" in page
    first = pk.time_plan(pk.load_scenario(folder / "a")).what_if(drop=["A1"])
    assert around_of(first.timed)[1].left.empty, "of the plan that is asked, not of the one on disk"  # type: ignore[union-attr]
    whole = pk.time_plan(plan.scenario.save(tmp_path / "alone"))
    assert around_of(whole.timed) == (None, None)
    (folder / "backlog.csv").write_text("task,title\nFIT,<img src=x>\n", encoding="utf-8")
    told = around_of(plan.timed)
    assert "is not known, the campaign cannot be read or timed" in str(told)
    pack = assemble(plan.timed, "", None, told)
    assert next(each for each in pack.sections if each.key == "carried").words == (told,)
    assert html_page(pack)


@pytest.mark.parametrize("text", [text for text in PAYLOADS if "<" in text or "$" in text])
def test_hostile_words_of_a_campaign_are_words_on_board_and_pages(tmp_path: Path, text: str) -> None:
    folder = from_nothing(tmp_path / "c")
    campaign = pk.load_campaign(folder)
    for outing in campaign.ids:
        scenario = campaign.scenario(outing).edit_row("hardware", "box", title=text)
        scenario.edit_row("states", "lid", title=text).save()
    (folder / "backlog.csv").write_text("task,title,need,value,crew,minutes_likely,trained\n" + "".join(
        f"{csv_row([task, text, 'required', '9', 'EV1', '30', text.replace(';', ',')])}\n"
        for task in ("FIT", "PLUG", "NEW")), encoding="utf-8")
    campaign = pk.load_campaign(folder)
    pack = assemble(campaign.timed_plan("B"), "", None, campaign.around("B"))
    pages = [html_page(pack), campaign.findings()._repr_html_(), campaign.board_table._repr_html_(),
             *(str(chart.to_plotly_json()["data"]) for chart in (campaign.board(), campaign.thread("box")))]
    for page in pages:
        assert not any(bad in page for bad in ("<img src=x", "<script>window", "<svg onload", "javascript:'"))
    assert one_line(text) in html.unescape(pages[0]) or "\u200b" in pages[0]
