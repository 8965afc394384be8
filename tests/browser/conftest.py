"""A real browser without a network, and a JupyterLab for it to open."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import nbformat
import pytest
from nbformat import v4
from playwright.sync_api import Browser, Error, Page, TimeoutError, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
TOKEN = "a-fixed-token-for-tests"
BROWSER_NAMES = ("chromium", "chromium-browser", "google-chrome")
# Every host but the loopback leads nowhere: what renders here renders offline.
BROWSER_FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
]
# All waits are for a state; these only end one that never comes, on a machine with much else to do.
LAB_START_S = 180
LONGEST_WAIT_MS = 180_000


def browser_path() -> str:
    """Where the system's browser is; without one the tests are skipped, and fail where ``CI`` is set."""
    for name in BROWSER_NAMES:
        path = shutil.which(name)
        if path:
            return path
    message = f"no browser: none of {', '.join(BROWSER_NAMES)} is installed"
    if os.environ.get("CI"):
        pytest.fail(message)
    pytest.skip(message)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = browser_path()
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=BROWSER_FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": 1280, "height": 800})
    opened.set_default_timeout(LONGEST_WAIT_MS)
    opened.on("dialog", lambda dialog: dialog.accept())
    yield opened
    opened.close()


@dataclass(frozen=True)
class Lab:
    """A running JupyterLab; ``folder`` is its root."""

    address: str
    folder: Path

    def open(self, page: Page, notebook: str) -> None:
        """Open a notebook and run all its cells; what they show may still be on its way afterwards."""
        page.goto(f"{self.address}/lab/tree/{notebook}?token={TOKEN}&reset")
        # The kernel is there when the status bar says so; before that, running asks which kernel to take. Now
        # and then JupyterLab misses that its kernel has started: a page loaded anew takes the same kernel.
        for wait_ms in (LONGEST_WAIT_MS // 3, LONGEST_WAIT_MS):
            page.wait_for_selector(".jp-NotebookPanel .jp-Cell")
            try:
                page.wait_for_selector("#jp-main-statusbar >> text=/\\| Idle/", timeout=wait_ms)
                break
            except TimeoutError:
                if wait_ms == LONGEST_WAIT_MS:
                    raise
                page.reload()
        # Not awaited in the page: an awaited command on a cold kernel can hang for minutes.
        page.evaluate("() => { window.jupyterapp.commands.execute('notebook:run-all-cells'); }")

    def write(self, name: str, *sources: str) -> str:
        """Write a notebook of code cells into the root; gives its name."""
        cells = [v4.new_code_cell(source, id=f"cell-{n}") for n, source in enumerate(sources)]
        kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
        nbformat.write(v4.new_notebook(cells=cells, metadata=kernel), self.folder / name)
        return name


@pytest.fixture(scope="session")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    browser_path()
    with running_lab(tmp_path_factory.mktemp("lab"), tmp_path_factory.mktemp("home")) as running:
        yield running


@contextlib.contextmanager
def running_lab(folder: Path, home: Path) -> Iterator[Lab]:
    """A JupyterLab whose root is ``folder``; all that it writes of its own goes to ``home``."""
    port = _free_port()
    options = {
        "--ServerApp.port": port, "--ServerApp.ip": "127.0.0.1", "--ServerApp.port_retries": 0,
        "--ServerApp.root_dir": folder, "--ServerApp.allow_root": True,
        "--IdentityProvider.token": TOKEN, "--LabApp.expose_app_in_browser": True,
    }
    _switch_off_news(home / "config")
    command = [sys.executable, "-m", "jupyterlab", "--no-browser"]
    command += [f"{key}={value}" for key, value in options.items()]
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(home / "config"), "JUPYTER_DATA_DIR": str(home / "data"),
        "JUPYTERLAB_SETTINGS_DIR": str(home / "settings"), "IPYTHONDIR": str(home / "ipython"),
        "JUPYTERLAB_WORKSPACES_DIR": str(home / "workspaces"), "PYTHONPATH": str(ROOT),
        "PLANNING_KIT_STATE": str(home / "unsaved"),
    }
    log_path = home / "lab.log"
    with (log_path.open("w") as log,
          subprocess.Popen(command, stdout=log, stderr=log, env=environment) as server):
        try:
            _wait_until_up(f"http://127.0.0.1:{port}/api?token={TOKEN}", server, log_path)
            yield Lab(f"http://127.0.0.1:{port}", folder)
        finally:
            server.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                server.wait(timeout=10)
            if server.poll() is None:
                server.kill()


@contextlib.contextmanager
def opened_lab(work: Path) -> Iterator[tuple[Lab, Browser]]:
    """A JupyterLab below ``work`` and a browser, for what is no test."""
    root, home = work / "lab", work / "home"
    root.mkdir()
    home.mkdir()
    with (sync_playwright() as playwright,
          playwright.chromium.launch(executable_path=browser_path(), args=BROWSER_FLAGS) as browser,
          running_lab(root, home) as lab):
        yield lab, browser


def _switch_off_news(config: Path) -> None:
    """JupyterLab asks its home page for news and newer versions: not here."""
    disabled = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
    (config / "labconfig").mkdir(parents=True)
    (config / "labconfig" / "page_config.json").write_text(json.dumps(disabled))


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_until_up(address: str, server: subprocess.Popen[bytes], log_path: Path) -> None:
    give_up = time.monotonic() + LAB_START_S
    while time.monotonic() < give_up and server.poll() is None:
        with contextlib.suppress(OSError), urllib.request.urlopen(address, timeout=2):
            return
        time.sleep(0.2)
    pytest.fail(f"JupyterLab did not start:\n{log_path.read_text()[-2000:]}")


@pytest.fixture
def asked_outside(page: Page) -> list[str]:
    """Every address outside this machine that the page asks for, filled while it works."""
    asked: list[str] = []

    def note(address: str) -> None:
        local = ("http://127.0.0.1", "ws://127.0.0.1", "file:", "data:", "blob:", "about:")
        if not address.startswith(local):
            asked.append(address)

    page.on("request", lambda request: note(request.url))
    return asked


# What anywidget says of a page too busy to load a script within two seconds; the view works all the same
# (test_slow_page.py), so that a slow machine fails no other test by it.
GIVEN_UP = "[anywidget] Failed to initialize model."


@pytest.fixture
def page_errors(page: Page) -> list[str]:
    """Errors that scripts of the page did not catch."""
    errors: list[str] = []

    def note(error: Error) -> None:
        if str(error) != GIVEN_UP:
            errors.append(f"{error}\n{error.stack or ''}")

    page.on("pageerror", note)
    return errors


