"""The scripts and styles of the workbench as one module and one sheet, as anywidget takes them.

A module that a notebook loads from memory has no address, so it cannot import its neighbours: the parts are
joined here, in the order in which they need each other. Each part is plain script in one shared scope; the
last one exports ``render``. The vendored table library is wrapped so that its names stay its own.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

PARTS = ("dom.js", "cell_editor.js", "tables.js", "chart_paint.js", "chart.js", "side.js", "toolbar.js",
         "workbench.js")
_VENDORED = "vendor/tabulator.min.js"
_WRAP = ("const Tabulator = (function () { const module = { exports: {} }, exports = module.exports;",
         "return module.exports; })();")
_STYLES = ("vendor/tabulator.min.css", "workbench.css")


def _read(name: str) -> str:
    return files("planning_kit.desk").joinpath("static", *name.split("/")).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def module_text() -> str:
    """The ECMAScript module of the workbench."""
    wrapped = f"{_WRAP[0]}\n{_read(_VENDORED)}\n{_WRAP[1]}\n"
    return wrapped + "\n".join(_read(name) for name in PARTS)


@lru_cache(maxsize=1)
def style_text() -> str:
    """The style sheet of the workbench."""
    return "\n".join(_read(name) for name in _STYLES)
