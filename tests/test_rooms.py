"""Data flows one way: no room imports from its right, only the desk knows widgets, no circle anywhere.

And the quick tests are of every room.
"""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

from tests.conftest import LONG, TESTS, is_long

ROOMS = ["inputs", "sky", "changes", "plan", "judge", "explore", "campaign", "show", "front", "desk"]
PACKAGE = Path(__file__).parents[1] / "planning_kit"
LONGEST = 400  # lines of a file
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path.parent != PACKAGE)


@cache
def imported(source: str) -> list[str]:
    """What a module imports anywhere in it: in a function and for types only, too."""
    names: list[str] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names += (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"relative import of {node.module}"
            names += (f"{node.module}.{alias.name}" for alias in node.names)
    return names


def circles(sources: Mapping[str, str]) -> list[list[str]]:
    """The groups of modules that import each other, round about or at once. ``sources`` by module name."""
    graph = nx.DiGraph()
    for name, source in sources.items():
        for whole in imported(source):
            # A name that is imported from a module is a module itself, or stands in that module.
            graph.add_edge(name, whole if whole in sources else whole.rpartition(".")[0])
    return sorted(sorted(group) for group in nx.strongly_connected_components(graph) if len(group) > 1)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    room = path.relative_to(PACKAGE).parts[0]
    assert room in ROOMS
    for name in imported(path.read_text(encoding="utf-8")):
        parts = name.split(".")
        if parts[0] == "planning_kit":
            assert "".join(parts[1:2]) in ROOMS, f"{path.name} imports the table of contents: {name}"
            assert ROOMS.index(parts[1]) <= ROOMS.index(room), f"{path.name} imports from its right: {name}"
        if parts[0] in ("ipywidgets", "anywidget", "traitlets"):
            assert (room, path.name) in (
                ("desk", "workbench.py"), ("desk", "film.py"), ("show", "offline_html.py")), name


def test_no_modules_import_each_other() -> None:
    sources = {}
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        sources[name] = path.read_text(encoding="utf-8")
    assert circles(sources) == []


@pytest.mark.parametrize("back", [
    "from house.one import One",
    "from house import one",
    "import house.one",
    "if TYPE_CHECKING:\n    from house.one import One",
    "def two():\n    from house.one import One",
    "from house.three import Three",  # which imports one
])
def test_a_circle_is_found_however_it_is_hidden(back: str) -> None:
    sources = {"house": "", "house.one": "from house.two import Two", "house.two": back,
               "house.three": "from house.one import One"}
    (found,) = circles(sources)
    assert {"house.one", "house.two"} <= set(found)


def test_a_chain_is_no_circle() -> None:
    assert circles({"house": "", "house.one": "import house.two", "house.two": "from house import three",
                    "house.three": "import numpy"}) == []


def test_a_file_name_stands_once_and_no_file_is_long() -> None:
    """A newcomer finds a file by its name, and reads it in one sitting."""
    paths = [path for path in PACKAGE.rglob("*.py") if path.name != "__init__.py"]
    names = Counter(path.name for path in paths)
    assert [name for name, count in names.items() if count > 1] == []
    long = {str(path.relative_to(PACKAGE)): lines for path in paths
            if (lines := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST}
    assert long == {}


@pytest.mark.parametrize("room", ROOMS)
def test_the_quick_tests_are_of_every_room(room: str) -> None:
    files = [*(TESTS / room).rglob("test_*.py"), *TESTS.glob(f"test_{room}.py")]
    assert [path for path in files if not is_long(path.relative_to(TESTS).as_posix())]


@pytest.mark.parametrize("entry", LONG)
def test_what_the_quick_tests_leave_out_is_there(entry: str) -> None:
    name, _, test = entry.partition("::")
    assert (TESTS / name).exists()
    assert not test or f"def {test.partition('[')[0]}(" in (TESTS / name).read_text(encoding="utf-8")


def test_every_file_that_the_guide_names_is_there() -> None:
    guide = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:[a-z_]+/)*[a-z_*]+\.(?:py|pyi|js))`", guide))
    assert len(named) > 60
    whole, tests = PACKAGE.parent, PACKAGE.parent / "tests"
    assert [name for name in sorted(named)
            if not any((*PACKAGE.rglob(name), *whole.glob(name), *tests.rglob(name)))] == []
