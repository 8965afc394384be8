"""Long questions run in a thread of their own; what they tell reaches the views from the kernel's loop."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable

from planning_kit.desk import work_messages
from planning_kit.desk.workbench import Workbench
from planning_kit.explore.session.long_work import LongWork, Progress


def start(bench: Workbench, question: str) -> None:
    """Ask a question of the plan as it is, beside everything else. At once where no loop is running."""
    work = bench.session.ask(question)
    bench.tell(work_messages.state(work))
    try:
        loop = asyncio.get_running_loop()
    except RuntimeError:
        _run(bench, work, lambda tell: tell())
        return
    thread = threading.Thread(target=_run, args=(bench, work, loop.call_soon_threadsafe), daemon=True,
                              name=f"planning_kit {question}")
    thread.start()


def _run(bench: Workbench, work: LongWork, soon: Callable[[Callable[[], None]], object]) -> None:
    def report(progress: Progress) -> None:
        if not work.is_stopping:
            with contextlib.suppress(RuntimeError):  # the kernel ends, and its loop before us
                soon(lambda: bench.tell(work_messages.progress(work, progress)))

    work.run(report)
    with contextlib.suppress(RuntimeError):
        soon(lambda: _tell_end(bench, work))


def _tell_end(bench: Workbench, work: LongWork) -> None:
    if bench.session.works.get(work.name) is work:  # else another of its kind was asked meanwhile
        bench.tell(work_messages.state(work))
        bench.show_changes()
