"""Every state of the workbench, to be looked at.

`python -m tests.browser.all_screens FOLDER [states] [--of SCENARIO]`: at four sizes, light and dark, in
JupyterLab: each tab beside the chart, the form, the list of columns, the menu and its windows, a fault;
outside the console, its tabs, a call home, a response; of the demo's campaign the board, a move, a no, a
title of 300 characters, thread, season and early end. Of the demo, or of a scenario's folder. Printed: what
is cut off, lies over another or scrolls besides the grid. The pictures are never committed.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from collections.abc import Callable, Sequence
from itertools import combinations
from pathlib import Path

from playwright.sync_api import Page

from tests.browser.benches import Bench
from tests.browser.conftest import ROOT, opened_lab
from tests.browser.test_workbench_geometry import LOOK, OUTSIDE, PARTS, SIZES, overlap

SHOWN = list(dict.fromkeys(PARTS + OUTSIDE))
# Words that are cut off, and say nowhere what they say in full.
CUT = """() => [...document.querySelectorAll('.pk-workbench *')].filter(each => each.getClientRects().length
    && !each.closest('.tabulator, .pk-live, [hidden]') && each.childElementCount === 0 && each.textContent
    && getComputedStyle(each).overflow !== 'visible' && !each.closest('[title]:not([title=""])')
    && each.scrollWidth > each.clientWidth + 1).map(each => `${each.className}: ${each.textContent}`)"""
# What scrolls besides the grid.
SCROLLS = """() => [...document.querySelectorAll('.pk-workbench *')].filter(each =>
    each.getClientRects().length
    && !each.closest('.tabulator') && /auto|scroll/.test(getComputedStyle(each).overflowY)
    && each.scrollHeight > each.clientHeight + 1).map(each => `scrolls: ${each.className} ${each.dataset.pane
    ?? ''} ${each.clientHeight} of ${each.scrollHeight}`)"""
# Words of one part that lie on those of another, or out of the frame.
MESS = """() => {
    const root = document.querySelector('.pk-workbench');
    const frame = root.getBoundingClientRect();
    const windowOf = each => { for (let at = each; at !== root; at = at.parentElement) {
        const { position, zIndex } = getComputedStyle(at);
        if (at.matches('dialog, .pk-form, .pk-columns, .pk-call')
            || (zIndex >= 10 && position !== 'static')) return at; }
        return null; };
    const all = [...root.querySelectorAll('button, select, input, .pk-fact, .pk-hint, h3, h4, label')].filter(
        each => each.getClientRects().length && getComputedStyle(each).visibility === 'visible'
        && !each.closest('.tabulator, .pk-live') && !each.matches('.pk-window, [type=range]'));
    const seen = each => { let { left, top, right, bottom } = each.getBoundingClientRect();
        for (let at = each.parentElement; at && at !== root.parentElement; at = at.parentElement) {
            if (getComputedStyle(at).overflow === 'visible') continue;
            const box = at.getBoundingClientRect();
            [left, top] = [Math.max(left, box.left), Math.max(top, box.top)];
            [right, bottom] = [Math.min(right, box.right), Math.min(bottom, box.bottom)]; }
        return { left, top, right, bottom }; };
    const boxes = all.map(each => [each, seen(each)]).filter(([, box]) => box.right > box.left + 2
        && box.bottom > box.top + 2);
    const found = boxes.filter(([each, box]) => !each.closest('dialog') && (box.left < frame.left - 1
        || box.right > frame.right + 1)).map(([each]) => `out of the frame: ${each.textContent}`);
    for (const [at, [one, a]] of boxes.entries()) for (const [other, b] of boxes.slice(at + 1)) {
        if (one.contains(other) || other.contains(one)) continue;
        if (windowOf(one) !== windowOf(other)) continue; // a window lies over the rest on purpose
        const [wide, high] = [Math.min(a.right, b.right) - Math.max(a.left, b.left),
                              Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top)];
        if (wide > 2 && high > 2) found.push(`over another: ${one.textContent || one.ariaLabel} | ${
            other.textContent || other.ariaLabel}`); }
    return found; }"""

Act = Callable[[Bench], object]


def tab(name: str) -> Act:
    """Open a tab beside the chart."""
    return lambda bench: bench.page.locator(f"[data-side={name}]").click()


def press(keys: str) -> Act:
    """Press a key where the keyboard is."""
    return lambda bench: bench.page.keyboard.press(keys)


def click(selector: str) -> Act:
    """Click the first that is seen."""
    return lambda bench: bench.page.locator(f"{selector} >> visible=true").first.click()


def choose(act: str) -> Act:
    """An entry of the menu."""
    return lambda bench: bench.choose(act)


def moved(bench: Bench) -> None:
    """A kept version, and an edit since then."""
    bench.keep("before")
    bench.page.keyboard.press("Escape")
    bench.hold_against("before")
    bench.type_in(bench.order()[1], "minutes_likely", "29")


def answered(name: str) -> Act:
    """Ask a long question and wait for its answer."""
    def ask(bench: Bench) -> None:
        bench.page.locator(f"[data-side={name}]").click()
        bench.page.locator(f".pk-pane[data-pane={name}] [data-act={name}]").click()
        bench.page.wait_for_function("""name => document.querySelector(`.pk-pane[data-pane=${name}]`)
            .querySelector('table, section')""", arg=name, timeout=300_000)
    return ask


def outside(bench: Bench) -> None:
    """Outside, some time after the start."""
    bench.page.locator("[data-mode-to=outside]").click()
    bench.settle()
    bench.page.locator("input[aria-label='Now, PET or UTC']").fill("1:30")
    bench.page.keyboard.press("Enter")
    bench.settle()


PLANNING: dict[str, tuple[Act, Act | None]] = {
    "findings": (tab("findings"), None), "margins": (tab("margins"), None),
    "why": (lambda bench: (bench.page.locator(".pk-bar-work").nth(12).click(), tab("why")(bench)), None),
    "actions": (tab("actions"), None), "compare": (lambda bench: (moved(bench), tab("moved")(bench)), None),
    "odds": (answered("odds"), None), "order": (tab("order"), None),
    "form": (lambda bench: bench.page.locator(".pk-tables").get_by_text("Form").first.click(),
             click(".pk-form-head .pk-button")),
    "columns": (lambda bench: bench.page.locator(".pk-tables").get_by_text("Columns").first.click(),
                press("Escape")),
    "menu": (click("[data-act=menu]"), press("Escape")),
    "versions": (choose("versions"), press("Escape")), "export": (choose("out"), press("Escape")),
    "keys": (choose("keys"), press("Escape")),
    "legend": (click(".pk-legend-toggle"), click(".pk-legend-toggle")),
    "fault": (lambda bench: bench.type_in(bench.order()[1], "minutes_likely", "soon"),
              lambda bench: bench.press("undo")),
}
OUT: dict[str, tuple[Act, Act | None]] = {
    "console": (outside, None), "out-options": (tab("findings"), None), "out-margins": (tab("margins"), None),
    "call": (lambda bench: (bench.page.locator(".pk-lane-card").first.focus(),
                            bench.page.keyboard.press("a")), press("Escape")),
    "response": (lambda bench: (bench.page.locator(".pk-lane-card").first.focus(),
                                bench.page.keyboard.press("e")), press("Escape")),
    "logged": (lambda bench: (bench.page.locator(".pk-lane-card").first.focus(),
                              bench.page.keyboard.press("s"), bench.settle()), None),
}
LONG_TITLE = ("A title that somebody has pasted with all that is known of the work " * 5)[:300]


def campaign(bench: Bench) -> None:
    """The page of the campaign."""
    bench.page.locator("[data-mode-to=campaign]").click()
    bench.page.locator(".pk-card").first.wait_for()
    bench.settle()


def answered_move(task: str, outing: str) -> Act:
    """Choose a task, try it on an outing, wait for what comes of it."""
    def ask(bench: Bench) -> None:
        bench.page.locator("[data-look=board]").click()
        bench.page.locator(f".pk-card[data-task={task}][data-can-move]").click()
        bench.page.locator(f"[data-try='{outing}']").click()
        bench.page.locator(".pk-board-acts").wait_for()
    return ask


def look(name: str) -> Act:
    """Another view of the campaign, with its answer."""
    def ask(bench: Bench) -> None:
        bench.page.locator(f"[data-look={name}]").click()
        bench.page.locator(".pk-look[aria-busy=false] .pk-strip").first.wait_for()
    return ask


CAMPAIGN: dict[str, tuple[Act, Act | None]] = {
    "campaign": (campaign, None), "campaign-move": (answered_move("LMP", ""), None),
    "campaign-no": (answered_move("LEK", "two"), None),
    "campaign-long": (lambda bench: (bench.page.locator("[data-look=board]").click(),
                                     bench.page.locator(".pk-card[data-task=SHD]").click()), None),
    "campaign-thread": (look("thread"), None), "campaign-season": (look("season"), None),
    "campaign-end": (look("end"), None),
}


def picture(page: Page, folder: Path, name: str) -> None:
    """One state at every size, light and dark; what is wrong with it is printed."""
    bench = Bench(page, folder)
    for theme in ("Light", "Dark"):
        bench.change_theme(theme)
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_timeout(600)
            page.evaluate("document.querySelector('.pk-workbench').scrollIntoView({ block: 'start' })")
            page.screenshot(path=folder / f"{name}-{width}-{theme.lower()}.png")
            if theme == "Light":
                for words in [*overlapping(page), *page.evaluate(CUT), *page.evaluate(MESS),
                              *page.evaluate(SCROLLS)]:
                    print(f"{name} {width}: {words[:160]}", flush=True)


def overlapping(page: Page) -> list[str]:
    """Which parts that are seen lie over each other."""
    parts = page.evaluate("""parts => parts.filter(part => document.querySelector(`.pk-workbench ${part}`)
        ?.checkVisibility({ visibilityProperty: true }))""", SHOWN)
    seen = page.evaluate(LOOK, parts)["parts"]
    holds = """([a, b]) => [a, b].map(each => document.querySelector(`.pk-workbench ${each}`)).some(
        (each, at, both) => each.contains(both[1 - at]))"""
    return [f"{one} over {other}" for one, other in combinations(parts, 2)
            if overlap(seen[one], seen[other]) and not page.evaluate(holds, [one, other])]


def main(folder: Path, scenario: Path, wanted: Sequence[str]) -> None:
    """The states that are wanted, or all, into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work, opened_lab(Path(work)) as (lab, browser):
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.on("dialog", lambda dialog: dialog.accept())
        copy = lab.folder / "screens-scenario"
        shutil.copytree(scenario, copy)
        outings = lab.folder / "screens-campaign"
        shutil.copytree(ROOT / "scenarios" / "tern-campaign", outings)
        for path in (outings / "backlog.csv", outings / "three" / "tasks.csv"):
            words = path.read_text(encoding="utf-8")
            path.write_text(words.replace("Debris shield on the aft ring", LONG_TITLE), encoding="utf-8")
        for where, states, always in ((copy, PLANNING | OUT, ("why", "console")),
                                      (outings / "two", CAMPAIGN, ("campaign",))):
            if wanted and not {*wanted} & {*states}:
                continue
            bench = Bench.at(page, lab, f"screens-{where.name}", where)
            page.wait_for_timeout(2500)
            for name, (begin, end) in states.items():
                if not wanted or name in (*wanted, *always):
                    seen(bench, folder, name, begin, end)


def seen(bench: Bench, folder: Path, name: str, begin: Act, end: Act | None) -> None:
    """Go to a state, take its pictures, and go on from it."""
    try:
        begin(bench)
        bench.settle()
        bench.page.wait_for_timeout(400)
        picture(bench.page, folder, name)
        bench.page.set_viewport_size({"width": 1366, "height": 768})
        if end is not None:
            bench.page.wait_for_timeout(300)
            end(bench)
            bench.settle()
    except Exception as error:  # the other states are to be seen all the same
        print(f"{name}: not seen: {str(error)[:300]}", flush=True)


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("folder", type=Path)
    asked.add_argument("states", nargs="*")
    asked.add_argument("--of", type=Path, default=ROOT / "scenarios" / "tern-station")
    given = asked.parse_args()
    main(given.folder, given.of, given.states)
