"""CSV as RFC 4180 has it, written and read; the outside judge of what was written is pandas' own reader."""

from __future__ import annotations

import io

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from planning_kit.inputs.faults import Faults
from planning_kit.inputs.format import TABLE_BY_NAME
from planning_kit.inputs.raw import RawTable, cell_text, read_table, table_bytes

Cells = list[tuple[str, str]]

ACTORS = TABLE_BY_NAME["actors"]
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
ROWS = st.lists(st.tuples(TEXTS, TEXTS).filter(any), max_size=5)


def written(cells: Cells, newline: str, *, has_bom: bool) -> bytes:
    numbers = tuple(range(2, len(cells) + 2))
    return table_bytes(RawTable("actors", ("actor", "title"), tuple(cells), numbers, None, newline, has_bom))


@given(ROWS, st.sampled_from(["\n", "\r\n"]), st.booleans())
def test_any_text_is_read_as_it_was_written(cells: Cells, newline: str, has_bom: bool) -> None:
    data = written(cells, newline, has_bom=has_bom)
    faults = Faults()
    table = read_table(ACTORS, data, faults)
    assert not faults.rows
    assert table is not None
    assert table.header == ("actor", "title")
    assert list(table.rows) == cells
    assert table.row_numbers == tuple(range(2, len(cells) + 2))
    assert table.has_bom == has_bom
    assert table_bytes(table) == data


def by_another_reader(data: bytes) -> Cells:
    frame = pd.read_csv(io.BytesIO(data), dtype="str", keep_default_na=False, skip_blank_lines=False)
    return list(frame.itertuples(index=False, name=None))


@given(ROWS, st.sampled_from(["\n", "\r\n"]))
def test_another_reader_reads_the_same_less_the_marks(cells: Cells, newline: str) -> None:
    seen = by_another_reader(written(cells, newline, has_bom=False))
    assert [tuple(map(cell_text, row)) for row in seen] == cells


# How a formula begins: OWASP, "CSV Injection" (from memory), and the full-width forms that it names.
BEGINNINGS = ["=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20"]


@given(st.sampled_from(BEGINNINGS), TEXTS, st.integers(0, 3))
def test_no_cell_of_a_file_begins_like_a_formula_unless_it_is_a_number(begin: str, rest: str,
                                                                      marks: int) -> None:
    text = "'" * marks + begin + rest
    ((cell, _),) = by_another_reader(written([(text, "x")], "\n", has_bom=False))
    if cell[:1] in BEGINNINGS:
        float(cell)
    table = read_table(ACTORS, written([(text, "x")], "\n", has_bom=False), Faults())
    assert table is not None
    assert table.rows == ((text, "x"),)


def test_a_formula_of_another_hand_is_read_as_text_and_written_with_a_mark() -> None:
    data = b"actor,title\r\na,=1+1\r\nb,-3\r\nc,'quoted'\r\n"
    table = read_table(ACTORS, data, Faults())
    assert table is not None
    assert [title for _, title in table.rows] == ["=1+1", "-3", "'quoted'"]
    assert table_bytes(table) == data.replace(b"=1+1", b"'=1+1")


def test_cells_that_need_it_are_quoted() -> None:
    # the examples of RFC 4180, section 2, rules 5 to 7: quotes around commas and line breaks, quotes doubled
    assert written([("a", 'b"c'), ("d,e", "f\r\ng"), ("h i", "")], "\r\n", has_bom=False) == (
        b'actor,title\r\na,"b""c"\r\n"d,e","f\r\ng"\r\nh i,\r\n')
