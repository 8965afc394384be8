"""The pages of a pack from outing to outing: there where there is something, and nowhere else."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.show.pack.assemble import assemble
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
