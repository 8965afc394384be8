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
    small = pk.load_scenario(SCENARIOS / "small-outing")
    path = small.write_workbook(tmp_path_factory.mktemp("book") / "a.xlsx")
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


def with_rows(rows: str) -> Callable[[Parts], Parts]:
    """More rows at the end of the steps."""
    return replaced(STEPS, "</sheetData>", f"{rows}</sheetData>")


def row(at: int, text: str = "s", column: str = "A") -> str:
    return f'<row r="{at}"><c r="{column}{at}" t="inlineStr"><is><t>{text}</t></is></c></row>'


def cell(inner: str, kind: str = "n") -> str:
    return f'<row r="90"><c r="A90" t="{kind}">{inner}</c></row>'


def with_a_lying_dimension(parts: Parts) -> Parts:
    lying = re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:B2"', parts[STEPS])
    assert lying != parts[STEPS]
    return with_rows(row(90))({**parts, STEPS: lying})


OUTSIDE = "<!DOCTYPE a [<!ENTITY b SYSTEM 'file:///etc/passwd'>]>"
SHEET = '<sheet name="x" sheetId="99" state="visible"/>'
FORMULA = "is a formula, or its error, and none is computed here; put its value in its place (cell steps!A90)"
HOSTILE: dict[str, tuple[Callable[[Parts], Parts], str]] = {
    "a part of 60 MB": (added("xl/media/a.bin", bytes(60_000_000)), "bytes unpacked"),
    "a sheet of 60 MB": (added("xl/worksheets/b.xml", b" " * 60_000_000), "bytes unpacked"),
    "600 parts": (lambda parts: parts | {f"x/{at}.xml": b"<a/>" for at in range(600)}, "more than 500 parts"),
    "2 MB of words": (replaced("xl/workbook.xml", "<sheets>", f"<!--{'a' * 2_000_000}--><sheets>"),
                      "too large"),
    "60 sheets": (replaced("xl/workbook.xml", "</sheets>", f"{SHEET * 60}</sheets>"), "sheets"),
    "cells in a row": (with_rows(f'<row r="90">{"<c/>" * 30_000}</row>'), "cells in a row"),
    "formats": (replaced("xl/styles.xml", "<cellXfs", f"<dxfs>{'<dxf/>' * 60_000}</dxfs><cellXfs"),
                "formats"),
    "elements": (added("xl/worksheets/c.xml", b"<row><c/>" * 2_600_000), "too large"),
    "6,000 rows": (with_rows("".join(map(row, range(100, 6_100)))), "more than 5,000 rows"),
    "a row at the end of the world": (with_rows(row(1_048_576)), "rows"),
    "a column at the end of the world": (with_rows(row(90, column="XFD")), "200 columns"),
    "a cell beyond the header": (with_rows(row(90, column="CA")), "column without a name (cell steps!CA90)"),
    "a cell that the dimension hides": (with_a_lying_dimension, "(cell steps!B90)"),
    "a long text": (with_rows(row(90, "s" * 20_000)), "more than 10,000 characters, or one no text may hold "
                    "(cell steps!A90)"),
    "a document type": (replaced("xl/workbook.xml", "<workbook", "<!DOCTYPE a [<!ENTITY b 'c'>]><workbook"),
                        "document type"),
    "an outside entity": (replaced(STEPS, "<worksheet", f"{OUTSIDE}<worksheet"), "document type"),
    "UTF-16": (lambda parts: {**parts, STEPS: parts[STEPS].decode().encode("utf-16")}, "not UTF-8"),
    "macros": (added("xl/vbaProject.bin", b"a"), "macros"),
    "a formula": (with_rows(cell("<f>1+1</f><v>2</v>")), FORMULA),
    "a program called": (with_rows(cell("<f>cmd|' /C calc'!A0</f>")), FORMULA),
    "no number": (with_rows(cell("<v>1e999</v>")), ""),
    "a text that there is not": (with_rows(cell("<v>999999</v>", "s")), "is damaged"),
    "half a character": (with_rows(row(90, "_xD800_")), "or one no text may hold (cell steps!A90)"),
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
    formats = "http://schemas.openxmlformats.org"
    link = (f'<Relationships xmlns="{formats}/package/2006/relationships"><Relationship Id="rId1" '
            f'Type="{formats}/officeDocument/2006/relationships/externalLinkPath" '
            'Target="http://127.0.0.1:9/a.xlsx" TargetMode="External"/></Relationships>').encode()
    path = tmp_path / "b.xlsx"
    path.write_bytes(packed(parts | {"xl/externalLinks/externalLink1.xml": b"<externalLink/>",
                                     "xl/externalLinks/_rels/externalLink1.xml.rels": link}))
    assert pk.load_scenario(path) == pk.load_scenario(SCENARIOS / "small-outing")


@pytest.mark.parametrize(("data", "problem"), [
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1000), "encrypted"), (b"", "no workbook"),
    (b"PK\x03\x04", "no workbook"), (b"a,b\n1,2\n", "no workbook"),
    (b"PK\x05\x06" + bytes(18), "no workbook")])
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
            part[at:at + dice.randint(0, 3)] = dice.choice(
                [b"", b"<", b'"', b"9", b"-1", b"\xff", b"&", b"AAAA", b"</c>"])
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
    texts = ["=1+1", "+1+cmd|' /C calc'!A0", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "＝1+1",
             '=HYPERLINK("http://a")']
    hostile = small.with_table("steps", small.steps.assign(x_a=texts[:len(small.steps)]))
    path = hostile.write_workbook(tmp_path / "a.xlsx")
    cells = [cell for sheet in openpyxl.load_workbook(path) for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert pk.load_scenario(path) == hostile
