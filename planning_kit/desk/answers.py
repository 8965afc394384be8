"""Long questions: run beside everything else, and told to the views as plain data.

Each runs in a thread of its own; what it tells reaches the views from the kernel's loop. Answers are numbers
in words, with their standard errors.
"""

import asyncio
import contextlib
import math
import threading
from collections.abc import Callable, Mapping
from typing import Any

from planning_kit.desk.messages import Message
from planning_kit.explore.long_question import RUNNING, LongQuestion, Progress
from planning_kit.explore.odds.odds import TimedOdds
from planning_kit.explore.odds.odds_tables import BROKEN, BY_HARD, BY_PLANNED, NOT_KNOWN, REQUIRED_INSIDE
from planning_kit.explore.propose.goals import margin_words, told_gain
from planning_kit.explore.propose.proposals import Proposal
from planning_kit.explore.session.session import ODDS, ORDER, SWEEP, Orders, Tried
from planning_kit.inputs.times import Side, gmt_label, number_label, pet_label
from planning_kit.plan.timed import TimedPlan

_MOST_REASONS = 3
_QUANTILES = (0.1, 0.5, 0.9, 0.95)


def run_beside(question: LongQuestion, progress: Callable[[Progress], None],
               ended: Callable[[], None]) -> None:
    """Run it in a thread; both callbacks come from the kernel's loop. At once where no loop is running."""
    question.has_begun = True
    try:
        soon = asyncio.get_running_loop().call_soon_threadsafe
    except RuntimeError:
        question.run(progress)
        ended()
        return

    def report(told: Progress) -> None:
        soon(progress, told)

    def run() -> None:
        question.run(report)
        with contextlib.suppress(RuntimeError):  # the kernel ends, and its loop before us
            soon(ended)

    threading.Thread(target=run, daemon=True, name=f"planning_kit {question.name}").start()


def question_message(question: LongQuestion) -> Message:
    """Where a question stands; its answer, once there is one."""
    message = {"kind": "work", "work": question.name, "state": question.state, "words": question.words}
    if question.is_running or question.result is None:
        return message
    return {**message, "result": _RESULTS[question.name](question.result)}


def progress_message(question: LongQuestion, progress: Progress) -> Message:
    """How far it is; ``share`` is None where that is not known."""
    is_unknown = math.isnan(progress.share)
    words = f"{progress.words}, {progress.elapsed_s:.0f} s" if is_unknown else progress.words
    return {"kind": "work", "work": question.name, "state": RUNNING, "words": words,
            "share": None if is_unknown else progress.share,
            "part": _tried(progress.part) if isinstance(progress.part, Tried) else None}


def _tried(each: Tried) -> Message:
    left = None if math.isnan(each.left_min) else round(each.left_min, 2)
    return {"ms": round(each.pet_zero.timestamp() * 1000), "left": left, "reason": each.reason}


def _odds(found: TimedOdds) -> Message:
    windows = found.windows.sort_values("p", kind="stable")
    finish = found.finish[found.finish["quantile"].isin(_QUANTILES)]
    return {
        "about": f"{found.samples:,} samples, seed {found.seed}; ± is one standard error",
        "items": [{"what": "something broken" if row["item"] == BROKEN else row["item"], "share": _share(row),
                   "odds": _percent(row)}
                  for row in found.summary.to_dict("records")],
        "reasons": [[row["reason"], _percent(row)]
                    for row in found.broken.head(_MOST_REASONS).to_dict("records")],
        "windows": [{"what": f"{row['step']} in {row['window']}", "share": _share(row),
                     "odds": _percent(row) + (f", overrun {100 * row['p_overrun']:.1f} %"
                                              if row["p_overrun"] > 0 else ""),  # NaN is not
                     "step": row["step"] if row["step"] in found.timed.network.steps else ""}
                    for row in windows.to_dict("records")],
        "finish": [[f"{100 * row['quantile']:.0f} %", _end(row)] for row in finish.to_dict("records")]}


def _share(row: Mapping[Any, Any]) -> float | None:
    return None if math.isnan(row["p"]) else float(row["p"])


def _percent(row: Mapping[Any, Any]) -> str:
    """A chance to its safe side: one that is less than certain is never told as 100.0 %."""
    if math.isnan(row["p"]):
        return NOT_KNOWN
    side: Side = "up" if row.get("item") == BROKEN or "reason" in row else "down"
    return f"{number_label(100 * row['p'], side)} ± {number_label(100 * row['se'], 'up')} %"


def _end(row: Mapping[Any, Any]) -> str:
    error = "" if math.isnan(row["se_min"]) else f" ± {row['se_min']:.1f} min"
    return f"PET {row['end']}{error}"


def _orders(found: Orders) -> Message:
    return {"verdict": found.said.verdict, "current": _chances(found.current_odds),
            "rejected": [each.words for each in found.said.rejections],
            "orders": [_order(each, odds) for each, odds in zip(found.found, found.odds, strict=True)]}


def _order(found: Proposal[TimedPlan], odds: TimedOdds) -> Message:
    gain = told_gain(found.current or found.plan, found.plan)
    facts = [f"both inside PET {pet_label(found.end_min)}, {gain}",
             f"GMT {gmt_label(found.plan.pet_zero)} PET 0"]
    if found.dropped:
        facts.append(f"left out: {' '.join(sorted(found.dropped))}")
    if found.new_concerns:
        facts.append(f"{found.new_concerns} new concern{'s' if found.new_concerns > 1 else ''}")
    return {"name": found.name, "facts": facts, "verdict": found.verdict, "chances": _chances(odds),
            "is_repeatable": found.is_repeatable, "moves": [move.words for move in found.changes]}


def _chances(odds: TimedOdds) -> list[list[str]]:
    shares = {row["item"]: _percent(row) for row in odds.summary.to_dict("records")}
    return [["inside by the planned limit", shares[BY_PLANNED]], ["by the hard limit", shares[BY_HARD]],
            ["with the required work done", shares[REQUIRED_INSIDE]],
            ["least margin", margin_words(odds.timed)]]


_RESULTS: Mapping[str, Any] = {
    SWEEP: lambda found: [_tried(each) for each in found], ODDS: _odds, ORDER: _orders}
