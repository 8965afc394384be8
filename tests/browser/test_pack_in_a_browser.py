"""The pack's page in a real browser: accessible by axe-core, offline, and deaf to hostile text."""

from __future__ import annotations

import io

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe

import planning_kit as pk
from planning_kit.explore.comparison import compare_revisions
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.content import CAUTION
from planning_kit.show.pack.html_page import html_page
from planning_kit.show.pack.pdf import pdf_bytes
from tests.browser.conftest import ROOT
from tests.show.packs import hostile_scenario


@pytest.fixture(scope="module", params=["demo", "hostile"])
def path(request, tmp_path_factory, demo_plan, small_plan):
    plan = demo_plan if request.param == "demo" else pk.time_plan(hostile_scenario())
    before = demo_plan.what_if(stretch={"RG2": "+2"}) if request.param == "demo" else small_plan
    revision = compare_revisions(before.timed, plan.timed)
    file = tmp_path_factory.mktemp(request.param) / "review.html"
    file.write_text(html_page(assemble(plan.timed, plan.odds(samples=100), revision)), encoding="utf-8")
    return file


def test_axe_finds_nothing(page, path, asked_outside, page_errors):
    page.on("dialog", lambda dialog: page_errors.append(dialog.message))
    page.goto(path.as_uri())
    found = Axe().run(page)
    assert found.response["violations"] == [], found.generate_report()
    assert len(found.response["passes"]) > 15, "axe did look"
    assert asked_outside == []
    assert page_errors == []


@pytest.mark.parametrize("folder", ["scenarios/tern-station", "scenarios/small-outing",
                                    "tests/data/curlew-deck", "tests/data/orders-heron"])
def test_the_page_prints_on_no_more_pages_than_the_pdf(page, folder, tmp_path):
    """55 against 32 before; measured as the browser prints."""
    pack = assemble(pk.time_plan(pk.load_scenario(ROOT / folder)).timed, "not asked for", None)
    file = tmp_path / "review.html"
    file.write_text(html_page(pack), encoding="utf-8")
    page.goto(file.as_uri())
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    assert len(printed.pages) <= len(pypdf.PdfReader(io.BytesIO(pdf_bytes(pack))).pages)
    assert len(printed.pages) > 5, "it did print"


def test_every_printed_page_says_so(page, path):
    page.goto(path.as_uri())
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    for number, sheet in enumerate(printed.pages, start=1):
        text = "".join(sheet.extract_text().split())
        assert "".join(CAUTION.split()) in text, number
        assert f"{number}/{len(printed.pages)}" in text
        assert float(sheet.mediabox.width) > float(sheet.mediabox.height)
