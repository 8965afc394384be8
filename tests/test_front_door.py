"""The table of contents: every name in it is there, and none of them is loaded before it is asked for."""

from __future__ import annotations

import inspect
import subprocess
import sys
from collections.abc import Callable
from typing import Any, get_origin, get_type_hints

import numpy as np
import pytest

import planning_kit as pk

HEAVY = ("scipy", "ortools", "numba", "plotly", "ipywidgets", "anywidget", "reportlab", "openpyxl",
         "skyfield", "dulwich")


def test_every_name_is_there() -> None:
    assert len(pk.__all__) == len(set(pk.__all__)) > 20
    for name in pk.__all__:
        assert getattr(pk, name).__name__ == name, name
    assert set(pk.__all__) <= set(dir(pk))
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = pk.no_such_name


@pytest.mark.parametrize("kind", [pk.Plan, pk.Scenario, pk.Odds, pk.Comparison, pk.Proposals])
def test_what_a_method_gives_has_a_public_class(kind: type) -> None:
    given = [get_type_hints(member)["return"] for name, member in inspect.getmembers(kind, inspect.isfunction)
             if name[0] != "_"]
    for answer in filter(inspect.isclass, [get_origin(each) or each for each in given]):
        if answer.__module__.startswith("planning_kit"):
            assert getattr(pk, answer.__name__) is answer, answer


def test_what_a_function_gives_has_a_public_class() -> None:
    public = {name: getattr(pk, name) for name in pk.__all__}
    for made_by in filter(inspect.isfunction, public.values()):
        answer = get_type_hints(made_by, localns=public).get("return")
        if inspect.isclass(answer) and answer.__module__.startswith("planning_kit"):
            assert public.get(answer.__name__) is answer, answer


def test_the_contents_name_every_name() -> None:
    for name in pk.__all__:
        assert f"`{name}`" in (pk.__doc__ or "") or name in ("Orbit", "SaveConflict"), name


def test_importing_the_package_loads_nothing_heavy() -> None:
    asked = f"import sys, planning_kit; print([name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]", done.stderr


SKY = ("2031-09-03", "2031-09-04")
UNHASHABLE = ["steps"]
WRONG_CALLS: dict[str, tuple[str, Callable[[pk.Plan, Any], object]]] = {
    "the table": ("table", lambda plan, it: plan.scenario.table(it)),
    "the table edited": ("table", lambda plan, it: plan.scenario.edit_row(it, "B2", title="x")),
    "the table replaced": ("table", lambda plan, it: plan.scenario.with_table(it, plan.scenario.steps)),
    "the tables": ("frames", lambda plan, it: plan.scenario.with_tables(it)),
    "the settings": ("settings", lambda plan, it: plan.scenario.with_settings(it)),
    "the step moved": ("step", lambda plan, it: plan.scenario.move_step(it, after="B2")),
    "the folder": ("folder", lambda plan, it: plan.scenario.save(it)),
    "the name": ("name", lambda plan, it: plan.what_if(1, name=it)),
    "the holder": ("holder", lambda plan, it: plan.at(5).held_by(it)),
    "learn_pace": ("learn_pace", lambda plan, it: plan.odds(100, learn_pace=it)),
    "stops": ("stops", lambda plan, it: plan.sweep(*SKY, 600, stops=it)),
    "progress": ("progress", lambda plan, it: plan.propose("quick", progress=it)),
    "cancel": ("cancel", lambda plan, it: plan.propose("quick", cancel=it)),
    "order": ("order", lambda plan, it: plan.propose("quick", order=it)),
    "theme": ("theme", lambda plan, it: pk.swimlane(plan, theme=it)),
    "look": ("look", lambda plan, it: plan.still(5, it)),
    "the nights' orbit": ("orbit", lambda plan, it: pk.night_windows(it, *SKY)),
    "the links' orbit": ("orbit", lambda plan, it: pk.link_windows(it, [10.0], *SKY)),
    "the season's orbit": ("orbit", lambda plan, it: pk.season(it, *SKY)),
    "the note's orbit": ("orbit", lambda plan, it: pk.elements_age_note(it, SKY[0])),
    "the reference": ("reference", lambda plan, it: pk.Orbit(plan.scenario.elements).state_teme(it, [0.0])),
    "the seconds": ("seconds", lambda plan, it: pk.Orbit(plan.scenario.elements).state_teme(plan.pet_zero,
                                                                                            it)),
}


@pytest.mark.parametrize("given", [UNHASHABLE, np.array(["a", "b"])], ids=["list", "array"])
@pytest.mark.parametrize("what", WRONG_CALLS)
def test_a_wrong_call_is_told_which_argument_it_was(what: str, given: object, small_plan: pk.Plan) -> None:
    name, call = WRONG_CALLS[what]
    with pytest.raises(pk.ScenarioError) as told:
        call(small_plan, given)
    assert list(told.value.problems["column"]) == [name]
