"""The film as one HTML page that works offline and by a double-click: the scene, the script, nothing else."""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from planning_kit.inputs.shown_text import html_text

# The reader's browser enforces that nothing is fetched, whatever a scenario's text asks for.
_POLICY = ("default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; "
           "base-uri 'none'; form-action 'none'")


@cache
def film_script() -> str:
    """The film's scripts as one module, three.js in it."""
    return _read("film.bundle.js")


@cache
def film_style() -> str:
    """The film's style sheet."""
    return _read("film.css")


def _read(name: str) -> str:
    return files("planning_kit.show.film").joinpath("static", name).read_text(encoding="utf-8")


def as_json(data: object) -> str:
    """``data`` as JSON that can stand in a script element: no text of a scenario ends that element."""
    told = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return told.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def film_page(scene: Mapping[str, Any], still: str | None = None) -> str:
    """The page of a scene (`planning_kit.show.film.scene`); ``still`` is a data address of a first picture."""
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="viewport" content="width=device-width">
<title>{html_text(str(scene["title"]))}</title>
<style>{film_style()}</style></head>
<body><main id="film"></main>
<script type="application/json" id="film-scene">{as_json({"scene": scene, "still": still})}</script>
<script type="module">{film_script()}</script></body></html>
"""
