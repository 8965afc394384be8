"""The plain list for the reviewer of a revision: what is worse, what is better, what to look at.

Order of the list: stop, worse, look, better, same. Each line says one thing and its numbers. Numbers cannot
judge everything: a plan with less work and fewer rules has fewer findings and more margin, and is not better
for that alone. So work that is no longer done and controls that were changed are lines of their own.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd

from planning_kit.inputs.format_1 import IN_MEMORY
from planning_kit.inputs.input_changes import RENAMED
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.all_checks import CAME
from planning_kit.judge.all_checks import WORSE as GOT_WORSE
from planning_kit.judge.findings import REMARK
from planning_kit.judge.review import keeps
from planning_kit.judge.window_changes import window_changes
from planning_kit.plan.timed import TimedPlan

STOP, WORSE, LOOK, BETTER, SAME = "stop", "worse", "look", "better", "same"
CONTROLS, TASKS = "controls", "tasks"
_TABLES = ("inhibits", "gaps", "windows")
_STEP_COLUMNS = ("light", "same_window", "windows", "foothold", "link", "after", "caution", "make_safe",
                 "safe_orderly_min", "safe_now_min", "via_places", "when", "late_margin_min")
_PLACE_COLUMNS = ("crew_at_once", "anchor", "socket", "tight", "snag", "caution", "rescue")
_SECTIONS = ("lighting.", "suit.", "exertion_w.", "relays.")
VERDICT_COLUMNS = ["verdict", "about", "words"]
_RANK = {name: rank for rank, name in enumerate((STOP, WORSE, LOOK, BETTER, SAME))}
_LEAST_CHANGE = 0.05  # of a margin, in its own unit: what one decimal does not show is no change
_BELOW = {WORSE: "now below zero", BETTER: "no longer below zero"}
_NOT_MARGINS = ("outing end", "waiting", "to the planned limit", "to the hard limit")

Verdict = tuple[str, str, str]


def verdicts(a: TimedPlan | None, b: TimedPlan | None, no_plan: str, *, inputs: pd.DataFrame,
             times: pd.DataFrame, findings: pd.DataFrame, margins: pd.DataFrame,
             upgraded: Sequence[str] = ()) -> list[Verdict]:
    """Rows of ``VERDICT_COLUMNS``, worst first, from the plans and tables of a `TimedComparison`.

    ``upgraded`` names the sides (before, now) that are of format 1 on disk.
    """
    rows = [*((LOOK, "format", f"{side}: {IN_MEMORY}; its three times of the airlock are one number")
              for side in upgraded), *_of_controls(inputs), *_of_inputs(inputs)]
    if a is None or b is None:
        missing = ("before there is no plan" if b is not None else "now there is no plan" if a is not None
                   else "neither before nor now is there a plan; now")
        rows.append((STOP if b is None else LOOK, "plan", f"{missing}: {no_plan}"))
    else:
        rows = [*_of_tasks(a, b, inputs), *rows, *_of_end(a, b), *_of_windows(a, b),
                *_of_times(times, inputs), *_of_findings(findings), *_of_margins(margins)]
    return sorted(rows, key=lambda row: _RANK[row[0]])


def overall(table: pd.DataFrame) -> str:
    """One line over the whole list."""
    counts = Counter(table["verdict"])
    if counts[STOP]:
        return f"Stop: {counts[STOP]} of {len(table)} lines say that it cannot be flown so."
    if not counts[WORSE] and not counts[BETTER] and not counts[LOOK]:
        return "Same: nothing that matters changed."
    told = [f"{counts[name]} {words}" for name, words in (
        (WORSE, "worse"), (BETTER, "better"), (LOOK, "to look at")) if counts[name]]
    # What is better only because a limit or a control was moved is not better.
    eyes_first = ((table["verdict"] == LOOK) & table["about"].isin(["limits", CONTROLS, TASKS])).any()
    head = ("Mixed" if counts[WORSE] and counts[BETTER] else "Worse" if counts[WORSE]
            else "Better" if counts[BETTER] and not eyes_first else "Look")
    return f"{head}: {', '.join(told)}."


def _of_controls(inputs: pd.DataFrame) -> Iterator[Verdict]:
    """Limits, inhibits, greatest and least gaps, demands and cautions that changed, one by one."""
    for row in inputs.to_dict("records"):
        table, key, column = row["table"], str(row["row"]), row["column"]
        if table == "scenario.toml" and key.startswith(("limits.", "airlock.")):
            yield LOOK, "limits", f"a limit itself changed: {row['words']}"
        elif row["change"] != RENAMED and key and (
                table in _TABLES
                or (table == "steps" and column in _STEP_COLUMNS)
                or (table in ("places", "routes") and column in _PLACE_COLUMNS)
                or (table == "scenario.toml" and key.startswith(_SECTIONS))):
            yield LOOK, CONTROLS, f"a control changed: {row['words']}"


def _of_tasks(a: TimedPlan, b: TimedPlan, inputs: pd.DataFrame) -> Iterator[Verdict]:
    """Tasks that are no longer done, that are new, or of which less is asked."""
    before, after = _done(a), _done(b)
    new_names = _new_names(inputs, "tasks")
    for task, (need, title) in before.items():
        now = after.pop(new_names.get(task, task), None)
        if now is None:
            yield (WORSE if need == "required" else LOOK, TASKS,
                   f"{need} task {task}{title} is no longer done")
        elif need == "required" and now[0] != need:
            yield LOOK, TASKS, f"task {task}{title} is no longer required: {now[0]}"
    for task, (need, title) in after.items():
        yield LOOK, TASKS, f"{need} task {task}{title} is new"


def _new_names(inputs: pd.DataFrame, table: str) -> dict[str, str]:
    renamed = inputs[(inputs["table"] == table) & (inputs["change"] == RENAMED)]
    return dict(zip(renamed["before"], renamed["after"], strict=True))


def _done(plan: TimedPlan) -> dict[str, tuple[str, str]]:
    """Need, and title in brackets, of each task of which a plan has a step."""
    used = {step.task for step in plan.steps}
    return {task.task: (task.need, f" ({title})" if (title := task.title.strip()) else "")
            for task in plan.scenario.records.tasks if task.task in used}


def _of_inputs(inputs: pd.DataFrame) -> Iterator[Verdict]:
    if inputs.empty:
        yield SAME, "inputs", "both revisions say the same"
        return
    told = ", ".join(f"{count} in {table}" for table, count in Counter(inputs["table"]).items())
    yield LOOK, "inputs", f"{len(inputs)} change{'s' if len(inputs) > 1 else ''}: {told}"


def _of_end(a: TimedPlan, b: TimedPlan) -> Iterator[Verdict]:
    for name, verdict in (("hard_min", STOP), ("planned_min", WORSE)):
        typed_a, typed_b = (getattr(plan.scenario.settings.limits, name) for plan in (a, b))
        word = "hard" if name == "hard_min" else "planned"
        limit, own = (b.hard_min, a.hard_min) if word == "hard" else (typed_b, typed_a)
        label = b.hard_limit.label if word == "hard" else pet_label(limit, "down")
        before = limit if typed_a == typed_b else own
        # Better is told by the old limit alone: a limit that was moved has mended nothing.
        kept, was_kept = keeps(b.end_min, limit), keeps(a.end_min, own)
        if not kept and was_kept:
            yield (verdict, "limits",
                   f"the {word} limit of {label} is missed: inside at {pet_label(b.end_min)}")
        elif keeps(b.end_min, before) and not was_kept:
            yield BETTER, "limits", f"the {word} limit of {label} is kept again"
        elif kept and not was_kept:
            yield (LOOK, "limits", f"the {word} limit is kept only because it was moved from "
                                   f"{pet_label(before, 'down')} to {pet_label(limit, 'down')}: inside at "
                                   f"{pet_label(b.end_min)}")
    moved = b.end_min - a.end_min
    if abs(moved) < _LEAST_CHANGE:
        yield SAME, "outing end", f"both inside at {pet_label(b.end_min)} as before"
    else:
        yield (WORSE if moved > 0 else BETTER, "outing end",
               f"both inside at {pet_label(b.end_min)}, {abs(moved):.1f} min "
               f"{'later' if moved > 0 else 'earlier'}")
    if a.pet_zero != b.pet_zero:
        yield LOOK, "pet_zero", f"PET 0 was {a.pet_zero:%Y-%m-%dT%H:%MZ}, is {b.pet_zero:%Y-%m-%dT%H:%MZ}"


def _of_windows(a: TimedPlan, b: TimedPlan) -> Iterator[Verdict]:
    """Steps that now lie in another night, day, link or period of the same PET 0, or in none of them."""
    for each in window_changes(a, b):
        yield (LOOK, "windows",
               f"{each.step} lies in {each.now or 'none of its windows'}, was in {each.was or 'none'}")


def _of_times(times: pd.DataFrame, inputs: pd.DataFrame) -> Iterator[Verdict]:
    if times.empty:
        yield SAME, "times", "no step moved"
        return
    told = ", ".join(f"{count} {change}" for change, count in Counter(times["change"]).items())
    moved = times.dropna(subset=["moved_min"])
    most = ""
    if len(moved) and moved["moved_min"].abs().max() >= _LEAST_CHANGE:
        row = max(moved.to_dict("records"), key=lambda row: abs(row["moved_min"]))
        most = f"; most: {row['step']} by {row['moved_min']:+.1f} min".replace("-", "−")
    named = "".join(f"; {old} is {new} now" for old, new in _new_names(inputs, "steps").items())
    yield LOOK, "times", f"steps: {told}{most}{named}"


def _of_findings(findings: pd.DataFrame) -> Iterator[Verdict]:
    for row in findings.to_dict("records"):
        where = f"{row['step']}: " if row["step"] else ""
        words = f"{row['severity']} {row['change']}, {row['check']}: {where}{row['message']}"
        if row["change"] in (CAME, GOT_WORSE):
            yield {STOP: STOP, REMARK: LOOK}.get(row["severity"], WORSE), "findings", words
        else:
            yield SAME if row["severity"] == REMARK else BETTER, "findings", words
    if findings.empty:
        yield SAME, "findings", "none came, none went"


def _of_margins(margins: pd.DataFrame) -> Iterator[Verdict]:
    """Margins that fell below zero (or rose above it) one by one, the others together for each person."""
    same = 0
    together: dict[tuple[str, str], list[str]] = {}
    for row in margins.to_dict("records"):
        if row["margin"] in _NOT_MARGINS:
            continue
        verdict = _judged(row)
        if verdict == SAME:
            same += 1
        elif (row["a"] >= 0) != (row["b"] >= 0):
            parts = (row["crew"], _margin_words(row), _BELOW.get(verdict, ""))
            yield verdict, "margins", ", ".join(part for part in parts if part)
        else:
            together.setdefault((verdict, row["crew"]), []).append(_margin_words(row))
    for (verdict, crew), told in together.items():
        yield verdict, "margins", f"{crew}: {'; '.join(told)}" if crew else "; ".join(told)
    if same:
        yield SAME, "margins", f"{same} margins as before"


def _judged(row: dict[Any, Any]) -> str:
    change = row["change"]
    if change != change:
        # No difference, but a number that came or went is something to look at.
        return SAME if (row["a"] == row["a"]) == (row["b"] == row["b"]) else LOOK
    return SAME if abs(change) < _LEAST_CHANGE else BETTER if change > 0 else WORSE


def _margin_words(row: dict[Any, Any]) -> str:
    where = f" at {row['at_b']}" if row["at_b"] else ""
    unit = f" {row['unit']}" if np.isfinite(row["b"]) else ""
    return f"{row['margin']} {_number_text(row['b'])}{unit}{where} (was {_number_text(row['a'])})"


def _number_text(value: float) -> str:
    if value != value:
        return "not known"
    if np.isinf(value):
        return "without end" if value > 0 else "never in time"
    return number_label(value, "down")
