"""How a long call tells how far it is: by a bar (tqdm's), or to a function of one's own.

The bar comes once a call has taken `DELAY_S` and goes when the call ends, in whatever way. Where nobody looks
(output that is piped, or kept in a file) there is none.
"""

import contextlib
import math
import signal
import threading
import time
from collections.abc import Callable, Iterator
from typing import Literal

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
    begun_s, told_s, bar = time.monotonic(), -math.inf, None

    def tell(told: Progress) -> None:
        nonlocal told_s, bar
        now_s = time.monotonic()
        if now_s - begun_s < DELAY_S or now_s - told_s < _EVERY_S:
            return
        if bar is None:  # not before: a notebook keeps even a widget that nobody saw
            from tqdm.auto import tqdm  # it loads widgets, which few calls need

            bar = tqdm(total=1.0, leave=False, disable=None, dynamic_ncols=True, bar_format="{desc}")
        told_s, bar.n = now_s, 0.0 if math.isnan(told.share) else told.share
        bar.bar_format = "{desc}" if math.isnan(told.share) else "{desc}|{bar}|"
        bar.set_description_str(f"{what}: {told.words}, {now_s - begun_s:.0f} s ")

    try:
        yield progress if callable(progress) else tell if progress else silent
    finally:
        if bar is not None:
            bar.close()


@contextlib.contextmanager
def stoppable(cancel: Callable[[], bool] | None = None) -> Iterator[Callable[[], bool]]:
    """Whether to stop now with what there is: ``cancel`` says so, or somebody has interrupted.

    The first interrupt (Ctrl-C, the kernel's stop) is only noted; the next one ends the call as always.
    """
    if cancel is not None and not callable(cancel):
        raise ScenarioError.single("must be a function, or None", column="cancel", value=cancel)
    noted, before = list[int](), signal.getsignal(signal.SIGINT)

    def is_over() -> bool:
        return bool(noted) or (cancel is not None and cancel())

    # Only the main thread hears of interrupts; who ignores them, or leaves them to others, goes on doing so.
    if not callable(before) or threading.current_thread() is not threading.main_thread():
        yield is_over
        return

    def note(number: int, frame: object) -> None:
        noted.append(number)
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, note)
    try:
        yield is_over
    finally:
        signal.signal(signal.SIGINT, before)
