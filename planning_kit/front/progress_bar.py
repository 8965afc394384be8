"""How a long call tells how far it is: by a bar (tqdm's), or to a function of one's own.

The bar comes once a call has taken `DELAY_S` and goes when the call ends, in whatever way. Where nobody looks
(output that is piped, or kept in a file) there is none.
"""

from __future__ import annotations

import contextlib
import math
import signal
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any, Literal

from planning_kit.explore.long_question import Progress, Report, silent
from planning_kit.inputs.faults import ScenarioError

Told = Report | Literal["bar"] | None
"""What ``progress`` may be: a function of a `Progress`; None tells nothing."""
DELAY_S = 2.0
_EVERY_S = 0.1


@contextlib.contextmanager
def shown(progress: Told, what: str) -> Iterator[Report]:
    """Whom to tell how far ``what`` is, while it lasts. `ScenarioError` for what cannot be told anything."""
    if not (progress is None or callable(progress) or (isinstance(progress, str) and progress == "bar")):
        raise ScenarioError.single("must be 'bar', a function, or None", column="progress", value=progress)
    bar = _Bar(what)
    try:
        yield progress if callable(progress) else bar.tell if progress else silent
    finally:
        if bar.bar is not None:
            bar.bar.close()


@contextlib.contextmanager
def stoppable(cancel: Callable[[], bool] | None = None) -> Iterator[Callable[[], bool]]:
    """Whether to stop now with what there is: ``cancel`` says so, or somebody has interrupted.

    The first interrupt (Ctrl-C, the kernel's stop) is only noted; the next one ends the call as always.
    """
    if cancel is not None and not callable(cancel):
        raise ScenarioError.single("must be a function, or None", column="cancel", value=cancel)
    interrupted, before = threading.Event(), signal.getsignal(signal.SIGINT)
    # Only the main thread hears of interrupts; who ignores them, or leaves them to others, goes on doing so.
    is_heard = callable(before) and threading.current_thread() is threading.main_thread()

    def note(number: int, frame: object) -> None:
        signal.signal(signal.SIGINT, before)
        interrupted.set()

    if is_heard:
        signal.signal(signal.SIGINT, note)
    try:
        yield lambda: interrupted.is_set() or (cancel is not None and cancel())
    finally:
        if is_heard:
            signal.signal(signal.SIGINT, before)


class _Bar:
    """The bar of one call, made only once it is shown: a notebook keeps even a widget that nobody saw."""

    def __init__(self, what: str) -> None:
        self.what, self.begun_s, self.told_s = what, time.monotonic(), -math.inf
        self.bar: Any = None

    def tell(self, progress: Progress) -> None:
        """Show it, where it is time to."""
        now_s = time.monotonic()
        if now_s - self.begun_s < DELAY_S or now_s - self.told_s < _EVERY_S:
            return
        if self.bar is None:
            from tqdm.auto import tqdm  # it loads widgets, which few calls need

            self.bar = tqdm(total=1.0, leave=False, disable=None, dynamic_ncols=True, bar_format="{desc}")
        share, self.told_s = progress.share, now_s
        self.bar.n = 0.0 if math.isnan(share) else share
        self.bar.bar_format = "{desc}" if math.isnan(share) else "{desc}|{bar}|"
        self.bar.set_description_str(f"{self.what}: {progress.words}, {now_s - self.begun_s:.0f} s ")
