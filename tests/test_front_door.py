"""The table of contents: every name in it is there, and none of them is loaded before it is asked for."""

from __future__ import annotations

import inspect
import subprocess
import sys
from typing import get_origin, get_type_hints

import pytest

import planning_kit as pk

HEAVY = ("scipy", "ortools", "plotly", "ipywidgets", "anywidget", "reportlab", "openpyxl", "skyfield",
         "dulwich")


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
             if name[0] != "_" and name != "faced"]
    for answer in filter(inspect.isclass, [get_origin(each) or each for each in given]):
        if answer.__module__.startswith("planning_kit"):
            assert getattr(pk, answer.__name__) is answer, answer


def test_what_a_function_gives_has_a_public_class() -> None:
    for name in pk.__all__:
        if inspect.isfunction(made_by := getattr(pk, name)):
            answer = get_type_hints(made_by, localns=vars(pk))["return"]
            if inspect.isclass(answer) and answer.__module__.startswith("planning_kit"):
                assert getattr(pk, answer.__name__) is answer, answer


def test_the_contents_name_every_name() -> None:
    for name in pk.__all__:
        assert f"`{name}`" in (pk.__doc__ or "") or name in ("Orbit", "SaveConflict"), name


def test_importing_the_package_loads_nothing_heavy() -> None:
    asked = f"import sys, planning_kit; print([name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]", done.stderr
