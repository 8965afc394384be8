"""From edit to repainted chart, in the browser: `python -m tests.bench.bench_workbench [edits]`.

Measured in JupyterLab in headless Chromium, which draws without a graphics card: from the Enter that ends an
edit to the frame after the chart was drawn anew. On the way: the message to the kernel, validation of all
tables, timing of the plan, the message back, the table's row, the chart. Findings and margins follow after it
and are not waited for. Also printed: what of it the kernel takes. Outside: from the key that logs an event to
the re-timed picture; the row is on the disk by then. In a drag: from the pointer's move to the frame with the
ghosts of what the drop would come to, and to that with the stops; beside what of it the kernel takes. The
ratios to the kernel hold on a busy machine, too; the load of the machine stands beside each count of steps.
An empty round trip is what JupyterLab takes for a message there and back and a frame, with no work in it.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
from playwright.sync_api import Page

import planning_kit as pk
from planning_kit.desk import messages
from planning_kit.desk.candidate import told_of_drop
from planning_kit.explore.session.session import Session

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "tests" / "data" / "tern-2"
GOAL_MS, OUTSIDE_GOAL_MS, OUTSIDE_STEPS, DEMO_STEPS = 100, 200, 80, 89
GHOSTS_GOAL_MS, STOPS_GOAL_MS = 60, 200
TRIP_BYTES = 20_000  # as many as an edit of the demo comes back with
POLL_MS = 20  # at every frame, as playwright does by itself, would be work for the page that is measured
CLOCK = """() => {
    window.took = [];
    let begin = null;
    const onKey = event => { if (['Enter', 's', 'f'].includes(event.key)) begin = performance.now(); };
    document.addEventListener('keydown', onKey, true);
    new MutationObserver(() => {
        if (begin === null) return;
        const since = begin;
        begin = null;
        requestAnimationFrame(() => {
            const drawn = new MessageChannel();  // its message comes after the frame was drawn
            drawn.port1.onmessage = () => window.took.push(performance.now() - since);
            drawn.port2.postMessage(0);
        });
    }).observe(document.querySelector('.pk-chart'), { attributes: true, attributeFilter: ['data-painted'] });
}"""


# What each move of a drag came to: how long until ghosts were drawn, and until the stops stood in the box.
DRAG_CLOCK = """() => {
    window.took = [];
    let begin = 0, ghosts = null;
    const drawn = then => requestAnimationFrame(() => {
        const channel = new MessageChannel();
        channel.port1.onmessage = () => then(performance.now() - begin);
        channel.port2.postMessage(0);
    });
    document.addEventListener('pointermove', () => { begin = performance.now(); ghosts = null; }, true);
    new MutationObserver(() => {
        const box = document.querySelector('.pk-drag-box'), since = begin;
        if (!box?.querySelector('.pk-drag-end') || box.querySelector('.pk-drag-end.pk-pending')) return;
        if (ghosts === null) { ghosts = -1; drawn(ms => { if (since === begin) ghosts = ms; }); }
        if (box.textContent.includes('Tightest'))
            drawn(ms => { if (since === begin && window.took.at(-1)?.[0] !== since)
                window.took.push([since, ghosts, ms]); });
    }).observe(document.querySelector('.pk-workbench'), { childList: true, subtree: true });
}"""


# A kernel that only sends back, and what each trip to it came to: until the frame after one bar was moved.
ECHO = """def opened(comm, _):
    comm.on_msg(lambda message: comm.send(message["content"]["data"]))
get_ipython().kernel.comm_manager.register_target("echo", opened)"""
TRIPS = """async ([trips, text]) => {
    const { kernel } = window.jupyterapp.shell.currentWidget.sessionContext.session;
    const comm = kernel.createComm('echo'), bar = document.querySelector('.pk-bar-work'), took = [];
    const channel = new MessageChannel();
    await comm.open().done;
    for (let trip = 0; trip < trips; trip++) {
        await new Promise(then => setTimeout(then, 350));
        const begin = performance.now();
        comm.send({ text });
        await new Promise(then => { comm.onMsg = then; });
        const by = trip % 2 ? 1 : -1;
        bar.setAttribute('points', bar.getAttribute('points').replace(/^[0-9.]+/, px => +px + by));
        await new Promise(then => requestAnimationFrame(() => {
            channel.port1.onmessage = then;
            channel.port2.postMessage(0);
        }));
        took.push(performance.now() - begin);
    }
    return took;
}"""


def steps_repeated(count: int) -> pk.Scenario:
    """The demo with its first steps only (fewer), or with steps of its middle repeated (more)."""
    demo = pk.load_scenario(DEMO)
    more, number = demo.steps, 2
    if count < len(more):
        return demo.with_table("gaps", demo.gaps[:0]).with_table("inhibits", demo.inhibits[:0]).with_table(
            "steps", _without_ties(more[:count]))
    demo = demo.with_settings({"horizon_h": 40.0, "limits.planned_min": 1500, "limits.hard_min": 1800})
    while len(more) < count:
        again = _without_ties(demo.steps[40:85][:count - len(more)])
        again["step"] += f"-{number}"
        more = pd.concat([more[:-3], again, more[-3:]], ignore_index=True)
        number += 1
    return demo.with_table("steps", more)


def _without_ties(steps: pd.DataFrame) -> pd.DataFrame:
    """Steps that wait for nothing but their own lane."""
    free = steps.copy()
    free[["after", "same_window", "light", "windows", "link"]] = ""
    return free


def kernel_ms(scenario: pk.Scenario, edits: int, sheet: str = "steps",
              column: str = "minutes_likely") -> list[float]:
    """What one edit of step EG1, or of its first action, takes in the kernel until its patch is made."""
    session, took = Session(scenario), []
    line = session.draft[sheet].find("step", "EG1")
    assert line is not None
    for number in range(edits):
        draft = session.draft
        begin = time.perf_counter()
        session.type_cells(sheet, {(line, column): str(15 + number % 6)})
        messages.patch(session, draft, with_chart=True)
        took.append(1000 * (time.perf_counter() - begin))
    return took


def browser_ms(page: Page, bench: object, edits: int) -> Sequence[float]:
    """Type another duration into the first step again and again; how long each took."""
    page.evaluate(CLOCK)
    bench.cell("EG1", "title").click()  # type: ignore[attr-defined]
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    for number in range(edits):
        page.keyboard.type(str(15 + number % 6))
        page.keyboard.press("Enter")
        page.wait_for_function("number => window.took.length > number", arg=number, polling=POLL_MS)
        bench.settle()  # type: ignore[attr-defined]
        page.wait_for_timeout(350)  # a planner's pause, in which the findings come
    took: list[float] = page.evaluate("() => window.took")
    return took


def drag_kernel_ms(scenario: pk.Scenario, moves: int) -> list[tuple[float, float]]:
    """What the kernel takes for the ghosts of other minutes of the first step, and until their stops."""
    session, took = Session(scenario), []
    for number in range(moves + 1):
        drop = {"kind": "minutes", "step": "EG1", "minutes": 17 + 2 * (number % 3)}
        begin = time.perf_counter()
        told_of_drop(session, {"kind": "candidate", "drop": drop})
        soon = time.perf_counter()
        told_of_drop(session, {"kind": "consequences", "drop": drop})
        took.append((1000 * (soon - begin), 1000 * (time.perf_counter() - begin)))
    return took[1:]  # in the first the plan as it is is checked too


def drag_ms(page: Page, bench: object, moves: int) -> list[tuple[float, float]]:
    """Drag the end of the first step on and on; how long each move took until ghosts, and until stops."""
    bench.settle()  # type: ignore[attr-defined]
    page.wait_for_timeout(2500)  # what follows the opening
    box = bench.bar("EG1").bounding_box()  # type: ignore[attr-defined]
    page.evaluate(DRAG_CLOCK)
    x, y = box["x"] + box["width"] - 1, box["y"] + box["height"] / 2
    page.keyboard.down("Alt")  # nothing snaps
    page.mouse.move(x, y)
    page.mouse.down()
    for number in range(moves + 1):
        page.mouse.move(x + 6 + 6 * (number % 3), y)
        page.wait_for_function("() => document.querySelector('.pk-drag-box')?.textContent"
                               ".includes('Tightest') && "
                               "!document.querySelector('.pk-drag-box .pk-pending')", polling=POLL_MS)
        page.wait_for_timeout(350)
    page.keyboard.press("Escape")
    page.mouse.up()
    page.keyboard.up("Alt")
    bench.settle()  # type: ignore[attr-defined]
    took: list[tuple[float, float]] = page.evaluate("() => window.took.map(([, ...ms]) => ms)")
    return took[1:]


def told_drag(count: int, took: Sequence[tuple[float, float]], kernel: Sequence[tuple[float, float]]) -> None:
    """Ghosts, stops, and how long the stops come after the ghosts."""
    for what, goal, ms, own in zip(("ghosts", "stops"), (GHOSTS_GOAL_MS, 0),
                                   zip(*took, strict=True), zip(*kernel, strict=True), strict=True):
        told(f"{count} steps, drag to {what}, kernel alone", own)
        told(f"{count} steps, drag to {what}", ms, own, goal)
    told(f"{count} steps, stops after ghosts", [stops - ghosts for ghosts, stops in took], goal=STOPS_GOAL_MS)


def outside_ms(page: Page, bench: object, entries: int) -> Sequence[float]:
    """Log a start, then a finish, again and again with one key each; how long each took."""
    page.locator("[data-mode-to=outside]").click()
    bench.settle()  # type: ignore[attr-defined]
    page.evaluate(CLOCK)
    page.locator(".pk-lane-card[data-lane=EV1]").focus()
    for number in range(entries):
        page.keyboard.press("sf"[number % 2])
        bench.settle()  # type: ignore[attr-defined]
        page.wait_for_timeout(350)
    took: list[float] = page.evaluate("() => window.took")
    assert len(took) == entries, page.locator(".pk-entry-faults").all_inner_texts()
    return took


def told(what: str, took: Sequence[float], own: Sequence[float] = (), goal: int = 0) -> None:
    """Least, median, ninth decile, worst; the median over the kernel's ``own`` and the ``goal``, ms."""
    median, ninth = statistics.median(took), statistics.quantiles(took, n=10)[8]
    print(f"{what:42}" + "".join(f"{name} {ms:5.0f} ms   " for name, ms in zip(
        ("least", "median", "90 %", "worst"), (min(took), median, ninth, max(took)), strict=True)))
    ratios = [f"{median / statistics.median(own):.2f} of the kernel alone"] if own else []
    ratios += [f"{median / goal:.2f} of the {goal} ms wanted"] if goal else []
    if ratios:
        print(f"{'':42}{', '.join(ratios)}")


def main(edits: int) -> None:
    """Measure 80, 89 (the demo) and 150 steps."""
    from tests.browser.benches import Bench
    from tests.browser.conftest import opened_lab

    with tempfile.TemporaryDirectory() as work, opened_lab(Path(work)) as (lab, browser):
        for count in (80, 89, 150):
            scenario = steps_repeated(count)
            print(f"load of the last minute: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
            kernel = kernel_ms(scenario, edits)
            told(f"{count} steps, kernel alone", kernel)
            if count == DEMO_STEPS:
                for edit in (("steps", "title"), ("actions", "action")):
                    told(f"{edit[1]} in {edit[0]}, kernel alone", kernel_ms(
                        pk.load_scenario(ROOT / "scenarios" / "tern-station"), edits, *edit))
            page = browser.new_page(viewport={"width": 1280, "height": 1000})
            page.on("dialog", lambda dialog: dialog.accept())
            folder = scenario.save(Path(work) / f"s{count}").folder
            took = browser_ms(page, Bench.open(page, lab, f"steps-{count}", folder), edits)
            told(f"{count} steps, edit to repainted chart", took, kernel, GOAL_MS)
            bench = Bench.open(page, lab, f"drag-{count}", folder, ECHO)
            told_drag(count, drag_ms(page, bench, edits), drag_kernel_ms(scenario, edits))
            told(f"{count} steps, an empty round trip", page.evaluate(TRIPS, [edits, "." * TRIP_BYTES]))
            if count == OUTSIDE_STEPS:
                took = outside_ms(page, Bench.open(page, lab, f"steps-{count}", folder), edits)
                told(f"{count} steps, log entry to re-timed chart", took, goal=OUTSIDE_GOAL_MS)
            page.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 30)
