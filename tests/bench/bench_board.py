"""From a move on the board to its answer, in the browser: ``python -m tests.bench.bench_board [moves]``.

Measured in JupyterLab in headless Chromium, of a campaign of 5 outings and 60 tasks: from the key that tries
a task on another outing, or the drop, to the frame after its answer was drawn (the pause of 0.12 s in which
a hand may pass on is part of it); from the Enter that ends an edit of the open outing to the frame in which
all columns of the board are drawn anew; from the choice of a view beside it to that view. Beside each what
of it the kernel takes in a process of its own. Asked: an edit of one outing answered in the campaign within
1 s. The ratios hold on a busy machine, too.

Verdict (one run beside a load of 5 to 6 on two cores; medians of six, of the clock): met.

    a task tried by key               662 ms   2.7 of the kernel alone   0.66 of 1 s
    a task dropped                    528 ms   2.2                       0.53
    a view beside the board           116 ms   2.3                       0.12
    an edit, until the board is new   365 ms   2.0                       0.36
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from playwright.sync_api import Page

import planning_kit as pk
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.moving import moved
from planning_kit.campaign.open_work import question_of
from planning_kit.desk.board_looks import look_told
from planning_kit.desk.board_told import answer_told, showing
from planning_kit.explore.long_question import at_once
from tests.bench.bench_campaign import ROOM_MIN, rows
from tests.bench.bench_workbench import POLL_MS, told
from tests.browser.benches import Bench
from tests.browser.conftest import opened_lab
from tests.campaign.ridge import write_ridge

GOAL_MS = 1000
LOOKS = ("thread", "season", "end")
# `window.begin` says when a hand or a key began; `window.took` gets what was drawn since, by its name.
CLOCK = """() => {
    window.took = {};
    const drawn = name => { const since = window.begin; requestAnimationFrame(() => {
        const channel = new MessageChannel();
        channel.port1.onmessage = () => { window.took[name] ??= performance.now() - since; };
        channel.port2.postMessage(0); }); };
    const onBegin = event => { if (event.type !== 'keydown' || event.altKey || event.key === 'Enter')
        Object.assign(window, { begin: performance.now(), took: {} }); };
    for (const name of ['keydown', 'pointerup', 'click']) document.addEventListener(name, onBegin, true);
    const watch = (selector, name, isDone) => new MutationObserver(() => isDone() && drawn(name)).observe(
        document.querySelector(selector), { childList: true, subtree: true, attributes: true });
    watch('.pk-board-aside', 'answer', () => document.querySelector('.pk-board-acts'));
    watch('.pk-outings', 'board', () => true);
    watch('.pk-look', 'look', () => document.querySelector('.pk-look[aria-busy=false] .pk-strip'));
}"""


def kernel_ms(call: Callable[[], object]) -> float:
    """What a call takes by the clock."""
    begin = time.perf_counter()
    call()
    return 1000 * (time.perf_counter() - begin)


def waited_ms(page: Page, name: str) -> float:
    """How long what is drawn under a name took, once it is there."""
    page.wait_for_function("name => window.took[name] !== undefined", arg=name, polling=POLL_MS)
    took: float = page.evaluate("name => window.took[name]", name)
    page.wait_for_timeout(500)  # a planner's pause, in which what follows is done
    return took


def moved_by_key(page: Page, tasks: Sequence[str]) -> list[float]:
    """Try task after task on the outing beside; nothing is kept."""
    took = []
    for task in tasks:
        page.locator(f".pk-outing[data-outing=R1] .pk-card[data-task={task}]").focus()
        page.keyboard.press("Alt+ArrowRight")
        took.append(waited_ms(page, "answer"))
        page.keyboard.press("Escape")
    return took


def dropped(page: Page, tasks: Sequence[str]) -> list[float]:
    """Drag task after task to the next outing and let go at once."""
    took = []
    for task in tasks:
        card = page.locator(f".pk-outing[data-outing=R1] .pk-card[data-task={task}]")
        card.scroll_into_view_if_needed()
        at, to = card.bounding_box(), page.locator(".pk-outing[data-outing=R2]").bounding_box()
        assert at is not None
        assert to is not None
        page.mouse.move(at["x"] + 30, at["y"] + 8)
        page.mouse.down()
        page.mouse.move(to["x"] + 40, to["y"] + 120, steps=3)
        page.mouse.up()
        took.append(waited_ms(page, "answer"))
        page.keyboard.press("Escape")
    return took


def looked_at(page: Page) -> list[float]:
    """Choose one view beside the board after the other."""
    took = []
    for name in LOOKS:
        page.locator(f"[data-look={name}]").click()
        took.append(waited_ms(page, "look"))
    return took


def edited(page: Page, bench: Bench, task: str, edits: int) -> list[float]:
    """Type another duration into a task of the open outing: until all columns of the board are drawn anew."""
    page.locator("[data-mode-to=planning]").click()
    took = []
    for number in range(edits):
        bench.cell(task, "minutes_high").click()
        page.keyboard.type(str(61 + number))
        page.keyboard.press("Enter")
        took.append(waited_ms(page, "board"))
    return took


def kernels(campaign: TimedCampaign, tasks: Sequence[str]) -> dict[str, list[float]]:
    """The same in this process: moves, views, the board after an edit."""
    question = question_of(campaign)
    plan = campaign.timed_plan("R1")

    def after_edit(number: int) -> object:
        edit = plan.scenario.edit_row("steps", tasks[0], minutes_high=61 + number)
        return at_once(showing(campaign, "r1", pk.time_plan(edit).timed, 1))

    return {
        "moves": [kernel_ms(lambda task=task: answer_told(moved(campaign, task, "R2", question), ""))
                  for task in tasks],
        "looks": [kernel_ms(lambda name=name: look_told(campaign, {"what": name}, "R1")) for name in LOOKS],
        "edits": [kernel_ms(lambda number=number: after_edit(number)) for number in range(len(tasks))]}


def main(moves: int = 6) -> None:
    """Assign, open the workbench on the first outing, and measure."""
    with tempfile.TemporaryDirectory() as work, opened_lab(Path(work)) as (lab, browser):
        folder = write_ridge(lab.folder / "ridge", rows(60), 5, planned=ROOM_MIN, dates=4)
        hardware = folder / "hardware.csv"
        hardware.write_text(hardware.read_text(encoding="utf-8") + "box,Box,spare,inside,,1,,no,2\n",
                            encoding="utf-8")
        pk.load_campaign(folder).assign("quick", progress=None).save()
        campaign = pk.load_campaign(folder)
        tasks = campaign.planned("R1")[:moves]
        print(f"load of the last minute: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; "
              f"{sum(map(len, map(campaign.planned, campaign.ids)))} tasks on {len(campaign.ids)} outings")
        own = kernels(TimedCampaign(campaign.source), tasks)
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.on("dialog", lambda dialog: dialog.accept())
        bench = Bench.at(page, lab, "board", folder / "r1")
        page.locator("[data-mode-to=campaign]").click()
        page.locator(".pk-card").first.wait_for()
        page.wait_for_timeout(2500)
        page.evaluate(CLOCK)
        told("a task tried by key", moved_by_key(page, tasks), own["moves"], GOAL_MS)
        told("a task dropped", dropped(page, tasks), own["moves"], GOAL_MS)
        told("a view beside the board", looked_at(page), own["looks"], GOAL_MS)
        told("an edit, until the board is new", edited(page, bench, tasks[0], moves), own["edits"], GOAL_MS)


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:2]))
