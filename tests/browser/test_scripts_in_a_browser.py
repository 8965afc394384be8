"""The unit tests of the page's scripts: the modules themselves, run in the browser, each test by its name."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Route

from planning_kit.desk.assets import library_text
from tests.browser.conftest import ROOT

SITE = "http://scripts.localhost"  # which a browser trusts as an address, so that it writes video
SHOW, STATIC = ROOT / "planning_kit" / "show", ROOT / "planning_kit" / "desk" / "static"
TESTS = ROOT / "tests" / "browser" / "scripts"
FOLDERS = {"static": STATIC, "show": SHOW, "film": SHOW / "film" / "static", "tests": TESTS}
FILES = sorted(path.name for path in TESTS.glob("*.test.js"))
NAMES = {name: re.findall(r'^test\("(.+?)"', (TESTS / name).read_text(encoding="utf-8"), re.MULTILINE)
         for name in FILES}
CASES = [pytest.param(name, test, id=f"{name.removesuffix('.test.js')}: {test}")
         for name in FILES for test in NAMES[name]]
RUN = """async name => {
    const { run } = await import("/tests/check.js");
    await import(`/tests/${name}`);
    return await run();
}"""
Results = Callable[[str], dict[str, str | None]]


def serve(route: Route) -> None:
    """A module from the disk; the table library as the kernel sends it; else an empty page."""
    folder, _, name = urlsplit(route.request.url).path.lstrip("/").partition("/")
    if folder in FOLDERS:
        route.fulfill(path=FOLDERS[folder] / name, content_type="text/javascript; charset=utf-8")
    elif folder == "library.js":
        route.fulfill(body=library_text(), content_type="text/javascript; charset=utf-8")
    else:
        route.fulfill(body="<!doctype html><title>scripts</title>", content_type="text/html")


@pytest.fixture(scope="module")
def results(browser: Browser) -> Iterator[Results]:
    """What came of the tests of a file, which are run once, in a page of their own."""
    known: dict[str, dict[str, str | None]] = {}
    context = browser.new_context(viewport={"width": 1000, "height": 800})
    context.route(f"{SITE}/**", serve)

    def run(name: str) -> dict[str, str | None]:
        if name not in known:
            page = context.new_page()
            errors: list[str] = []
            page.on("pageerror", lambda error: errors.append(str(error)))
            page.goto(f"{SITE}/")
            known[name] = page.evaluate(RUN, name)
            page.close()
            assert errors == []
        return known[name]

    yield run
    context.close()


@pytest.mark.parametrize(("name", "test"), CASES)
def test_script(name: str, test: str, results: Results) -> None:
    fault = results(name)[test]
    assert fault is None, fault


@pytest.mark.parametrize("name", FILES)
def test_every_test_of_a_file_was_found_and_run(name: str, results: Results) -> None:
    assert len(set(NAMES[name])) == len(NAMES[name]) > 0
    assert list(results(name)) == NAMES[name]


def test_a_test_that_fails_is_told(browser: Browser) -> None:
    page = browser.new_page()
    page.route(f"{SITE}/**", serve)
    page.goto(f"{SITE}/")
    found = page.evaluate("""async () => {
        const { equal, near, run, test } = await import("/tests/check.js");
        test("wrong", () => equal([1], [2]));
        test("far", () => near(1, 1.1));
        test("none", () => near(NaN, 1));
        test("late", async () => { await null; throw new Error("later"); });
        test("right", () => equal({ a: [1] }, { a: [1] }));
        return await run();
    }""")
    page.close()
    assert [name for name, fault in found.items() if fault] == ["wrong", "far", "none", "late"]
