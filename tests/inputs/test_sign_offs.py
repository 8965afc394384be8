"""Notes and sign-offs beside a scenario, tied to what was reviewed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.inputs.format import SIGN_OFFS_FILE
from tests.edits import edited

SMALL = Path(__file__).resolve().parents[2] / "scenarios" / "small-outing"
STALE = "stale: the scenario has changed since"


@pytest.fixture
def own(tmp_path: Path) -> pk.Scenario:
    shutil.copytree(SMALL, tmp_path / "own")
    return pk.load_scenario(tmp_path / "own")


def test_no_file_no_reviews(own: pk.Scenario) -> None:
    assert own.reviews.empty


def test_a_sign_off_holds_until_the_scenario_says_something_else(own: pk.Scenario) -> None:
    table = own.sign_off("R. Viewer", "Times are fine", about="B3", at="2031-09-01T10:00:00Z")
    assert table.to_dict("records") == [{
        "kind": "sign-off", "by": "R. Viewer", "at": "2031-09-01T10:00:00Z", "about": "B3",
        "words": "Times are fine", "state": "current", "digest": own.digest}]
    changed = edited(own, "steps", "B2", minutes_likely=15).save()
    assert changed.reviews["state"].tolist() == [STALE]
    assert edited(changed, "steps", "B2", minutes_likely=13).reviews["state"].tolist() == ["current"]


def test_spelling_and_the_reviews_themselves_do_not_make_it_stale(own: pk.Scenario) -> None:
    own.sign_off("A")
    path = own.folder / "scenario.toml"
    path.write_text("# a comment\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    again = pk.load_scenario(own.folder)
    assert again.add_note("B", "me too")["state"].tolist() == ["current", "current"]


def test_entries_are_only_added(own: pk.Scenario) -> None:
    own.add_note("A", "First")
    first = (own.folder / SIGN_OFFS_FILE).read_bytes()
    table = own.sign_off("B")
    assert (own.folder / SIGN_OFFS_FILE).read_bytes().startswith(first)
    assert table["kind"].tolist() == ["note", "sign-off"]
    assert pk.load_scenario(own.folder) == own, "the scenario reads as before"


@pytest.mark.parametrize("text", ["quotes \" ' \"\"\" '''", "[[review]]\nby = 'x'", "two\nlines",
                                  "back\\slash", "<script>alert(1)</script>", "=1+1", "# none", "ünïcode 中"])
def test_any_words_come_back(own: pk.Scenario, text: str) -> None:
    table = own.add_note(text.replace("\n", " "), text)
    assert len(table) == 1
    assert table["words"].item() == text
    assert "<script" not in table._repr_html_()


@pytest.mark.parametrize(("by", "words"), [("", "x"), ("  ", "x"), ("A", "  "), ("A", "x\x1b[31m"),
                                           ("A", "x" * 20_000)])
def test_what_is_no_review(own: pk.Scenario, by: str, words: str) -> None:
    with pytest.raises(pk.ScenarioError):
        own.add_note(by, words)
    assert not (own.folder / SIGN_OFFS_FILE).exists()


@pytest.mark.parametrize(("by", "words", "problem"), [
    (None, "x", "must be text"), (7, "x", "must be text"), ("A", None, "must be text"),
    ("A", "x\u202ey", "cannot be seen"), ("A", "x" * 20_000, "at most 10,000 characters")])
def test_what_is_wrong_with_a_review_is_said(own: pk.Scenario, by: object, words: object,
                                             problem: str) -> None:
    with pytest.raises(pk.ScenarioError, match=problem):
        own.add_note(by, words)  # type: ignore[arg-type]


def test_lines_that_end_as_another_system_has_them(own: pk.Scenario) -> None:
    assert own.add_note("A", "one\r\ntwo\rthree")["words"].item() == "one\ntwo\nthree"


def test_a_moment_without_quotation_marks_is_one(own: pk.Scenario) -> None:
    (own.folder / SIGN_OFFS_FILE).write_text(
        f"[[review]]\nkind = 'note'\nby = 'A'\nat = 2031-09-01T10:00:00Z\ndigest = '{own.digest}'\n")
    assert own.reviews[["at", "state"]].to_numpy().tolist() == [["2031-09-01T10:00:00Z", "current"]]


def test_edits_that_are_not_saved_cannot_be_reviewed(own: pk.Scenario) -> None:
    with pytest.raises(pk.ScenarioError, match="not saved"):
        edited(own, "steps", "B2", minutes_likely=15).sign_off("A")


def test_a_scenario_that_changed_on_disk_cannot_be_reviewed(own: pk.Scenario) -> None:
    path = own.folder / "steps.csv"
    path.write_bytes(path.read_bytes().replace(b",13,", b",14,"))
    with pytest.raises(pk.SaveConflict):
        own.sign_off("A")
    assert not (own.folder / SIGN_OFFS_FILE).exists()


@pytest.mark.parametrize("content", ["not toml [", "review = 3", "\xff",
                                     "[[review]]\nby = 3\nkind = 'note'\ndigest = 'x'",
                                     "[[review]]\nkind = 'note'",
                                     f"[[review]]\nkind = 'signoff'\nby = 'A'\ndigest = '{'0' * 64}'",
                                     "[[review]]\nkind = 'note'\nby = 'A'\ndigest = 'abc'",
                                     f"[[review]]\nkind='note'\nby='A'\nat='soon'\ndigest='{'0' * 64}'"])
def test_a_file_that_cannot_be_read_is_left_alone(own: pk.Scenario, content: str) -> None:
    path = own.folder / SIGN_OFFS_FILE
    path.write_bytes(content.encode("latin-1"))
    for call in (lambda: own.reviews, lambda: own.sign_off("A")):
        with pytest.raises(pk.ScenarioError, match=SIGN_OFFS_FILE):
            call()
    assert path.read_bytes() == content.encode("latin-1")
