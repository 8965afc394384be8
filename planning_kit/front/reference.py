"""What there is to be asked for: every public name, its signature, what it is, and where it is shown."""

import ast
import inspect
import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import suppress
from functools import cached_property
from importlib import import_module
from pathlib import Path
from types import FunctionType
from typing import Any

import pandas as pd

from planning_kit.front.shown import Shown
from planning_kit.inputs.faults import ScenarioError, as_path
from planning_kit.inputs.shown_text import WholeTable
from planning_kit.plan.timed import TimedPlan

_PACKAGE = __name__.partition(".")[0]
_ASKED = (FunctionType, property, cached_property, Shown, classmethod, staticmethod)


def name_reference(notebooks: str | Path = ".") -> pd.DataFrame:
    """Every public name: what `planning_kit` gives, then what its classes can be asked for.

    Columns: ``of`` ("pk", or the class), ``name``, ``call`` (with its arguments, where it takes any),
    ``about`` (the first sentence of its help), ``shown_in``: the notebooks of the folder ``notebooks`` that
    have that name in a cell, by number ("" for none; a cell that is no plain Python is passed over). Raises
    `ScenarioError` where there is no notebook.
    """
    package, shown = import_module(_PACKAGE), _names_in(as_path(notebooks, "notebooks"))
    public = [("pk", name, getattr(package, name)) for name in sorted(package.__all__)]
    parts = [(of, *part) for _, of, kind in public if isinstance(kind, type) for part in _parts_of(kind)]
    rows = [[of, name, _call(name, thing), _sentence(thing), shown[f"pk.{name}" if of == "pk" else name]]
            for of, name, thing in public + parts]
    return WholeTable(rows, columns=["of", "name", "call", "about", "shown_in"])


def _parts_of(kind: type) -> Iterator[tuple[str, Any]]:
    """What our own classes among its bases define to be asked for, by name."""
    found = {name: part for each in reversed(kind.__mro__) if each.__module__.startswith(f"{_PACKAGE}.")
             for name, part in vars(each).items() if name[0] != "_" and isinstance(part, _ASKED)}
    return iter(sorted(found.items()))


def _call(name: str, thing: Any) -> str:
    """The name with its arguments and their defaults; the name alone of a class, a table or a value."""
    asked = getattr(TimedPlan, name, None) if isinstance(thing, Shown) else getattr(thing, "__func__", thing)
    given = [each.replace(annotation=each.empty) for each in inspect.signature(asked).parameters.values()
             if each.name not in ("self", "cls")] if isinstance(asked, FunctionType) else None
    return name if given is None else f"{name}{inspect.Signature(given)}"


def _sentence(thing: Any) -> str:
    """The first sentence of its docstring, on one line; "" for one without words of its own."""
    words = "" if thing.__doc__ is None else inspect.cleandoc(thing.__doc__)
    return " ".join(words.partition("\n\n")[0].split()).partition(". ")[0].rstrip(".:").replace("``", "")


def _names_in(folder: Path) -> Mapping[str, str]:
    """By name (``pk.NAME`` of the package) the numbers of the notebooks that have it in a cell of code."""
    found: dict[str, set[str]] = defaultdict(set)
    if not (paths := sorted(folder.glob("*.ipynb"))):
        raise ScenarioError.single("holds no notebook", column="notebooks", value=str(folder))
    for path in paths:
        with suppress(ValueError, LookupError, TypeError):  # no notebook
            cells = json.loads(path.read_bytes())["cells"]
            for source in ("".join(each["source"]) for each in cells if each["cell_type"] == "code"):
                with suppress(SyntaxError):
                    for node in ast.walk(ast.parse(source)):
                        if isinstance(node, ast.Attribute):
                            is_ours = isinstance(node.value, ast.Name) and node.value.id == "pk"
                            found[f"pk.{node.attr}" if is_ours else node.attr].add(path.name[:2])
    return defaultdict(str, {name: " ".join(sorted(numbers)) for name, numbers in found.items()})
