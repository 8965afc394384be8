"""The workbench as a planner handles it in the browser: what tests and the benchmark do with it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Locator, Page, TimeoutError, expect

from tests.browser.conftest import ROOT, Lab

WAIT_MS = 20_000
DEMO, SMALL = (ROOT / "scenarios" / name for name in ("tern-station", "small-outing"))
GRID = ".pk-grid:not([hidden])"


@dataclass(frozen=True)
class Bench:
    """An open workbench on its own copy of a scenario."""

    page: Page
    folder: Path

    @classmethod
    def open(cls, page: Page, lab: Lab, name: str, scenario: Path = DEMO) -> Bench:
        """Copy a scenario, open a notebook on it, run it, and wait until all is shown."""
        folder = lab.folder / f"{name}-scenario"
        if not folder.exists():
            shutil.copytree(scenario, folder)
        lab.open(page, lab.write(f"{name}.ipynb", "import planning_kit as pk",
                                 f"bench = pk.workbench(pk.load_scenario({str(folder)!r}))\nbench"))
        bench = cls(page, folder)
        bench.wait_until_shown()
        page.evaluate("() => { window.jupyterapp.shell.collapseLeft(); }")
        return bench

    def wait_until_shown(self) -> None:
        """Wait for the chart and what follows it."""
        try:
            self.page.wait_for_selector(".pk-chart .pk-bar-work", state="attached", timeout=45_000)
        except TimeoutError as error:
            cells = self.page.locator(".jp-NotebookPanel .jp-Cell").all_inner_texts()
            raise AssertionError(f"no workbench: {cells}") from error
        self.page.wait_for_selector(".pk-side .pk-item", state="attached", timeout=WAIT_MS)

    def settle(self) -> None:
        """Wait until the kernel has answered every message."""
        self.page.wait_for_function("""() => {
            const { sent, answered } = document.querySelector('.pk-workbench').dataset;
            return sent === answered; }""", timeout=WAIT_MS)

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
        """The head line: when both are inside, and what is left."""
        return self.page.locator(".pk-head").inner_text()

    def says(self, selector: str, text: str) -> None:
        """Wait until something says ``text``."""
        expect(self.page.locator(selector).first).to_contain_text(text, timeout=WAIT_MS)
