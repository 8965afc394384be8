"""Rows added, dropped, edited and moved by name: checked once, told in words, nothing lost."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk

DATA, SCENARIOS = Path(__file__).parents[1] / "data", Path(__file__).parents[2] / "scenarios"
FOLDERS = [DATA / "curlew-deck", DATA / "orders-godwit", DATA / "orders-hazel", SCENARIOS / "small-outing",
           SCENARIOS / "tern-station"]


@pytest.fixture(params=FOLDERS, ids=lambda path: path.name)
def outing(request: pytest.FixtureRequest) -> pk.Scenario:
    return pk.load_scenario(request.param)


def problems(call: object, *given: object, **more: object) -> list[tuple[str, str, str]]:
    with pytest.raises(pk.ScenarioError) as caught:
        call(*given, **more)  # type: ignore[operator]
    return [(row.table, row.column, str(row.value)) for row in caught.value.problems.itertuples()]


def test_a_step_is_added_behind_another_edited_moved_and_dropped(outing: pk.Scenario) -> None:
    digest, ids = outing.digest, outing.steps["step"].tolist()
    like = outing.records.steps[1]
    added = outing.add_row("steps", after=ids[1], step="NEW-1", task=like.task, crew=like.crew,
                           place=like.place, minutes_likely=3, title="Look")
    assert added.steps["step"].tolist() == [*ids[:2], "NEW-1", *ids[2:]]
    assert added.told[0].startswith("NEW-1 (Look) added: step NEW-1, ")
    edited = added.edit_row("steps", "NEW-1", minutes_likely=4)
    assert edited.told[1:] == ("NEW-1 (Look), minutes_likely: was 3, is 4",)
    moved = edited.move_step("NEW-1", after=ids[2])
    assert moved.steps["step"].tolist() == [*ids[:3], "NEW-1", *ids[3:]]
    assert len(moved.told) == 3
    assert "moved in the row order" in moved.told[2]
    back = moved.drop_row("steps", "NEW-1")
    assert back == outing
    assert back.told[3].startswith("NEW-1 (Look) removed")
    assert (outing.digest, outing.told) == (digest, ())


def test_every_table_by_its_key(outing: pk.Scenario) -> None:
    """Each row is called by its whole key and edited to what it says already: nothing is told."""
    for table in ("crew", "places", "routes", "hardware", "tasks", "steps", "gaps", "inhibits", "windows"):
        frame = outing.table(table)
        if frame.empty:
            continue
        keys = pk.inputs.format.TABLE_BY_NAME[table].key  # type: ignore[attr-defined]
        column = next(name for name in frame if name not in keys)
        key = " ".join(frame[list(keys)].iloc[-1])
        same = outing.edit_row(table, key, **{column: frame[column].iloc[-1]})
        assert same == outing, (table, key)
        assert not same.told


def test_a_route_and_a_gap_are_dropped_by_their_two_ends(outing: pk.Scenario) -> None:
    ends = (outing.records.steps[0].step, outing.records.steps[1].step)
    scenario = outing.add_row("gaps", {"first_step": ends[0], "then_step": ends[1]})
    alike = [(each.first_step, each.then_step) for each in scenario.records.gaps]
    left = scenario.drop_row("gaps", " ".join(ends))
    assert len(left.gaps) == len(alike) - alike.count(ends)
    assert all(line.startswith(" ".join(ends)) for line in left.told)
    route = outing.records.routes[-1]
    closed = outing.edit_row("routes", f"{route.from_place} {route.to_place}", tight="yes")
    assert [each.tight for each in closed.records.routes[:-1]] == [
        each.tight for each in outing.records.routes[:-1]]


def test_several_rows_at_once_and_all_faults_in_one_message(outing: pk.Scenario) -> None:
    need = {"need": "get-ahead", "swappable": "no"}
    added = outing.add_row("tasks", {"task": "N1", **need}, {"task": "N2", **need})
    assert added.tasks["task"].tolist()[-2:] == ["N1", "N2"]
    edited = added.edit_row("tasks", ["N1", "N2"], need="optional")
    assert edited.tasks["need"].tolist()[-2:] == ["optional"] * 2
    assert added.drop_row("tasks", ["N1", "N2"]) == outing
    found = problems(outing.add_row, "tasks", {"task": "N1", "need": "must"},
                     {"task": outing.tasks["task"][0], "need": "optional", "priority": "high"})
    assert {("tasks", "need", "must"), ("tasks", "priority", "high")} <= set(found)


def test_what_names_a_dropped_row_is_listed(outing: pk.Scenario) -> None:
    task = outing.records.steps[0].task
    steps = [step.step for step in outing.records.steps if step.task == task]
    found = problems(outing.drop_row, "tasks", task)
    assert [each for each in found if each[0] == "steps"] == [("steps", "task", task)] * len(steps)


def test_rows_that_there_are_not_and_cells_that_are_none(small: pk.Scenario) -> None:
    assert problems(small.drop_row, "steps", ["s1", "nix", "nox"]) == [
        ("steps", "step", "nix"), ("steps", "step", "nox")]
    assert problems(small.edit_row, "steps", 7, title="x") == [("steps", "step", "7")]
    assert problems(small.add_row, "steps", after="nix", step="s9") == [("steps", "step", "nix")]
    assert problems(small.add_row, "steps") == [("steps", "rows", "")]
    assert problems(small.add_row, "steps", {}) == [("steps", "rows", "")]
    assert ("steps", "colour", "colour") in problems(small.add_row, "steps", step="s9", colour="red")
    assert problems(small.drop_row, "stepps", "s1") == [("", "table", "stepps")]


def test_told_lasts_until_it_is_saved(small: pk.Scenario, tmp_path: Path) -> None:
    edited = small.edit_row("steps", "s4", title="one\nline")
    assert edited.told == ("s4, title: was Look, is one line",)
    assert edited.save(tmp_path / "there").told == ()
