"""What a plan keeps now, as promises that a later plan can be held to, and Python that does so.

A margin is promised to the safe side: at least what it is now, rounded down to a digit. What the plan misses
already is no promise. Windows count by their order after PET 0, as everywhere.
"""

from collections.abc import Iterator
from math import isfinite
from operator import eq, ge, le
from pathlib import Path
from typing import Any

import pandas as pd

from planning_kit.inputs.faults import ScenarioError, as_path
from planning_kit.inputs.shown_text import TextTable, WholeTable, one_line, shortened
from planning_kit.inputs.times import rounded
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.every_margin import exact_margins
from planning_kit.judge.findings import CONCERN, STOP, identity
from planning_kit.judge.margins import EXPOSURE, RETURN, STORE, TETHER
from planning_kit.plan.build import placeless
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.plan_times import planned_windows
from planning_kit.plan.timed import TimedPlan

_OF_A_PERSON = (EXPOSURE, RETURN, STORE, TETHER)
_KEPT = {"at_least": ge, "at_most": le, "same": eq}
_HEAD = """# What the plan must keep\n\n> **A planning aid, not a certified tool.** The flight rules and \
licensed, responsible people decide. Limits are the scenario's own, with their source.\n\nReview each line."""
_LOAD = "import planning_kit as pk\n\nplan = pk.time_plan(pk.load_scenario({!r}))\nnow = plan.promises()"


class Promises(WholeTable):
    """What a plan keeps now, a row each, and assertions of it in Python.

    ``promise``, ``about``, ``how`` (at_least, at_most, same, among; "" for what the plan misses already),
    ``value`` now, to the safe side, ``unit``, ``what`` in words, ``assertion``. Rows selected are promises.
    """

    def keeps(self, promise: str, about: str, *, at_least: float | None = None, at_most: float | None = None,
              same: str | None = None, among: str | None = None) -> None:
        """Raise `AssertionError`, which says the numbers, where a plan does not keep what was promised."""
        asked = {"at_least": at_least, "at_most": at_most, "same": same, "among": among}
        how, then = next((each for each in asked.items() if each[1] is not None), ("same", ""))
        now, what = "the plan has none any more", ""
        for row in self[(self["promise"] == promise) & (self["about"] == about)].to_dict("records"):
            if not (broken := _broken(how, row["value"], then)):
                return
            now, what = f"{broken} {row['unit']}".strip() + " now", f" ({row['what']})"
        wanted = f"{how.replace('_', ' ')} {then}".removeprefix("same ")
        raise AssertionError(f"{promise} of {about}: {now}, {wanted} was promised{what}")

    def lost_in(self, later: "Promises") -> pd.DataFrame:
        """Which of them a later plan breaks: ``promise``, ``about``, and in ``words`` how."""
        lost = []
        for row in self[self["how"] != ""].to_dict("records"):
            try:
                later.keeps(row["promise"], row["about"], **{row["how"]: row["value"]})
            except AssertionError as broken:
                lost.append([row["promise"], row["about"], str(broken)])
        return TextTable(lost, columns=["promise", "about", "words"])

    def assertions(self, folder: str | Path) -> str:
        """All of them as Python, for the plan of the scenario in ``folder``."""
        return "\n\n".join(self._cells(folder)) + "\n"

    def write(self, path: str | Path, folder: str | Path) -> Path:
        """Write them as a notebook that is ready to run; ``folder`` as seen from there.

        Raises `ScenarioError` where there is such a file already, or it cannot be written.
        """
        from nbformat import v4, writes  # loads slowly, and most plans write none

        file, cells = as_path(path, "path"), map(v4.new_code_cell, self._cells(folder))
        text = writes(v4.new_notebook(cells=[v4.new_markdown_cell(_HEAD), *cells]))
        try:
            with file.open("x", encoding="utf-8") as stream:
                stream.write(text)
        except (OSError, ValueError) as error:
            raise ScenarioError.single(f"cannot be written: {one_line(error)}", column="path") from None
        return file

    def _cells(self, folder: str | Path) -> Iterator[str]:
        yield _LOAD.format(as_path(folder, "folder").as_posix())
        for _, some in self[self["how"] != ""].groupby("promise", sort=False):
            yield "\n".join(some["assertion"])


def _broken(how: str, now: Any, then: Any) -> str:
    """What breaks a promise: the value as it is now, or of names those that are new; "" where it is kept."""
    if how == "among":
        return "; ".join(sorted({*str(now).split("; ")} - {*str(then).split("; "), ""}))
    is_kept = isinstance(now, str) == isinstance(then, str) and _KEPT[how](now, then)
    return "" if is_kept else str(now)


def promises_of(plan: TimedPlan) -> Promises:
    """What a plan keeps now (see ``Plan.promises``)."""
    if plan.outside is not None:
        raise ScenarioError.single("are asked of the plan before the outing", table="promises")
    return Promises([*_windows(plan), *_margins(plan), *_counts(plan)],
                    columns=["promise", "about", "how", "value", "unit", "what", "assertion"])


def _row(promise: str, about: str, value: float | str, unit: str, what: str, how: str) -> tuple[Any, ...]:
    is_kept = how != "" and value != "none" and (isinstance(value, str) or value >= 0)
    return promise, about, how * is_kept, value, unit, one_line(what), (
        f"now.keeps({promise!r}, {about!r}, {how}={value!r})" * is_kept)


def _windows(plan: TimedPlan) -> Iterator[tuple[Any, ...]]:
    """The window that each step lies in; of a group the one in which all of it lies."""
    for used in planned_windows(plan):
        members = list(used.members)
        is_caught = (used.begin_min <= plan.starts[members].min() + ROUNDING_MIN
                     and plan.finishes[members].max() <= used.end_min + ROUNDING_MIN)
        for step in members:
            yield _row(" ".join(dict.fromkeys(used.asks_for.split(":"))), plan.steps[step].step,
                       used.name if is_caught else "none", "", used.title, "same")


def _margins(plan: TimedPlan) -> Iterator[tuple[Any, ...]]:
    """The least of each kind of margin and what it is of; of a person where each has one.

    Told but not promised where a step has no place: travel that is not counted yet will take of all of them.
    """
    how = "" if placeless(plan.steps) else "at_least"
    each = grouped(((one.kind, f"{one.about} {one.crew}" if one.kind in _OF_A_PERSON else one.about), one)
                   for one in exact_margins(plan) if isfinite(one.margin))
    for (kind, about), some in sorted(each.items()):
        one = min(some, key=lambda margin: margin.margin)
        yield _row(f"margin {kind}", about, rounded(one.margin, "down", 1), one.unit, one.what, how)


def _counts(plan: TimedPlan) -> Iterator[tuple[Any, ...]]:
    """How many findings there are of each sort, and which; and how many steps of each required task."""
    found = told_findings(plan)
    is_accepted = found["accepted"] != ""
    for about, rows in ((STOP, found["severity"] == STOP), ("accepted", is_accepted),
                        (f"{CONCERN} not accepted", (found["severity"] == CONCERN) & ~is_accepted)):
        words = "; ".join(shortened(message, 120) for message in found[rows]["message"])
        names = sorted({" ".join(filter(None, identity(row))) for row in found[rows].to_dict("records")})
        yield _row("findings", about, int(rows.sum()), "", words, "at_most")
        yield _row("findings by name", about, "; ".join(names), "", words, "among")
    steps = grouped((step.task, start) for step, start, _ in plan.each_step() if isfinite(start))
    for task in plan.scenario.records.tasks:
        if task.need == "required" and task.task in steps:
            yield _row("required task", task.task, len(steps[task.task]), "steps", task.title, "at_least")
