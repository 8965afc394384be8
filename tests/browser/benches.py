"""The workbench as a planner handles it in the browser: what tests and the benchmark do with it."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nbformat
import pytest
from playwright.sync_api import Locator, Page, TimeoutError, expect

from tests.browser.conftest import LONGEST_WAIT_MS, ROOT, Lab

WAIT_MS = LONGEST_WAIT_MS
expect.set_options(timeout=WAIT_MS)
DEMO, SMALL = ROOT / "tests" / "data" / "tern-2", ROOT / "scenarios" / "small-outing"
GRID = ".pk-grid:not([hidden])"


@dataclass(frozen=True)
class Bench:
    """An open workbench on its own copy of a scenario."""

    page: Page
    folder: Path

    @classmethod
    def open(cls, page: Page, lab: Lab, name: str, scenario: Path = DEMO, *more: str) -> Bench:
        """Copy a scenario, open a notebook on it, ``more`` cells too, run it, wait until all is shown."""
        folder = lab.folder / f"{name}-scenario"
        if not folder.exists():
            shutil.copytree(scenario, folder)
        return cls.at(page, lab, name, folder, *more)

    @classmethod
    def at(cls, page: Page, lab: Lab, name: str, folder: Path, *more: str) -> Bench:
        """The same on a folder that is there."""
        lab.open(page, lab.write(f"{name}.ipynb", "import planning_kit as pk",
                                 f"bench = pk.workbench(pk.load_scenario({str(folder)!r}))\nbench", *more))
        bench = cls(page, folder)
        bench.wait_until_shown()
        page.evaluate("() => { window.jupyterapp.shell.collapseLeft(); }")
        return bench

    def wait_until_shown(self) -> None:
        """Wait for the chart and what follows it."""
        try:
            self.page.wait_for_selector(".pk-chart .pk-bar-work", state="attached", timeout=WAIT_MS)
        except TimeoutError as error:
            cells = self.page.locator(".jp-NotebookPanel .jp-Cell").all_inner_texts()
            raise AssertionError(f"no workbench: {cells}") from error
        self.page.wait_for_selector(".pk-side .pk-item", state="attached", timeout=WAIT_MS)

    def settle(self) -> None:
        """Wait until the kernel has answered every message of every view."""
        self.page.wait_for_function("""() => [...document.querySelectorAll('.pk-workbench')].every(
            ({ dataset }) => dataset.sent === dataset.answered)""", timeout=WAIT_MS)

    def wait_less(self) -> None:
        """The page waits 15 s for an answer before it says that none comes: from now on half a second."""
        self.page.evaluate("""() => { const real = window.setTimeout;
            window.setTimeout = (act, ms, ...more) => real(act, ms === 15000 ? 500 : ms, ...more); }""")

    def cell(self, key: str, column: str, key_column: str = "step") -> Locator:
        """A cell of the open table, by the text of its row's key."""
        row = f".tabulator-row:has([tabulator-field='{key_column}'] span:text-is('{key}'))"
        return self.page.locator(f"{GRID} {row} [tabulator-field='{column}']")

    def type_in(self, key: str, column: str, text: str, key_column: str = "step") -> None:
        """Choose a cell, type, Enter."""
        self.cell(key, column, key_column).click()
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")
        self.settle()

    def bar(self, step: str, lane: int = 0) -> Locator:
        """A bar of the chart; of a step of both, the one in lane 0 or 1."""
        return self.page.locator(f".pk-bar-work[data-step='{step}']").nth(lane)

    def start_px(self, step: str) -> float:
        """Where a bar begins on the screen."""
        box = self.bar(step).bounding_box()
        assert box is not None
        return box["x"]

    def drag(self, source: tuple[float, float], target: tuple[float, float]) -> None:
        """Press, move, let go."""
        self.page.mouse.move(*source)
        self.page.mouse.down()
        self.page.mouse.move(*target, steps=5)
        self.page.mouse.up()
        self.settle()

    def press(self, act: str) -> None:
        """A button of the tool bar."""
        self.page.locator(f".pk-workbench [data-act='{act}']").click()
        self.settle()

    def head(self) -> str:
        """When both are inside, and what is left; not findings and margins, which come later."""
        return self.page.locator(".pk-facts").inner_text().strip()

    def choose(self, act: str) -> None:
        """An entry of the menu."""
        self.page.locator(".pk-workbench [data-act=menu]").click()
        self.page.locator(f".pk-menu [data-act='{act}']").click()

    def hold_against(self, version: str) -> None:
        """Show what moved since a version: ghosts, Compare, head."""
        self.choose("held")
        self.page.get_by_label("Held against").select_option(version)
        self.settle()

    def keep(self, name: str) -> None:
        """Keep a version."""
        self.choose("versions")
        self.page.get_by_label("Name of a new version").fill(name)
        self.press("keep")

    def says(self, selector: str, text: str) -> None:
        """Wait until something says ``text``."""
        expect(self.page.locator(selector).first).to_contain_text(text)

    def paste(self, text: str) -> None:
        """What the browser does on Ctrl+V with ``text`` on the clipboard, which headless Chromium lacks."""
        self.page.evaluate("""text => {
            const data = new DataTransfer();
            data.setData('text/plain', text);
            const how = { clipboardData: data, bubbles: true, cancelable: true };
            document.activeElement.dispatchEvent(new ClipboardEvent('paste', how));
        }""", text)
        self.settle()

    def order(self, column: str = "step") -> list[str]:
        """The shown texts of a column of the open table, from the top down."""
        texts: list[str] = self.page.eval_on_selector_all(
            f"{GRID} .tabulator-row [tabulator-field='{column}']", "all => all.map(one => one.textContent)")
        return texts

    def begins_with(self, *steps: str) -> None:
        """Wait until the open table begins with these: rows are put in order after the answer is there."""
        for row, step in enumerate(steps):
            expect(self._steps().nth(row)).to_have_text(step)

    def has_order(self, *steps: str) -> None:
        """Wait until the open table has these steps, in this order."""
        expect(self._steps()).to_have_text(steps)

    def comes_before(self, first: str, then: str) -> None:
        """Wait until one step stands above another in the open table."""
        self.page.wait_for_function("""([grid, first, then]) => {
            const steps = [...document.querySelectorAll(`${grid} .tabulator-row [tabulator-field='step']`)];
            const place = step => steps.findIndex(one => one.textContent === step);
            return place(first) !== -1 && place(first) < place(then); }""", arg=[GRID, first, then])

    def _steps(self) -> Locator:
        return self.page.locator(f"{GRID} .tabulator-row [tabulator-field='step']")

    def chosen(self) -> str | None:
        """The step that is chosen in the chart."""
        return self.page.locator(".pk-chart").get_attribute("data-chosen")

    def change_theme(self, theme: str) -> None:
        """Change JupyterLab's theme to ``Dark`` or ``Light``."""
        self.page.evaluate("name => { window.jupyterapp.commands.execute('apputils:change-theme', "
                           "{theme: name}); }", f"JupyterLab {theme}")
        self.page.wait_for_selector(f".pk-workbench[data-theme={theme.lower()}]")

    def save_notebook(self, notebook: Path, words: str) -> Path:
        """Save until the notebook on the disk has all three outputs, one of the last two saying ``words``.

        Gives a copy, which no later save writes to: JupyterLab writes a notebook in place.
        """
        outputs: list[Any] = []
        for _ in range(WAIT_MS // 200):
            self.page.evaluate("""() => { window.isSaved = false;
                const saving = window.jupyterapp.commands.execute('docmanager:save');
                saving.finally(() => { window.isSaved = true; }); }""")
            self.page.wait_for_function("() => window.isSaved", timeout=WAIT_MS)
            try:
                saved = nbformat.read(notebook, as_version=4)
            except ValueError:  # JupyterLab is saving by itself just now
                continue
            outputs = saved.cells[1].get("outputs", [])
            if len(outputs) == 3 and any(words in json.dumps(each["data"]) for each in outputs[1:]):
                copy = notebook.with_name(f"saved-{notebook.name}")
                nbformat.write(saved, copy)
                return copy
            self.page.wait_for_timeout(200)
        pytest.fail(f"not saved with {words!r}: {outputs}")

    def place_of_keys(self) -> str:
        """Where the next key goes: a label, else the words on it, else its class; "" is outside."""
        place: str = self.page.evaluate("""() => {
            const at = document.activeElement;
            if (!document.querySelector('.pk-workbench')?.contains(at)) return '';
            if (at.matches('.tabulator-tableholder')) return 'table';
            return at.getAttribute('aria-label') ?? (at.textContent || at.className); }""")
        return place
