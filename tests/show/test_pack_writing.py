"""Writing a pack: all of it or nothing, and never over another's files."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import planning_kit as pk

NAMES = {"review.html", "review.pdf", "review.xlsx", "briefing.txt", "review-pack.json",
         *(f"pocket-{crew}-{size}.pdf" for crew in ("EV1", "EV2") for size in ("A5", "A6"))}


@pytest.fixture(scope="module")
def chances(small_plan: pk.Plan) -> pk.Odds:
    return small_plan.odds(samples=100)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_pack_is_written_and_written_again(small_plan: pk.Plan, chances: pk.Odds, tmp_path: Path) -> None:
    table = small_plan.write_pack(tmp_path / "pack", chances=chances)
    assert set(table.file) == NAMES
    assert set(contents(tmp_path / "pack")) == NAMES
    later = small_plan.what_if(stretch={"B2": "+2"})
    later.write_pack(tmp_path / "pack", baseline=small_plan, chances=later.odds(samples=100))
    listed = json.loads((tmp_path / "pack" / "review-pack.json").read_text())
    assert listed["inputs"] == later.scenario.digest
    assert set(listed["files"]) == NAMES - {"review-pack.json"}
    assert "was 13, is 15" in (tmp_path / "pack" / "review.html").read_text(encoding="utf-8")
    assert not [path for path in tmp_path.iterdir() if path.name != "pack"], "nothing left beside it"


def test_an_empty_folder_is_taken(small_plan: pk.Plan, chances: pk.Odds, tmp_path: Path) -> None:
    (tmp_path / ".hidden-by-the-system").write_text("")
    small_plan.write_pack(tmp_path, chances=chances)
    assert set(contents(tmp_path)) == {*NAMES, ".hidden-by-the-system"}


@pytest.mark.parametrize("name", ["review-pack.json", "thesis.docx", "review.pdf", "scenario.toml"])
def test_files_of_others_are_refused(small_plan: pk.Plan, chances: pk.Odds, tmp_path: Path,
                                     name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(pk.ScenarioError, match="not a file of a review pack") as caught:
        small_plan.write_pack(tmp_path, chances=chances)
    assert caught.value.problems["value"].tolist() == [name]
    assert contents(tmp_path) == {name: b"mine"}


def test_a_pack_that_a_reviewer_wrote_into_is_refused(small_plan: pk.Plan, chances: pk.Odds,
                                                      tmp_path: Path) -> None:
    small_plan.write_pack(tmp_path / "pack", chances=chances)
    sheet = tmp_path / "pack" / "review.xlsx"
    sheet.write_bytes(sheet.read_bytes() + b" ")
    before = contents(tmp_path / "pack")
    with pytest.raises(pk.ScenarioError, match="changed since the pack was written"):
        small_plan.write_pack(tmp_path / "pack", chances=chances)
    assert contents(tmp_path / "pack") == before


@pytest.mark.parametrize("manifest", ["[]", "not json", '{"files": 3}', '{"files": {"a": 1}}'])
def test_a_manifest_that_is_none_gives_an_error_and_no_trace(small_plan: pk.Plan, chances: pk.Odds,
                                                             tmp_path: Path, manifest: str) -> None:
    (tmp_path / "review-pack.json").write_text(manifest)
    (tmp_path / "other.txt").write_text("mine")
    with pytest.raises(pk.ScenarioError):
        small_plan.write_pack(tmp_path, chances=chances)
    assert set(contents(tmp_path)) == {"review-pack.json", "other.txt"}


@pytest.mark.parametrize("folder", [None, 3, "", "  "])
def test_what_is_no_folder(small_plan: pk.Plan, chances: pk.Odds, folder: object) -> None:
    with pytest.raises(pk.ScenarioError, match="is no folder"):
        small_plan.write_pack(folder, chances=chances)  # type: ignore[arg-type]


def test_odds_that_are_none(small_plan: pk.Plan, tmp_path: Path) -> None:
    with pytest.raises(pk.ScenarioError, match="must be the plan's odds"):
        small_plan.write_pack(tmp_path / "pack", chances="good")  # type: ignore[arg-type]
    assert not (tmp_path / "pack").exists()


@pytest.mark.parametrize("where", ["a-file", "missing/pack", "/proc/pack", "a\0b"])
def test_places_that_cannot_be_written(small_plan: pk.Plan, chances: pk.Odds, tmp_path: Path,
                                       where: str) -> None:
    (tmp_path / "a-file").write_text("mine")
    with pytest.raises(pk.ScenarioError):
        small_plan.write_pack(tmp_path / where, chances=chances)
    assert contents(tmp_path) == {"a-file": b"mine"}


FULL_DISK = """
import resource, sys
import planning_kit as pk
plan = pk.time_plan(pk.load_scenario("scenarios/small-outing")).what_if(slip_min=1)
chances = plan.odds(samples=100)
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))  # the system refuses to write more to a file
try:
    plan.write_pack(sys.argv[1], chances=chances)
except pk.ScenarioError as fault:
    print(fault)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such limit")
@pytest.mark.parametrize("there_before", [True, False])
def test_a_full_disk_leaves_nothing_half_written(small_plan: pk.Plan, chances: pk.Odds, tmp_path: Path,
                                                 there_before: bool) -> None:
    folder = tmp_path / "pack"
    if there_before:
        small_plan.write_pack(folder, chances=chances)
    before = contents(folder) if there_before else None
    done = subprocess.run([sys.executable, "-c", FULL_DISK, str(folder)], capture_output=True, text=True,
                          cwd=Path(__file__).parents[2], check=False)
    assert "cannot be saved: File too large; nothing was changed" in done.stdout, done.stderr
    assert [path.name for path in tmp_path.iterdir()] == (["pack"] if there_before else [])
    assert (contents(folder) if there_before else None) == before


@pytest.mark.parametrize("asked", [{"stretch": {"B2": "+2"}}, {"slip_min": 1}])
def test_odds_of_another_plan_are_refused(small_plan: pk.Plan, chances: pk.Odds, tmp_path: Path,
                                          asked: dict[str, Any]) -> None:
    with pytest.raises(pk.ScenarioError, match="odds of another plan"):
        small_plan.what_if(**asked).write_pack(tmp_path / "pack", chances=chances)
    assert not list(tmp_path.iterdir())
