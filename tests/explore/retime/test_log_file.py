"""The file of a log: columns that it lacks, cut lines, what is no plain file, and links to it."""

from __future__ import annotations

import os
from pathlib import Path
from threading import Thread

import pytest

import planning_kit as pk
from planning_kit.inputs import save
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log import log_rows
from tests.explore.retime.test_log import DAY

AT = DAY + "07:40:00Z"


def rows_and_cut(path: Path) -> tuple[list[str], list[object]]:
    """The steps of the rows that stand, and the row numbers of the faults."""
    faults = Faults()
    steps = [row.text("step") for row in log_rows(path, faults)]
    return steps, [fault["row"] for fault in faults.rows]


# --- columns ------------------------------------------------------------------------------------------------


def test_nothing_given_is_lost_for_want_of_a_column(tmp_path: Path, small_plan: pk.Plan) -> None:
    path = tmp_path / "log.csv"
    path.write_text("event_id,logged_at,crew,step,event,at,metabolic_w,by,corrects,note\n"
                    f"e1,,,B1,started,{DAY}07:30:00Z,,,,\n")
    before = path.read_bytes()
    with pytest.raises(pk.ScenarioError, match="add remaining_min to the header") as caught:
        pk.append_log(path, "partly", "B1", at="0:15", remaining_min=60, plan=small_plan)
    assert caught.value.problems[["row", "column"]].to_numpy().tolist() == [[1, "remaining_min"]]
    assert path.read_bytes() == before


def test_every_column_that_is_wanted_is_named(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("event_id,step,event,at\n")
    with pytest.raises(pk.ScenarioError) as caught:
        pk.append_log(path, "correct", "A1", AT, crew="EV1", by="Ines", note="so", corrects="e1",
                      remaining_min=0, metabolic_w=200)
    assert sorted(caught.value.problems["column"]) == ["by", "corrects", "crew", "metabolic_w", "note",
                                                       "remaining_min"]
    assert pk.append_log(path, "started", "A1", AT) == "e1"  # no more is asked for than is given


# --- cut lines ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cut", [
    "e2,,,A1,finished,2031-09-03T07:44:00Z,,,,,so weit schön".encode()[:-2],  # inside the ö
    b"e2,,,A1,fini" + bytes(500),  # the disk had its room, and not yet its content
    bytes(500),
    b"\xff\xfe\n\x80",
])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_a_line_that_is_no_text_damages_no_other(tmp_path: Path, cut: bytes, newline: str) -> None:
    path = tmp_path / "log.csv"
    pk.append_log(path, "started", "A1", AT, note="schön")
    path.write_bytes(path.read_bytes().replace(b"\n", newline.encode()) + cut)
    broken = [3 + number for number in range(cut.count(b"\n") + 1)]
    assert rows_and_cut(path) == (["A1"], broken)
    pk.append_log(path, "skipped", "B1", AT)
    pk.append_log(path, "skipped", "C1", AT)
    assert rows_and_cut(path) == (["A1", "B1", "C1"], broken)
    with pytest.raises(pk.ScenarioError, match="is no text") as caught:
        pk.read_log(path)
    assert caught.value.problems["row"].tolist() == broken


def test_a_header_that_is_no_text_is_told(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_bytes("event_id,step,event,at\n".encode("utf-16"))
    for use in (pk.read_log, lambda path: pk.append_log(path, "skipped", "B1", AT)):
        with pytest.raises(pk.ScenarioError, match="not UTF-8"):
            use(tmp_path)


@pytest.mark.parametrize(("first", "second"), [
    ('e2,,,A1,finished,2031-09-03T07:44:00Z,,,,,"cut', 'e4,,,C1,skipped,2031-09-03T07:46:00Z,,,,,"'),
    ('e2,,,A1,finished,2031-09-03T07:44:00Z,,,,"cut', 'e4,,,C1,skipped,2031-09-03T07:46:00Z,,,,",'),
])
def test_two_cut_lines_swallow_no_row_between_them(tmp_path: Path, first: str, second: str) -> None:
    path = tmp_path / "log.csv"
    pk.append_log(path, "started", "A1", AT)
    for cut, step in ((first, "B1"), (second, "Z1")):
        with path.open("a") as file:
            file.write(cut)
        pk.append_log(path, "skipped", step, AT)
    assert rows_and_cut(path) == (["A1", "B1", "Z1"], [3, 5])


def test_two_cut_lines_do_not_make_one_whole_row(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    pk.append_log(path, "started", "A1", AT)
    with path.open("a") as file:
        file.write('e2,,,A1,finished,2031-09-03T07:44:00Z,,,,,"cut\ne3,,,C1,skipped,2031-09-03T07:46:00Z,,,,,"')
    assert rows_and_cut(path) == (["A1"], [3, 4])


def test_line_ends_inside_quotation_marks_are_read_beside_a_cut_line(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b'event_id,step,event,at,note\r\n'
                     b'e1,A1,started,2031-09-03T07:30:00Z,"two\r\nlines, ""so"""\r\n'
                     b'e2,A1,finished,2031-09-03T07:4')
    pk.append_log(path, "skipped", "B1", AT)
    faults = Faults()
    rows = log_rows(path, faults)
    assert [(row.number, row.text("note")) for row in rows] == [(2, 'two\nlines, "so"'), (4, "")]
    assert [fault["row"] for fault in faults.rows] == [3]


@pytest.mark.parametrize(("header", "cut"), [
    ("event_id,step,event,at", "e7,A1,fin"),
    ("event_id,step,event,at", "e7"),
    ("event_id,step,event,at", "e7\0\0\0"),
    ("step,event,event_id,at", "A1,finished,e7"),
])
def test_the_id_of_a_cut_row_is_not_given_again(tmp_path: Path, header: str, cut: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(f"{header}\n{cut}")
    assert [pk.append_log(path, "skipped", step, AT) for step in ("B1", "C1")] == ["e8", "e9"]


# --- no plain file, and links -------------------------------------------------------------------------------


def is_refused(path: Path) -> bool:
    for use in (pk.read_log, lambda path: pk.append_log(path, "skipped", "B1", AT)):
        with pytest.raises(pk.ScenarioError, match="is not a plain file"):
            use(path)
    return True


def test_a_pipe_is_no_log_and_nobody_waits_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "log.csv")
    asked: list[bool] = []
    asking = Thread(target=lambda: asked.append(is_refused(tmp_path)), daemon=True)
    asking.start()
    asking.join(30)
    assert asked == [True]


def test_neither_a_device_nor_a_folder_is_a_log(tmp_path: Path) -> None:
    (tmp_path / "log.csv").mkdir()
    assert is_refused(tmp_path)
    assert is_refused(Path("/dev/null"))


@pytest.mark.parametrize("held", [".", "logs"])
def test_through_a_link_both_folders_are_locked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                held: str) -> None:
    (tmp_path / "logs").mkdir()
    real = tmp_path / "logs" / "log.csv"
    pk.append_log(real, "started", "A1", AT)
    (tmp_path / "log.csv").symlink_to("logs/log.csv")
    before = real.read_bytes()
    monkeypatch.setattr(save, "_LONGEST_WAIT_S", 0.1)
    with save.locked(tmp_path / held), pytest.raises(pk.ScenarioError, match="another program"):
        pk.append_log(tmp_path, "skipped", "B1", AT)
    assert real.read_bytes() == before
    assert [pk.append_log(path, "skipped", "B1", AT) for path in (tmp_path, real)] == ["e2", "e3"]


def test_a_re_timed_plan_judges_by_the_plan_taken_outside(tmp_path: Path, small_plan: pk.Plan) -> None:
    for step, begun, done in (("A1", 0, 10), ("C1", 11, 14)):
        pk.append_log(tmp_path, "started", step, at=begun, plan=small_plan)
        pk.append_log(tmp_path, "finished", step, at=done, plan=small_plan)
    pk.append_log(tmp_path, "skipped", "C2", at=15, plan=small_plan)
    outside = small_plan.retime(tmp_path)
    assert "C2" not in set(outside.scenario.steps["step"])
    assert outside.taken_outside.scenario == small_plan.scenario == small_plan.taken_outside.scenario
    assert pk.append_log(tmp_path, "started", "C2", at=18, plan=outside) == "e6"  # taken up again


def test_what_is_no_plan_judges_nothing(tmp_path: Path, small: pk.Scenario) -> None:
    with pytest.raises(pk.ScenarioError, match="must be a plan"):
        pk.append_log(tmp_path, "started", "A1", at="2031-09-03T07:30:00Z", plan=small)  # type: ignore[arg-type]
    assert not list(tmp_path.iterdir())
