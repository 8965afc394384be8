"""Data flows one way: no room imports from a room to its right, and only the desk knows widgets."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOMS = ["inputs", "sky", "plan", "checks", "explore", "show", "desk"]
PACKAGE = Path(__file__).parents[1] / "planning_kit"
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path.parent != PACKAGE)


def imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            yield node.module or ""


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    room = path.relative_to(PACKAGE).parts[0]
    assert room in ROOMS
    for name in imported(path):
        if name.partition(".")[0] == "planning_kit":
            parts = name.split(".")
            assert parts[1:], f"{path.name} imports the front door: {name}"
            assert parts[1] in ROOMS, f"{path.name} imports the front door: {name}"
            assert ROOMS.index(parts[1]) <= ROOMS.index(room), f"{path.name} imports from its right: {name}"
        if name.partition(".")[0] in ("ipywidgets", "anywidget", "traitlets"):
            assert room == "desk" or (room == "show" and path.name == "offline_html.py"), name
