"""A kernel that stands still and answers in the end, and two workbenches of one scenario in it."""

from __future__ import annotations

import os
import signal

from playwright.sync_api import expect

from tests.browser.benches import SMALL, WAIT_MS, Bench

QUIET = "The kernel does not answer"


def kernel_number(page, file):
    """What the cell behind the workbench writes, which may still have to run when that is shown."""
    for _ in range(WAIT_MS // 100):
        if file.exists() and (text := file.read_text(encoding="utf-8")):
            return int(text)
        page.wait_for_timeout(100)
    raise AssertionError("the kernel does not tell its number")


def test_what_is_said_of_a_silent_kernel_goes_with_its_answer(page, lab, page_errors):
    page.set_viewport_size({"width": 1280, "height": 1000})
    number = lab.folder / "kernel"
    bench = Bench.open(page, lab, "silent", SMALL,
                       f"import os, pathlib\npathlib.Path({str(number)!r}).write_text(str(os.getpid()))")
    kernel = kernel_number(page, number)
    bench.wait_less()
    told = page.locator(".pk-said[role=status]")
    for text in ("Typed meanwhile", "Once more"):
        os.kill(kernel, signal.SIGSTOP)
        bench.cell("B2", "title").click()
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        expect(told).to_contain_text(QUIET)
        os.kill(kernel, signal.SIGCONT)
        bench.settle()
        expect(told).to_have_text("")
        expect(bench.cell("B2", "title")).to_have_text(text)

    # What an answer itself says stays.
    os.kill(kernel, signal.SIGSTOP)
    page.locator("[data-act=save]").click()
    expect(told).to_contain_text(QUIET)
    os.kill(kernel, signal.SIGCONT)
    bench.settle()
    expect(told).to_contain_text("saved to")
    assert page_errors == []


def test_a_second_workbench_shows_the_first_as_in_use_and_takes_a_copy(page, lab, page_errors):
    page.set_viewport_size({"width": 1280, "height": 1600})
    bench = Bench.open(page, lab, "in-use", SMALL)
    bench.type_in("B2", "title", "Of the first")
    page.evaluate("() => { window.jupyterapp.shell.currentWidget.content.activeCellIndex = 1; }")
    page.evaluate("() => { window.jupyterapp.commands.execute('notebook:run-cell'); }")
    copy = page.locator(".pk-workbench [data-act=restore]")
    expect(copy).to_have_text("Copy")
    bench.says(".pk-ask", "in use")
    expect(page.locator(".pk-workbench [data-act=discard]")).to_have_count(0)
    bench.wait_until_shown()
    copy.click()
    bench.settle()
    expect(bench.cell("B2", "title")).to_have_text("Of the first")
    bench.says(".pk-ask", "in use")  # it stays with the first
    assert page_errors == []
