"""Workbooks of strangers: too large, too deep, damaged, encrypted, with formulas, links and macros."""

from __future__ import annotations

import io
import random
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

import planning_kit as pk
from planning_kit.inputs import format as fmt
from tests.conftest import SCENARIOS

Parts = dict[str, bytes]
STEPS = "xl/worksheets/sheet10.xml"
DAMAGED = 100


@pytest.fixture(scope="module")
def parts(tmp_path_factory: pytest.TempPathFactory) -> Parts:
    path = pk.load_scenario(SCENARIOS / "small-outing").write_workbook(tmp_path_factory.mktemp("book") / "a.xlsx")
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(parts: Parts) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return out.getvalue()


def replaced(name: str, old: str, new: str) -> Callable[[Parts], Parts]:
    def change(parts: Parts) -> Parts:
        assert old.encode() in parts[name], (name, old)
        return {**parts, name: parts[name].replace(old.encode(), new.encode(), 1)}
    return change


def added(name: str, data: bytes) -> Callable[[Parts], Parts]:
    return lambda parts: {**parts, name: data}


ROW = '<row r="{}"><c r="A{}" t="inlineStr"><is><t>s</t></is></c></row>'
HOSTILE: dict[str, tuple[Callable[[Parts], Parts], str]] = {
    "a part that unpacks to 60 MB": (added("xl/media/a.bin", bytes(60_000_000)), "bytes unpacked"),
    "a sheet that unpacks to 60 MB": (added("xl/worksheets/b.xml", b" " * 60_000_000), "bytes unpacked"),
    "600 parts": (lambda parts: parts | {f"x/{at}.xml": b"<a/>" for at in range(600)}, "more than 500 parts"),
    "settings of the book of 2 MB": (replaced("xl/workbook.xml", "<sheets>", f"<!--{'a' * 2_000_000}--><sheets>"),
                                     "too large"),
    "60 sheets": (replaced("xl/workbook.xml", "</sheets>", '<sheet name="x" sheetId="99" state="visible"/>' * 60
                           + "</sheets>"), "sheets"),
    "cells without end in one row": (replaced(STEPS, "</sheetData>", f'<row r="90">{"<c/>" * 30_000}</row></sheetData>'),
                                     "cells in a row"),
    "formats without end": (replaced("xl/styles.xml", "<cellXfs", f'<dxfs>{"<dxf/>" * 60_000}</dxfs><cellXfs'),
                            "formats"),
    "elements without end": (added("xl/worksheets/c.xml", b"<row><c/>" * 2_600_000), "too large"),
    "6,000 rows": (replaced(STEPS, "</sheetData>", "".join(ROW.format(at, at) for at in range(100, 6_100))
                            + "</sheetData>"), "more than 5,000 rows"),
    "a row at the end of the world": (replaced(STEPS, "</sheetData>", ROW.format(1_048_576, 1_048_576) + "</sheetData>"),
                                      "rows"),
    "a column at the end of the world": (replaced(STEPS, "</sheetData>", ROW.format(90, 90).replace('"A90"', '"XFD90"')
                                                  + "</sheetData>"), "200 columns"),
    "a cell beyond the header": (replaced(STEPS, "</sheetData>", ROW.format(90, 90).replace('"A90"', '"CA90"')
                                          + "</sheetData>"), "column without a name (cell steps!CA90)"),
    "a cell that the dimension hides": (lambda parts: replaced(STEPS, "</sheetData>", ROW.format(90, 90)
                                        + "</sheetData>")({**parts, STEPS: re.sub(
                                            rb'<dimension ref="[^"]*"', b'<dimension ref="A1:B2"', parts[STEPS])}),
                                        "(cell steps!B90)"),
    "a text of 20,000 characters": (replaced(STEPS, "</sheetData>", ROW.format(90, 90).replace(">s<", f">{'s' * 20_000}<")
                                             + "</sheetData>"), "more than 10,000 characters, or one that no text may hold (cell steps!A90)"),
    "a document type": (replaced("xl/workbook.xml", "<workbook", "<!DOCTYPE a [<!ENTITY b 'c'>]><workbook"),
                        "document type"),
    "an outside entity in a sheet": (replaced(STEPS, "<worksheet", "<!DOCTYPE a [<!ENTITY b SYSTEM 'file:///etc/passwd'>]>"
                                              "<worksheet"), "document type"),
    "UTF-16": (lambda parts: {**parts, STEPS: parts[STEPS].decode().encode("utf-16")}, "not UTF-8"),
    "macros": (added("xl/vbaProject.bin", b"a"), "macros"),
    "a formula": (replaced(STEPS, "</sheetData>", '<row r="90"><c r="A90"><f>1+1</f><v>2</v></c></row></sheetData>'),
                  "is a formula, or its error, and none is computed here; put its value in its place (cell steps!A90)"),
    "a program called": (replaced(STEPS, "</sheetData>", '<row r="90"><c r="A90"><f>cmd|\' /C calc\'!A0</f></c></row>'
                                  "</sheetData>"), "(cell steps!A90)"),
    "no number": (replaced(STEPS, "</sheetData>", '<row r="90"><c r="A90"><v>1e999</v></c></row></sheetData>'), ""),
    "a text that there is not": (replaced(STEPS, "</sheetData>", '<row r="90"><c r="A90" t="s"><v>999999</v></c></row>'
                                          "</sheetData>"), "is damaged"),
    "half a character": (replaced(STEPS, "</sheetData>", ROW.format(90, 90).replace(">s<", ">_xD800_<") + "</sheetData>"),
                         "no text may hold (cell steps!A90)"),
    "no parts": (lambda parts: {}, "is damaged"),
    "nonsense for styles": (added("xl/styles.xml", b"<a"), "is damaged"),
}


@pytest.mark.parametrize("attack", HOSTILE)
def test_a_hostile_workbook_is_told_and_nothing_else(attack: str, parts: Parts, tmp_path: Path) -> None:
    change, problem = HOSTILE[attack]
    (tmp_path / "b.xlsx").write_bytes(packed(change(parts)))
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(tmp_path / "b.xlsx")
    assert any(problem in each for each in caught.value.problems["problem"]), caught.value


def test_links_out_of_the_workbook_are_not_followed(parts: Parts, tmp_path: Path) -> None:
    link = b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" ' \
        b'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/externalLinkPath" ' \
        b'Target="http://127.0.0.1:9/a.xlsx" TargetMode="External"/></Relationships>'
    path = tmp_path / "b.xlsx"
    path.write_bytes(packed(parts | {"xl/externalLinks/externalLink1.xml": b"<externalLink/>",
                                     "xl/externalLinks/_rels/externalLink1.xml.rels": link}))
    assert pk.load_scenario(path) == pk.load_scenario(SCENARIOS / "small-outing")


@pytest.mark.parametrize(("data", "problem"), [
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1000), "encrypted"), (b"", "no workbook"), (b"PK\x03\x04", "no workbook"),
    (b"a,b\n1,2\n", "no workbook"), (b"PK\x05\x06" + bytes(18), "no workbook")])
def test_what_is_no_workbook(data: bytes, problem: str, tmp_path: Path) -> None:
    (tmp_path / "b.xlsx").write_bytes(data)
    with pytest.raises(pk.ScenarioError, match=problem) as caught:
        pk.load_scenario(tmp_path / "b.xlsx")
    assert len(caught.value.problems) == 1


def test_an_encrypted_part_and_a_huge_file(parts: Parts, tmp_path: Path) -> None:
    data = bytearray(packed(parts))
    at = data.index(b"PK\x01\x02")
    data[at + 8] |= 1  # the flag in the directory
    path = tmp_path / "b.xlsx"
    path.write_bytes(bytes(data))
    with pytest.raises(pk.ScenarioError, match="encrypted"):
        pk.load_scenario(path)
    with path.open("wb") as stream:
        stream.truncate(fmt.MAX_FILE_BYTES + 1)
    with pytest.raises(pk.ScenarioError, match="larger than"):
        pk.load_scenario(path)


def test_damaged_workbooks_are_told_or_read(parts: Parts, tmp_path: Path) -> None:
    dice, path, told = random.Random(20310903), tmp_path / "b.xlsx", 0
    for _ in range(DAMAGED):
        name = dice.choice([each for each in parts if "comments" not in each and "drawings" not in each])
        part = bytearray(parts[name])
        for _ in range(dice.randint(1, 4)):
            at = dice.randrange(len(part))
            part[at:at + dice.randint(0, 3)] = dice.choice([b"", b"<", b'"', b"9", b"-1", b"\xff", b"&", b"AAAA", b"</c>"])
        whole = bytearray(packed({**parts, name: bytes(part)}))
        if dice.random() < 0.2:
            whole[dice.randrange(len(whole))] ^= 0xFF
        path.write_bytes(bytes(whole))
        try:
            pk.load_scenario(path)
        except pk.ScenarioError as fault:
            told += len(fault.problems) > 0
    assert told > DAMAGED / 3


def test_no_cell_of_a_hostile_scenario_is_computed(tmp_path: Path) -> None:
    small = pk.load_scenario(SCENARIOS / "small-outing")
    texts = ["=1+1", "+1+cmd|' /C calc'!A0", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "＝1+1", '=HYPERLINK("http://a")']
    hostile = small.with_table("steps", small.steps.assign(title=small.steps.title, x_a=texts[:len(small.steps)]))
    path = hostile.write_workbook(tmp_path / "a.xlsx")
    cells = [cell for sheet in openpyxl.load_workbook(path) for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert pk.load_scenario(path) == hostile
