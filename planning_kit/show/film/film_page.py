"""The film as one HTML page that works offline and by a double-click: the scene, the script, nothing else."""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.folder_files import system_errors_told
from planning_kit.inputs.shown_text import html_text
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.film.scene import scene_of
from planning_kit.show.still import still

# The reader's browser enforces that nothing is fetched, whatever a scenario's text asks for.
_POLICY = ("default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; "
           "base-uri 'none'; form-action 'none'")

_DATA = '<script type="application/json" id="film-scene">'


@cache
def film_file(name: str) -> str:
    """One of the film's own files: ``film.bundle.js`` (all scripts, three.js among them), ``film.css``."""
    return files("planning_kit.show.film").joinpath("static", name).read_text(encoding="utf-8")


def as_json(data: object) -> str:
    """``data`` as JSON that can stand in a script element: no text of a scenario ends that element."""
    told = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return told.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def film_page(scene: Mapping[str, Any], still: str | None = None) -> str:
    """The page of a scene (`planning_kit.show.film.scene`); ``still``: a data address of a first picture."""
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="viewport" content="width=device-width">
<title>{html_text(str(scene["title"]))}</title>
<style>{film_file("film.css")}</style></head>
<body><main id="film"></main>
{_DATA}{as_json({"scene": scene, "still": still})}</script>
<script type="module">{film_file("film.bundle.js")}</script></body></html>
"""


def write_film(plan: TimedPlan, file: str | Path) -> Path:
    """Write the page of a plan's film; gives its path. A film's page that is there is replaced.

    Raises `ScenarioError`, with nothing written, for a name that does not end in ``.html``, where another
    file is there, and where the file cannot be written.
    """
    if not isinstance(file, str | Path) or Path(file).suffix.lower() != ".html":
        raise ScenarioError.single("is no page; give a file that ends in .html", column="file", value=file)
    target = Path(file).absolute()
    page = film_page(scene_of(plan), still(plan, 0.0, "station").address)
    with system_errors_told("cannot be written", value=target):
        if target.exists() and _DATA not in target.read_text(encoding="utf-8", errors="replace"):
            raise ScenarioError.single("is there and is no page of a film; give another name", value=target)
        target.write_text(page, encoding="utf-8", newline="\n")
    return target
