"""A page so busy that the notebook gives a widget's script up: its views work all the same."""

from __future__ import annotations

import pytest

from tests.browser.benches import SMALL, Bench
from tests.browser.conftest import GIVEN_UP

# anywidget waits two seconds for a script by this clock alone: here they are over before any script can load.
NO_TIME = """AbortSignal.timeout = () => {
    const ended = new AbortController();
    queueMicrotask(() => ended.abort());
    return ended.signal;
}"""


@pytest.fixture
def given_up(page):
    """What the page says of a script given up: without it the two seconds were not over."""
    said: list[str] = []
    page.on("pageerror", lambda error: said.append(str(error)))
    return said


@pytest.fixture
def slow_page(page):
    page.add_init_script(NO_TIME)
    page.set_viewport_size({"width": 1280, "height": 1000})
    return page


def test_a_workbench_whose_script_was_given_up_works(slow_page, lab, given_up):
    bench = Bench.open(slow_page, lab, "given-up", SMALL)
    bench.type_in("B2", "title", "Typed late")
    assert bench.cell("B2", "title").inner_text() == "Typed late"
    assert set(given_up) == {GIVEN_UP}


def test_a_film_whose_script_was_given_up_plays(slow_page, lab, given_up):
    lab.open(slow_page, lab.write("given-up-film.ipynb", "import planning_kit as pk",
                                  f"pk.time_plan(pk.load_scenario({str(SMALL)!r})).film()"))
    slow_page.wait_for_selector(".jp-Notebook .pkf-picture", timeout=60_000)
    assert set(given_up) == {GIVEN_UP}
