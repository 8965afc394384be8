"""What the workbench tells its views: plain data made of a session. A patch holds only what changed."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

import pandas as pd

from planning_kit.explore.long_question import InPieces
from planning_kit.explore.session.draft import Draft, Fault
from planning_kit.explore.session.merge import Merge
from planning_kit.explore.session.session import Session
from planning_kit.explore.session.sheet import KEY, SETTINGS, VALUE, Sheet, typed_fields
from planning_kit.explore.tightest import finding_tightest
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.fields import KIND_WORDS, Field
from planning_kit.inputs.table_words import cells_of, head_words
from planning_kit.inputs.times import margin_label, number_label, pet_label, units_of
from planning_kit.judge.all_checks import checking
from planning_kit.judge.every_margin import exact_margins
from planning_kit.judge.margins import Margin, tightness
from planning_kit.judge.review import keeps
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.live_chart import live_chart, live_notes, themes
from planning_kit.show.wording import NO_WAY

Message = dict[str, Any]
Action = Callable[[Session, Message], object]
"""What a message of a view does. A list holds the messages that answer the view; else nothing but what has
changed is told, by the conversation."""


def notice(text: str, level: str = "good", way_back: Mapping[str, str] | None = None) -> Message:
    """A line for the planner to read; ``way_back`` is a button beside it: a message and its label."""
    return {"kind": "said", "text": text, "level": level, "way_back": way_back}


def refusal(error: Exception) -> Message:
    """Why a message of a view cannot be done."""
    if isinstance(error, ScenarioError):
        return notice(error.words, level="bad")
    why = ((error.strerror or str(error)) if isinstance(error, OSError) else
           "the table has changed meanwhile; try again")  # a view that is behind
    return notice(f"this could not be done: {why}", level="bad")


def left_work(session: Session) -> Message:
    """Work that other sessions have not saved, what was left before what is in use."""
    left = [{"written": f"{each.written:%Y-%m-%d %H:%M} UTC", "path": each.path.name,
             "in_use": each.is_in_use}
            for each in sorted(session.unsaved_work(), key=lambda each: each.is_in_use)]
    return {"kind": "left", "offers": left}


def everything(session: Session) -> Message:
    """All that a view needs when it opens."""
    draft = session.draft
    tables = {name: {"columns": list(sheet.columns), "can_grow": sheet.can_grow,
                     "order": [line.id for line in sheet.lines],
                     "rows": {line.id: line.cells for line in sheet.lines}}
              for name, sheet in draft.sheets.items()}
    return {"kind": "all", "schema": schema(draft), "tables": tables, "looks": session.looks,
            "themes": themes(), "chart": chart(session), **status(session)}


def chart(session: Session) -> dict[str, Any]:
    """The plan, and behind it the baseline or the proposal that is looked at."""
    name, plan = session.ghosts
    return {**live_chart(session.plan, plan), "ghost_name": name}


def schema(draft: Draft) -> dict[str, Any]:
    """How each column is edited: kind, choices, which tables' ids it may hold, unit and meaning."""
    known = {table.name: {"about": table.about, "key": table.key[0],
                          "fields": {field.name: _field(field) for field in table.fields}}
             for table in fmt.TABLES}
    values = {key: _field(field) for key, field in typed_fields().items()}
    known[SETTINGS] = {"about": "scenario.toml", "key": KEY, "fields": {}, "values": values, "edits": [VALUE]}
    first = ("steps", "tasks", "gaps", "inhibits", "hardware", "places", "routes")
    return {name: known[name] for name in dict.fromkeys((*first, *draft.sheets))}


def _field(field: Field) -> dict[str, Any]:
    choices = ["yes", "no"] if field.kind == "yes_no" else list(field.choices)
    units = units_of(field.unit)
    return {"kind": field.kind, "unit": field.unit, "about": field.about, "form": KIND_WORDS[field.kind],
            "units": {unit: float(factor / units[field.unit]) for unit, factor in units.items()},
            "choices": [*choices, *field.words], "is_list": field.is_list, "is_number": field.is_number,
            "refers_to": ["hardware"] if field.kind == "moves" else list(field.refers_to),
            "needed": field.needed}


def patch(session: Session, shown: Draft, with_chart: bool) -> Message:
    """What differs from the draft that the views show; the chart where it is new."""
    tables = {name: change for name, sheet in session.draft.sheets.items()
              if (change := _change(shown[name], sheet))}
    return {"kind": "patch", "tables": tables, **status(session),
            **({"chart": chart(session)} if with_chart else {})}


def _change(old: Sheet, new: Sheet) -> dict[str, Any]:
    if old is new:
        return {}
    before = {line.id: line for line in old.lines}
    rows = {line.id: line.cells for line in new.lines if before.get(line.id) != line}
    order = [line.id for line in new.lines]
    change: dict[str, Any] = {"rows": rows} if rows else {}
    if order != [line.id for line in old.lines]:
        change["order"] = order
    if new.columns != old.columns:
        change |= {"columns": list(new.columns), "rows": {line.id: line.cells for line in new.lines}}
    return change


def status(session: Session) -> Message:
    """Faults, history, versions and the head line."""
    history = session.history
    return {
        "faults": [asdict(fault) | {"where": where_of(fault, session.draft)} for fault in session.faults],
        "undo": history.can_undo, "redo": history.can_redo, "unsaved": session.has_unsaved_work,
        "is_kept": not session.journal.trouble,
        "versions": list(session.versions), "baseline": session.baseline_name or "",
        "against": _change_of_end(session.plan, session.baseline),
        "old": [name for name, asked in session.asked.items() if asked.is_old],
        "folder": session.base.folder.name, "head": head_of(session.plan),
        "pet_zero": {name: round(moment.timestamp() * 1000) for name, moment in zip(
            ("at", "first", "last"), (session.pet_zero_typed(), *session.pet_zero_range()), strict=True)},
    }


def where_of(fault: Fault, draft: Draft) -> str:
    """In words: the table, the row by its id or else its number, and the column; a setting by its key."""
    if fault.line is None:
        return " ".join(part for part in (fault.sheet, fault.column) if part)
    sheet = draft[fault.sheet]
    name = sheet.line(fault.line).cells[0] or f"row {sheet.position(fault.line) + 1}"
    return f"{fault.sheet} {name}" + (f" {fault.column}" if fault.column and fault.sheet != SETTINGS else "")


def head_of(plan: TimedPlan) -> list[list[str]]:
    """When both are inside, and what is left before each limit: name, words, severity or ""."""
    limits = plan.scenario.settings.limits
    head = [["Both inside", f"PET {pet_label(plan.end_min)}", ""]]
    planned_min = limits.planned_min
    for words, limit, past in ((f"Planned {pet_label(planned_min, 'down')}", planned_min, "concern"),
                               (f"Hard {plan.hard_limit.label}", plan.hard_min, "stop")):
        severity = "" if keeps(plan.end_min, limit) else past
        head.append([words, margin_label(limit - plan.end_min), severity])
    return head


def _change_of_end(plan: TimedPlan, baseline: TimedPlan | None) -> str:
    """How much later both are inside than in the plan that this one is held against; "" for none."""
    if baseline is None:
        return ""
    label = pet_label(plan.end_min - baseline.end_min, "up")
    return label if label.startswith("−") or label == "0:00" else f"+{label}"


def notes_of(plan: TimedPlan, baseline: TimedPlan | None) -> InPieces[Message]:
    """Findings, margins and hover lines: told after the chart, which is not to wait for them."""
    yield from checking(plan)
    margins = _margins(exact_margins(plan))
    yield
    return {"kind": "notes", **live_notes(plan, baseline), **margins}


def tightest_message(plan: TimedPlan) -> InPieces[Message]:
    """The margins once more, with how likely each is to be missed: told last, as it takes samples."""
    return {"kind": "tightest", **_margins((yield from finding_tightest(plan)))}


def _margins(margins: Sequence[Margin]) -> Message:
    """Every margin, the tightest first, and that one for the head; ``share`` is of the spread, -1 to 2."""
    rows = [{"what": each.lost, "left": _left(each), "share": max(-1.0, min(2.0, tightness(each))),
             "note": " · ".join(filter(None, (
                 "cliff" if each.is_cliff else "", each.missed_words, each.crew,
                 f"PET {pet_label(each.at_min, 'down')}"))),
             "step": each.step} for each in margins]
    return {"margins": rows, "tightest": tightest_of(margins)}


def tightest_of(margins: Sequence[Margin]) -> Message | None:
    """The first of the margins as the head has it; None where there is none."""
    if not margins:
        return None
    first = margins[0]
    return {"words": _left(first) + (f" at {first.step}" if first.step else "") + f": {first.what}",
            "all": first.words, "level": "concern" if tightness(first) < 1.0 else ""}


def _left(each: Margin) -> str:
    return NO_WAY if math.isinf(each.margin) else f"{number_label(each.margin, 'down')} {each.unit}"


def conflict_message(merge: Merge) -> Message:
    """What a merge takes as it is, and what both changed, with the choices made so far."""
    columns = ("table", "row", "column", "was", "theirs")
    taken = [[getattr(clash, name) for name in columns] for clash in merge.taken]
    clashes = [asdict(clash) | {"where": list(clash.where), "choice": merge.choices.get(clash.where, "")}
               for clash in merge.clashes]
    return {"kind": "conflict", "taken": taken, "clashes": clashes}


def rows_of_frame(frame: pd.DataFrame, pet_zero: datetime | None = None) -> Message:
    """A small table as heads in words and rows of text; GMT beside PET where ``pet_zero`` is known."""
    heads = [", ".join(filter(None, head_words(name))) for name in frame.columns]
    cells = [cells_of(name, frame[name], pet_zero) for name in frame.columns]
    return {"columns": heads, "rows": [list(row) for row in zip(*cells, strict=True)]}
