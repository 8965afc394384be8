"""A copied block in a spreadsheet that we did not write: LibreOffice opens what is on the clipboard."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import Browser

from tests.browser.test_scripts_in_a_browser import SITE, serve

SOFFICE = shutil.which("soffice")
# An id like a date, one with zeros, what would be computed, markup, lines, quotes, nothing.
BLOCK = [["step", "title", "12.5"], ["3-4", "007", "=1+1"], ["<b>x</b>", "one\ntwo", "-7"],
         ["A1", 'say "go"', ""]]
FILTERS = {"html": "HTML (StarCalc)", "tsv": "Text - txt - csv (StarCalc):9,34,76,1,1/2/2/2/3/2"}


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (Debian: libreoffice-calc) is not installed")
@pytest.mark.parametrize("kind", FILTERS)
def test_a_copied_block_stands_in_its_cells(kind: str, browser: Browser, tmp_path: Path) -> None:
    page = browser.new_page()
    page.route(f"{SITE}/**", serve)
    page.goto(f"{SITE}/")
    words = page.evaluate("""async ([block, make]) => (await import("/static/table_rows.js"))[make](block)""",
                          [BLOCK, {"html": "blockTable", "tsv": "blockText"}[kind]])
    page.close()
    source = tmp_path / f"block.{kind}"
    source.write_text(words, encoding="utf-8")
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    command = [str(SOFFICE), profile, "--headless", f"--infilter={FILTERS[kind]}", "--convert-to", "xlsx"]
    subprocess.run([*command, "--outdir", str(tmp_path), str(source)], check=True, capture_output=True,
                   timeout=300)
    sheet = openpyxl.load_workbook(tmp_path / "block.xlsx").active
    assert sheet is not None
    told = [[cell.value for cell in row] for row in sheet.iter_rows(max_row=4, max_col=3)]
    assert (sheet.max_row, sheet.max_column) == (4, 3)
    if kind == "html":  # what a spreadsheet takes first: text is text, and nothing is computed
        assert told == [["step", "title", 12.5], ["3-4", "007", "=1+1"], ["<b>x</b>", "one\ntwo", -7],
                        ["A1", 'say "go"', None]]
        assert (sheet["C2"].data_type, sheet["C1"].data_type) == ("s", "n")
    else:  # plain text: each cell in its place; what becomes of 3-4, 007, =1+1 is the spreadsheet's
        assert [row[:2] for row in (told[0], *told[2:])] == [["step", "title"], ["<b>x</b>", "one\ntwo"],
                                                            ["A1", 'say "go"']]
