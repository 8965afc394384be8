"""The reference notebook: nothing is missing in it, every example can be typed, and it is of today."""

from __future__ import annotations

import inspect
import json
import pydoc
import re
from collections.abc import Iterator
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs import format as fmt
from planning_kit.inputs.campaign_records import BACKLOG, CAMPAIGN, OUTINGS
from planning_kit.inputs.cells import parse_cell
from planning_kit.inputs.fields import Field
from planning_kit.inputs.log_format import LOG
from planning_kit.inputs.sign_offs import ACCEPTED

ROOT = Path(__file__).parents[1]
NOTEBOOK = ROOT / "notebooks" / "13_reference.ipynb"
REFRESH = "run: .ci/refresh-notebooks notebooks/13_reference.ipynb"


@cache
def cells() -> list[dict[str, Any]]:
    return [cell for cell in json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
            if cell["cell_type"] == "code"]


@cache
def shown() -> str:
    """The tables of the notebook as HTML, as they were saved."""
    return "".join("".join(output["data"]["text/html"]) for cell in cells() for output in cell["outputs"])


@pytest.fixture(scope="module")
def columns(monkeypatch_module: pytest.MonkeyPatch) -> pd.DataFrame:
    """The table of columns and keys, made by the notebook's own cell."""
    return run(monkeypatch_module)["columns"]


@pytest.fixture(scope="module")
def monkeypatch_module() -> Iterator[pytest.MonkeyPatch]:
    with pytest.MonkeyPatch.context() as patch:
        yield patch


def run(patch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the notebook's names hold once its cells that assign have run."""
    patch.chdir(NOTEBOOK.parent)
    names: dict[str, Any] = {}
    for cell in cells():
        exec("".join(cell["source"]), names)
    return names


def declared() -> list[tuple[str, Field]]:
    """Every column and key, from the declarations and not from the reference: file and table of keys."""
    keys = [(f"{fmt.SCENARIO_FILE} [{name}]" if name else fmt.SCENARIO_FILE, field)
            for top in fmt.SECTIONS for name, section in top.each() if not section.is_override
            for field in section.fields]
    keys += [(fmt.CAMPAIGN_FILE, field) for field in CAMPAIGN.fields]
    keys += [(f"{fmt.CAMPAIGN_FILE} [{OUTINGS.name}]", field) for field in OUTINGS.fields]
    tables = (*fmt.TABLES, ACCEPTED, LOG, BACKLOG)
    return keys + [(table.file, field) for table in tables for field in table.fields]


def test_every_column_and_key_is_there_with_a_meaning_and_an_example(columns: pd.DataFrame) -> None:
    rows = {(row["table"], row["column"]): row for row in columns.to_dict("records")}
    missing = [f"{table}: {field.name}" for table, field in declared() if (table, field.name) not in rows]
    assert not missing
    bare = [f"{table}: {field.name}" for table, field in declared()
            for row in [rows[table, field.name]]
            if not (row["kind"] and row["description"] and row["example"])]
    assert not bare, f"say what it means, and example=... , where they are declared: {bare}"


def test_an_example_can_be_typed() -> None:
    """Those of the declarations; the others come out of scenarios that load."""
    for table, field in declared():
        if field.example and table.endswith(".csv"):
            assert parse_cell(field.example, field), (table, field.name)
    keys = {f"{where.partition('[')[2].rstrip(']')}.{field.name}".lstrip("."): (
        field.example.split() if field.kind == "names" else
        float(field.example) if field.is_number else field.example)
        for where, field in declared() if field.example and where.startswith(fmt.SCENARIO_FILE)}
    assert len(keys) > 10
    pk.load_scenario(ROOT / "scenarios" / "small-outing").with_settings(keys)


def test_examples_are_those_of_the_first_that_gives_one() -> None:
    demo = pk.load_scenario(ROOT / "scenarios" / "tern-station")
    other = demo.with_settings({"limits.planned_min": 391})
    other = other.edit_row("steps", demo.steps.step[0], title="Other")

    def example(table: str, column: str, *scenarios: pk.Scenario) -> str:
        found = pk.format_reference(*scenarios).query("table == @table and column == @column")
        return str(found["example"].iloc[0])

    key = "scenario.toml [limits]", "planned_min"
    assert example(*key, other, demo) == "391"
    assert example(*key, demo, other) == f"{demo.settings.limits.planned_min:g}"
    assert example("steps.csv", "title", other) == "Other"
    assert example(*key) == ""
    assert example("scenario.toml [limits]", "*_source", demo) in (
        demo.settings.limits.sources.values())


def test_ranges_and_units_are_told() -> None:
    rows = pk.format_reference().set_index(["table", "column"])
    assert rows.loc[("crew.csv", "metres_per_min"), ["unit", "range"]].tolist() == ["m/min", "above 0 to 600"]
    assert rows.loc[("gaps.csv", "min_gap"), "range"] == "from -14,400 to 14,400"
    assert rows.loc[("steps.csv", "light"), "kind"] == "choice (any, night, day)"


def test_every_public_name_is_there_with_a_line_of_its_own() -> None:
    names = pk.name_reference(NOTEBOOK.parent)
    found = set(zip(names["of"], names["name"], strict=True))
    wanted = {("pk", name) for name in pk.__all__}
    for kind in (pk.Plan, pk.Scenario):
        wanted |= {(kind.__name__, name) for name in dir(kind) + [
            name for each in kind.__mro__ for name in vars(each)]
            if name[0] != "_" and not is_data(kind, name)}
    assert wanted <= found, wanted - found
    bare = names[names["about"].isin(["", "What the plan within says of itself, in the same words"])]
    assert bare.empty, f"give a docstring: {bare[['of', 'name']].to_numpy().tolist()}"


def is_data(kind: type, name: str) -> bool:
    """Whether it is a field of a dataclass: it says what it is in its class."""
    return name in {field for each in kind.__mro__ for field in getattr(each, "__dataclass_fields__", {})}


@pytest.mark.parametrize(("of", "name", "call"), [
    ("pk", "time_plan", "time_plan(scenario, pet_zero=None)"),
    ("Plan", "findings", "findings"),
    ("Plan", "explain", "explain(step, lines=None)"),
    ("Scenario", "edit_row", "edit_row(table, key, **cells)"),
])
def test_a_call_is_told_with_its_arguments(of: str, name: str, call: str) -> None:
    names = pk.name_reference(NOTEBOOK.parent)
    assert names.query("of == @of and name == @name")["call"].tolist() == [call]


def test_where_a_name_is_shown_comes_from_the_cells(tmp_path: Path) -> None:
    def write(name: str, *given: tuple[str, str]) -> None:
        made = [{"cell_type": kind, "source": [source]} for kind, source in given]
        (tmp_path / name).write_text(json.dumps({"cells": made}), encoding="utf-8")

    write("21_first.ipynb", ("code", "pk.swimlane(plan)\nplan.gain('X')"), ("code", "%matplotlib inline"),
          ("markdown", "pk.suit_chart(plan)"))
    write("22_second.ipynb", ("code", "pk.swimlane(plan)  # pk.season"), ("code", "x = 'pk.suit_chart'"))
    names = pk.name_reference(tmp_path).set_index(["of", "name"])["shown_in"]
    assert names["pk", "swimlane"] == "21 22"
    assert names["Plan", "gain"] == "21"
    assert names["pk", "suit_chart"] == names["pk", "season"] == ""


@pytest.mark.parametrize("wrong", [ROOT / "scenarios", 7])
def test_a_folder_without_notebooks_is_refused(wrong: Any) -> None:
    with pytest.raises(pk.ScenarioError) as told:
        pk.name_reference(wrong)
    assert told.value.problems["column"].tolist() == ["notebooks"]


def test_the_notebook_is_of_today(monkeypatch: pytest.MonkeyPatch) -> None:
    names: dict[str, Any] = {}
    monkeypatch.chdir(NOTEBOOK.parent)
    for cell in cells():
        *lines, last = "".join(cell["source"]).splitlines()
        exec("\n".join(lines), names)
        if not cell["outputs"]:
            exec(last, names)
            continue
        assert eval(last, names)._repr_html_() == "".join(cell["outputs"][0]["data"]["text/html"]), REFRESH


def test_the_notebook_shows_every_row() -> None:
    """Counted in what was saved, by names that do not come from the reference."""
    texts = {unescape(text) for text in re.findall(r"<td[^>]*>([^<]*)</td>", shown())}
    assert not {table for table, _ in declared()} - texts, REFRESH
    assert not {field.name for _, field in declared()} - texts, REFRESH
    assert not set(pk.__all__) - texts, REFRESH
    assert not {"...", "…"} & texts


def test_help_and_readme_lead_to_it() -> None:
    told = pydoc.plain(pydoc.render_doc(pk))
    head = told[:told.index("PACKAGE CONTENTS")]
    missing = [path.stem for path in NOTEBOOK.parent.glob("*.ipynb") if path.stem not in head]
    assert not missing, f"name them in the docstring of planning_kit/__init__.py: {missing}"
    for entry in ("load_scenario", "time_plan", "workbench", "format_reference", "name_reference"):
        assert f"`{entry}`" in head
        assert inspect.getdoc(getattr(pk, entry))
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "notebooks/13_reference.ipynb" in readme
