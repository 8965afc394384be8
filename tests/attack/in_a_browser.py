"""What got through to a real browser: in JupyterLab, in the exported notebook and in the pack's page.

A paragraph of ours with mathematics is the control: it must be typeset, or nothing was looked at.
"""

from __future__ import annotations

import contextlib
import json
import re
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

import nbformat
import pandas as pd
from IPython import get_ipython
from IPython.display import HTML, display
from playwright.sync_api import Browser, Page, sync_playwright

import planning_kit as pk
from planning_kit.inputs.shown_text import one_line
from planning_kit.show.offline_html import write_notebook_html
from tests.attack.hostile import PAYLOADS, write_folder
from tests.attack.outputs import Attack
from tests.browser.conftest import BROWSER_FLAGS, browser_path, running_lab

_LONGEST_MS = 120_000
_SHOW = "from tests.attack.in_a_browser import show_all; show_all({folder!r}, {above!r})"
_COUNT = """() => ({
    executed: window.__hit ?? 0,
    typeset: document.querySelectorAll('mjx-container, .MathJax, .MathJax_Preview, .katex').length,
    pictures: document.querySelectorAll(
        '.jp-OutputArea img:not(.plot-img, [src^="data:image/svg+xml;base64,"]),'
        + '.jp-OutputArea iframe, '
        + '.jp-OutputArea object, .jp-OutputArea image, '
        + '.jp-OutputArea [onerror], .jp-OutputArea [onload]').length,
    links: document.querySelectorAll('a[href^="javascript"]').length })"""
_TYPESET_ALL = """async () => {
    const { latexTypesetter } = window.jupyterapp.shell.currentWidget.content.rendermime;
    for (const output of document.querySelectorAll('.jp-RenderedHTML')) {
        await latexTypesetter.typeset(output);
    } }"""
_HOVER_ALL = """async () => {
    let shown = 0;
    for (const chart of document.querySelectorAll('.js-plotly-plot')) {
        for (const [curveNumber, trace] of chart._fullData.entries()) {
            if (trace.type.includes('3d') || !trace.visible || trace.hoverinfo === 'skip') continue;
            const points = Math.max(trace.x?.length ?? 0, trace.y?.length ?? 0);
            for (let pointNumber = 0; pointNumber < points; pointNumber += Math.ceil(points / 30)) {
                try { Plotly.Fx.hover(chart, [{ curveNumber, pointNumber }]); shown += 1; } catch { }
            }
        }
        await new Promise(done => setTimeout(done, 50));
    }
    return shown; }"""


@dataclass
class Seen:
    """What the pages did: all but ``outputs`` and ``hovers`` should be 0 or empty."""

    outputs: int = 0
    hovers: int = 0
    executed: int = 0
    typeset: int = 0
    pictures: int = 0
    links: int = 0
    asked_outside: int = 0
    not_to_the_letter: int = 0

    @property
    def got_through(self) -> bool:
        """Whether anything was executed, typeset, drawn, asked for, or shown otherwise than typed."""
        return any(count for name, count in asdict(self).items() if name not in ("outputs", "hovers"))

    def __str__(self) -> str:
        return ", ".join(f"{name.replace('_', ' ')} {count}" for name, count in asdict(self).items())

    def add(self, page: Page, control: int = 0) -> None:
        """Count what a page did; ``control``: pieces of mathematics of ours on it."""
        found = page.evaluate(_COUNT)
        self.executed += found["executed"]
        self.typeset += found["typeset"] - control
        self.pictures += found["pictures"]
        self.links += found["links"]


def show_all(folder: str, above: str) -> None:
    """In a kernel: show every public output that a browser draws, then the control.

    Tables by their first rows and some of the refusals: all of them are judged as text, and it is about how
    they are drawn.
    """
    shell, refused = get_ipython(), 0
    for output in Attack(Path(folder), Path(above)).outputs():
        thing = output.thing
        if isinstance(thing, str):
            print(thing)
        elif isinstance(thing, pk.ScenarioError):
            refused += 1
            if refused % 12 == 1:
                shell.showtraceback((type(thing), thing, thing.__traceback__))
                display(thing.problems, thing.problems.style)
        elif isinstance(thing, pd.DataFrame):
            display(thing.head(8))
        elif any(hasattr(thing, f"_{name}_") for name in ("repr_html", "repr_mimebundle", "ipython_display")):
            display(thing)
    display(HTML("<p id='typeset-control'>from $x^2$</p>"))


def look_in_a_browser(above: Path, browser: Browser | None = None) -> Seen:
    """Write a hostile folder into ``above``, show all of it in JupyterLab, export it, and count."""
    if browser is not None:
        return _look(above, browser)
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=browser_path(), args=BROWSER_FLAGS)
        try:
            return _look(above, chromium)
        finally:
            chromium.close()


def _look(above: Path, browser: Browser) -> Seen:
    seen, page = Seen(), browser.new_page(viewport={"width": 1280, "height": 900})
    page.set_default_timeout(_LONGEST_MS)
    page.on("dialog", lambda dialog: dialog.accept())
    page.on("request", lambda request: _note(seen, request.url))
    root, home = above / "lab", above / "home"
    for place in (root, home):
        place.mkdir()
    _show_every_output(home)
    folder = write_folder(root)
    with running_lab(root, home) as lab:
        lab.open(page, lab.write("all.ipynb", _SHOW.format(folder=str(folder), above=str(root))))
        page.wait_for_selector("#typeset-control mjx-container", state="attached")
        page.evaluate(_TYPESET_ALL)  # of what JupyterLab typesets nothing is left to do
        page.wait_for_function("() => [...document.images].every(image => image.complete)")
        seen.outputs = page.locator(".jp-OutputArea-child").count()
        seen.add(page, control=1)
        seen.not_to_the_letter += _not_shown(page)
        page.screenshot(path=above / "lab.png")
        _save(page, root / "all.ipynb")
    page.goto(write_notebook_html(root / "all.ipynb", above / "all.html").as_uri())
    page.wait_for_selector(".main-svg")
    seen.hovers = page.evaluate(_HOVER_ALL)
    seen.add(page)
    seen.not_to_the_letter += _not_shown(page)
    for written in root.rglob("review.html"):
        page.goto(written.as_uri())
        seen.add(page)
        seen.not_to_the_letter += _not_shown(page)
    page.close()
    return seen


def _note(seen: Seen, address: str) -> None:
    seen.asked_outside += not address.startswith(
        ("http://127.0.0.1", "ws://127.0.0.1", "file:", "data:", "blob:", "about:"))


def _show_every_output(home: Path) -> None:
    """JupyterLab draws what is in view, and 50 outputs a cell, unless it is told otherwise."""
    settings = home / "settings" / "@jupyterlab" / "notebook-extension"
    settings.mkdir(parents=True)
    (settings / "tracker.jupyterlab-settings").write_text(
        json.dumps({"maxNumberOutputs": 100_000, "windowingMode": "none"}))


def _not_shown(page: Page) -> int:
    """How many payloads stand nowhere on the page as they were typed (spaces aside)."""
    text = re.sub(r"\s", "", page.evaluate("document.body.textContent"))
    missing = [each for each in PAYLOADS if re.sub(r"\s", "", one_line(each)) not in text]
    for each in missing:
        print(f"nowhere as typed on {page.url[:60]}: {each!r}", file=sys.stderr)
    return len(missing)


def _save(page: Page, notebook: Path) -> None:
    """Save until the last output is on the disk."""
    for _ in range(60):
        page.evaluate("() => { window.jupyterapp.commands.execute('docmanager:save'); }")
        page.wait_for_timeout(1000)
        with contextlib.suppress(nbformat.reader.NotJSONError):  # read while it was written
            outputs = nbformat.read(notebook, as_version=4).cells[0].get("outputs", [])
            if outputs and "typeset-control" in str(outputs[-1]):
                return
    raise AssertionError("the notebook was not saved")
