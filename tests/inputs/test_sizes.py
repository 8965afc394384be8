"""Files of absurd sizes and shapes: a fault that says so, before much is built from them."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs import format as fmt
from planning_kit.inputs.log_format import LOG
from tests.inputs.small_folder import TABLES, write_small

STEPS = TABLES["steps"].splitlines()[0] + "\n"
PLACES = TABLES["places"].splitlines()[0] + "\n"
LOG_HEAD = "event_id,crew,step,event,at,corrects\n"
TABLE, TEXT = fmt.MAX_FILE_BYTES - 1_000, fmt.MAX_TEXT_BYTES - 1_000


def step(number: int, after: str = "") -> str:
    return f"n{number},swap,EV1,mid,,1,1,1,{after},,,light,,,,,,,,\n"


HOSTILE = [
    ("steps.csv", "x" * (TABLE + 1_001), "is larger than 50,000,000 bytes"),
    ("steps.csv", "x" * TABLE, "a line of more than"),
    ("steps.csv", STEPS + 'a,"' + "x" * (TABLE - 1_000) + '"', "a line of more than"),
    ("steps.csv", STEPS + 'a,"' + "x" * 200_000 + '"', "field larger than"),
    ("steps.csv", STEPS + "x" * (fmt.MAX_CELL_CHARS + 1), "more than 10,000 characters"),
    ("steps.csv", STEPS + "\n" * 1_000_000, "more than 100,000 lines"),
    ("steps.csv", STEPS + "\r" * 1_000_000, "more than 100,000 lines"),
    ("steps.csv", STEPS + "," * 10_000_000, "a line of more than"),
    ("steps.csv", STEPS + "," * 1_000_000 + "a", "more than 200 columns"),
    ("steps.csv", STEPS + "".join(map(step, range(fmt.MAX_STEPS + 1))), "more than 5,000 rows"),
    ("places.csv", PLACES + "p,,0,0,0,,no,no,\n" * (fmt.MAX_ROWS + 1), "more than 5,000 rows"),
    ("steps.csv", STEPS + step(1, " ".join(f"s{n}" for n in range(201))), "more than 200 names"),
    ("steps.csv", STEPS + "".join(step(n, f"q{n} r{n} t{n}") for n in range(4_000)), "there may be more"),
    ("scenario.toml", " " * (TEXT + 1_001), "is larger than 1,000,000 bytes"),
    ("scenario.toml", "x_a = " + "[" * TEXT, "nested too deeply"),
    ("scenario.toml", "x_a = " + "{a = " * (TEXT // 6), "nested too deeply"),
    ("scenario.toml", "x_" + "a." * (TEXT // 2 - 10) + "b = 1", "more than 200 dots"),
    ("scenario.toml", "x_" + "a . " * (TEXT // 4 - 10) + "b = 1", "more than 200 dots"),
    ("scenario.toml", "horizon_h = " + "9" * 900_000, "is not TOML"),
    ("scenario.toml", "horizon_h = 0x" + "F" * 900_000, "must be a finite number"),
    ("scenario.toml", "horizon_h = 1" + "0" * 4_000 + ".0", "must be a finite number"),
    ("orbit.json", '<!DOCTYPE a [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]><omm>&b;</omm>', "document type"),
    ("orbit.json", "<a>" * (TEXT // 3), "is not"),
    ("orbit.json", '{"a":' * (TEXT // 5), "nested too deeply"),
    ("orbit.json", "EPOCH = a" + " " * (TEXT - 10) + "b", "must be a UTC time"),
    ("orbit.json", "EPOCH = " + "[" * (TEXT - 10) + "]", "must be a UTC time"),
]


@pytest.mark.parametrize(("file", "text", "problem"), HOSTILE, ids=[f"{f} {p}" for f, _, p in HOSTILE])
def test_an_absurd_file_is_told(tmp_path: Path, file: str, text: str, problem: str) -> None:
    folder = write_small(tmp_path / "small")
    (folder / file).write_text(text, newline="")
    with pytest.raises(pk.ScenarioError) as refused:
        pk.load_scenario(folder)
    assert any(problem in told for told in refused.value.problems["problem"])
    assert len(refused.value.problems) <= 10_001


def test_as_many_steps_as_there_may_be_are_read(tmp_path: Path) -> None:
    folder = write_small(tmp_path / "small")
    for table in ("gaps", "inhibits"):
        (folder / f"{table}.csv").write_text(TABLES[table].splitlines()[0] + "\n")
    blank = "," * STEPS.count(",") + "\n"
    rows = "".join(step(n, f"n{n - 1}" if n else "") for n in range(fmt.MAX_STEPS))
    (folder / "steps.csv").write_text(STEPS + blank * 1_000 + rows)
    assert len(pk.load_scenario(folder).steps) == fmt.MAX_STEPS


LOGS = [
    ("x" * TABLE, "a line of more than"),
    (LOG_HEAD + "\n" * 1_000_000, "more than 100,000 lines"),
    (LOG_HEAD + '"\n' * 12_000, "there may be more"),
    (LOG_HEAD + "e,,A1,started,2031-09-03T07:30:00Z,\n" * (fmt.MAX_LOG_ROWS + 1), "more than 50,000 rows"),
]


@pytest.mark.parametrize(("text", "problem"), LOGS, ids=[problem for _, problem in LOGS])
def test_an_absurd_log_is_told(tmp_path: Path, text: str, problem: str) -> None:
    (tmp_path / "log.csv").write_text(text)
    with pytest.raises(pk.ScenarioError) as refused:
        pk.read_log(tmp_path)
    assert problem in refused.value.problems["problem"].iloc[-1]


LAST = "e,,A1,started,2031-09-03T07:30:00Z,\n"


@pytest.mark.parametrize(("full", "problem"), [
    (LOG_HEAD + LAST * (fmt.MAX_LOG_ROWS - 1), "more than 50,000 rows"),
    (LOG_HEAD + LAST + "\n" * (fmt.MAX_LINES - 2), "more than 100,000 lines"),
])
def test_a_log_takes_its_last_row_and_none_after_it(tmp_path: Path, full: str, problem: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(full)
    pk.append_log(path, "skipped", "B1", "2031-09-03T07:40:00Z")
    before = path.read_bytes()
    assert pk.read_log(path)["step"].iloc[-1] == "B1"
    with pytest.raises(pk.ScenarioError, match=rf"was not logged: the log is full.*{problem}"):
        pk.append_log(path, "skipped", "C1", "2031-09-03T07:40:00Z")
    assert path.read_bytes() == before


def test_a_log_grows_to_its_last_byte_and_not_beyond(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = tmp_path / "first.csv", tmp_path / "second.csv"
    for path in (first, second):
        pk.append_log(path, "skipped", "B1", "2031-09-03T07:40:00Z")
    pk.append_log(first, "skipped", "C1", "2031-09-03T07:40:00Z")
    monkeypatch.setattr(fmt, "MAX_FILE_BYTES", first.stat().st_size)
    assert pk.append_log(second, "skipped", "C1", "2031-09-03T07:40:00Z") == "e2"
    for path in (first, second):
        with pytest.raises(pk.ScenarioError, match=r"was not logged: the log is full.* bytes"):
            pk.append_log(path, "skipped", "Z1", "2031-09-03T07:40:00Z")
        assert pk.read_log(path)["step"].tolist() == ["B1", "C1"]


def test_a_note_too_long_for_a_cell_is_refused(tmp_path: Path) -> None:
    pk.append_log(tmp_path, "skipped", "B1", "2031-09-03T07:40:00Z", note="," * fmt.MAX_CELL_CHARS)
    with pytest.raises(pk.ScenarioError, match="at most 10,000 characters"):
        pk.append_log(tmp_path, "skipped", "C1", "2031-09-03T07:40:00Z", note="n" * 200_000)
    assert pk.read_log(tmp_path)["step"].tolist() == ["B1"]


@pytest.fixture(scope="module")
def outing() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(Path(__file__).parents[2] / "scenarios" / "small-outing"))


def test_a_log_given_as_a_table_has_the_same_limit(outing: pk.Plan) -> None:
    row = {"step": "A1", "event": "started", "at": "0:01"}
    with pytest.raises(pk.ScenarioError, match=f"more than {fmt.most_rows(LOG.name):,} rows"):
        outing.retime(pd.DataFrame([row] * (fmt.MAX_LOG_ROWS + 1)))


def test_a_long_chain_of_corrections_is_read(tmp_path: Path, outing: pk.Plan) -> None:
    # Each corrects the one before: the last says when A1 began.
    rows = [f"e{n},,,correct,2031-09-03T07:{n % 60:02d}:00Z,e{n - 1}\n" for n in range(1, 3_000)]
    rows.append("e3000,,,correct,2031-09-03T07:31:00Z,e2999\n")
    (tmp_path / "log.csv").write_text(LOG_HEAD + "e0,,A1,started,2031-09-03T07:30:00Z,\n" + "".join(rows))
    retimed = outing.retime(tmp_path)
    assert retimed.timed.starts[retimed.timed.position("A1")] == 1.0
