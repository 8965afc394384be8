"""A copied block in a spreadsheet that we did not write: LibreOffice opens what is on the clipboard."""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet
from playwright.sync_api import Browser, Page

from tests.browser.benches import DEMO, Bench
from tests.browser.conftest import Lab
from tests.browser.test_scripts_in_a_browser import SITE, serve
from tests.conftest import TESTS

SOFFICE = shutil.which("soffice")
# An id like a date, one with zeros, what would be computed, markup, lines, quotes, nothing.
BLOCK = [["step", "title", "12.5"], ["3-4", "007", "=1+1"], ["<b>x</b>", "one\ntwo", "-7"],
         ["A1", 'say "go"', ""]]
FILTERS = {"html": "HTML (StarCalc)", "tsv": "Text - txt - csv (StarCalc):9,34,76,1,1/2/2/2/3/2"}


IS_MISSING = pytest.mark.skipif(
    SOFFICE is None, reason="LibreOffice (Debian: libreoffice-calc) is not installed")


def opened(words: str, kind: str, folder: Path) -> Worksheet:
    """The sheet that LibreOffice makes of a block."""
    source = folder / f"block.{kind}"
    source.write_text(words, encoding="utf-8")
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    command = [str(SOFFICE), profile, "--headless", f"--infilter={FILTERS[kind]}", "--convert-to", "xlsx"]
    subprocess.run([*command, "--outdir", str(folder), str(source)], check=True, capture_output=True,
                   timeout=300)
    sheet = openpyxl.load_workbook(folder / "block.xlsx").active
    assert isinstance(sheet, Worksheet)
    return sheet


@IS_MISSING
@pytest.mark.parametrize("kind", FILTERS)
def test_a_copied_block_stands_in_its_cells(kind: str, browser: Browser, tmp_path: Path) -> None:
    page = browser.new_page()
    page.route(f"{SITE}/**", serve)
    page.goto(f"{SITE}/")
    words = page.evaluate("""async ([block, make]) => (await import("/static/table_rows.js"))[make](block)""",
                          [BLOCK, {"html": "blockTable", "tsv": "blockText"}[kind]])
    page.close()
    sheet = opened(words, kind, tmp_path)
    told = [[cell.value for cell in row] for row in sheet.iter_rows(max_row=4, max_col=3)]
    assert (sheet.max_row, sheet.max_column) == (4, 3)
    if kind == "html":  # what a spreadsheet takes first: text is text, and nothing is computed
        assert told == [["step", "title", 12.5], ["3-4", "007", "=1+1"], ["<b>x</b>", "one\ntwo", -7],
                        ["A1", 'say "go"', None]]
        assert (sheet["C2"].data_type, sheet["C1"].data_type) == ("s", "n")
    else:  # plain text: each cell in its place; what becomes of 3-4, 007, =1+1 is the spreadsheet's
        assert [row[:2] for row in (told[0], *told[2:])] == [["step", "title"], ["<b>x</b>", "one\ntwo"],
                                                            ["A1", 'say "go"']]


@IS_MISSING
@pytest.mark.parametrize("scenario", [DEMO, TESTS / "data" / "orders-whimbrel"], ids=lambda each: each.name)
def test_cells_copied_by_the_keys_are_what_is_seen_and_go_to_a_spreadsheet_and_back(
        scenario: Path, page: Page, lab: Lab, tmp_path: Path) -> None:
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    bench = Bench.open(page, lab, f"copy-{scenario.name}", scenario)
    columns = ["step", "task", "crew", "place", "title", "minutes_low", "minutes_likely"]
    seen = [list(row) for row in zip(*(bench.order(column)[:4] for column in columns), strict=True)]
    bench.cell(seen[0][0], "step").click()
    for key in ["ArrowRight"] * (len(columns) - 1) + ["ArrowDown"] * 3:
        page.keyboard.press(f"Shift+{key}")
    page.keyboard.press("Control+c")
    kinds = page.evaluate("""async () => { const [item] = await navigator.clipboard.read();
        const text = async kind => (await item.getType(kind)).text();
        return { tsv: await text('text/plain'), html: await text('text/html') }; }""")
    assert list(csv.reader(io.StringIO(kinds["tsv"]), delimiter="\t")) == seen
    rows = list(opened(kinds["html"], "html", tmp_path).iter_rows(values_only=True))
    assert [["" if cell is None else str(cell).replace(".0", "") for cell in row] for row in rows] == seen

    # Back again by the keys, a row lower: three rows are what the first three were.
    bench.cell(seen[1][0], "minutes_low").click()
    page.evaluate("text => navigator.clipboard.writeText(text)", "\n".join(
        "\t".join(row[5:]) for row in seen[:3]))
    page.keyboard.press("Control+v")
    bench.settle()
    assert list(zip(bench.order("minutes_low")[1:4], bench.order("minutes_likely")[1:4], strict=True)) == [
        tuple(row[5:]) for row in seen[:3]]
