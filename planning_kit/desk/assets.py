"""The scripts and styles of the workbench as one module and one sheet, as anywidget takes them.

A module that a notebook loads from memory has no address, so it cannot import its neighbours: they were
joined into one file by ``.ci/join-scripts``, committed beside them; nothing is joined here. The table library
is four times as large as all of them and follows on request: anywidget gives a module two seconds to load,
which a busy machine needs for a small one.
"""

from functools import lru_cache
from importlib.resources import files

_SHEETS = tuple(f"{name}.css" for name in (
    "workbench", "chart", "side", "tables", "outside", "board", "board_looks"))


def _read(name: str) -> str:
    return files("planning_kit.desk").joinpath("static", *name.split("/")).read_text(encoding="utf-8")


def module_text(name: str = "workbench") -> str:
    """The ECMAScript module of a widget: ``workbench`` or ``film_widget``."""
    return _read(f"{name}.bundle.js")


@lru_cache(maxsize=1)
def library_text() -> str:
    """The vendored table library as a script: all that the page keeps of it stands under one symbol."""
    return ("(() => {\nconst module = { exports: {} }, exports = module.exports;\n"
            f"{_read('vendor/tabulator.min.js')}\n"
            "window[Symbol.for('planning_kit.tabulator')] = module.exports;\n})();")


def style_text() -> str:
    """The style sheet of the workbench."""
    return "\n".join(map(_read, ("vendor/tabulator.min.css", *_SHEETS)))
