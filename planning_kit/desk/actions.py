"""What each message of a view means while planning: one action a kind.

An action calls the session and gives the messages that answer the view. What it changed is told by the
conversation, which also says what is wrong with a message.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from functools import wraps
from pathlib import Path

import pandas as pd

from planning_kit.changes.amounts import HIGH, LOW
from planning_kit.desk import messages, response_told
from planning_kit.desk.answers import question_message
from planning_kit.desk.assets import library_text
from planning_kit.desk.candidate import change_of
from planning_kit.desk.messages import Action, Message, left_work, notice, refusal, rows_of_frame
from planning_kit.explore.session.journal import Unsaved, delete_left
from planning_kit.explore.session.merge import Where, both_sides
from planning_kit.explore.session.session import Session
from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.inputs.times import moment_text
from planning_kit.show.live_chart import step_facts


def hello(session: Session, message: Message) -> list[Message]:
    """A view has opened; the first on a page needs the table library too."""
    told: list[Message] = [] if message.get("has_library") else [{"kind": "library", "text": library_text()}]
    told += [messages.everything(session), *map(question_message, session.asked.values())]
    return [*told, left_work(session)]


def _telling_room(do: Callable[[Session, Message], None]) -> Action:
    """An action on likely minutes: what it did to low and high ones that nobody typed is told."""
    @wraps(do)
    def action(session: Session, message: Message) -> list[Message]:
        before = session.draft["steps"]
        do(session, message)
        lines = {line.id: line for line in session.draft["steps"].lines}
        typed = {(int(line), column) for line, column, _ in message.get("cells", ())}
        changed = [(lines[line.id].cells[0], column, was, now)
                   for line in before.lines if lines.get(line.id) not in (None, line)
                   for column, was, now in zip(before.columns, line.cells, lines[line.id].cells, strict=True)
                   if was != now and column in (LOW, HIGH) and (line.id, column) not in typed]
        words = [f"{column.removeprefix('minutes_')} minutes of {step} went from {was} to {now} with it"
                 for step, column, was, now in changed]
        return [notice("; ".join(words))] if words else []

    return action


@_telling_room
def cells(session: Session, message: Message) -> None:
    """Cells were typed."""
    texts = {(int(line), str(column)): str(text) for line, column, text in message["cells"]}
    session.type_cells(str(message["sheet"]), texts)


@_telling_room
def minutes(session: Session, message: Message) -> None:
    """An edge was dropped, or plus or minus pressed."""
    session.make(change_of(message))


def paste(session: Session, message: Message) -> list[Message]:
    """A block was pasted."""
    fills = [(int(line), str(column)) for line, column in message.get("fills", [])]
    lost = session.paste(str(message["sheet"]), _lines(message),
                         [str(column) for column in message["columns"]], str(message["text"]), fills)
    words = f"{lost} pasted cells found no column to be typed in and were left out"
    return [notice(words, level="bad")] if lost else []


def add(session: Session, message: Message) -> list[Message]:
    """A new line is wanted: the view that asked opens its form."""
    texts = {str(column): str(text) for column, text in message.get("texts", {}).items()}
    line = session.add_line(str(message["sheet"]), message.get("after"), texts)
    return [_focus(message, line) | {"is_new": True}]


def duplicate(session: Session, message: Message) -> list[Message]:
    """Lines are to be copied."""
    lines = session.duplicate_lines(str(message["sheet"]), _lines(message))
    return [_focus(message, lines[0])] if lines else []


def _focus(message: Message, line: int) -> Message:
    return {"kind": "focus", "sheet": str(message["sheet"]), "line": line}


def columns(session: Session, message: Message) -> list[Message]:
    """The columns of a sheet are to be seen otherwise, in every view; None: as usual again."""
    sheet, wanted = str(message["sheet"]), message["look"]
    known = session.draft[sheet].columns
    session.looks.pop(sheet, None)
    if wanted is not None:
        session.looks[sheet] = {part: [name for name in wanted[part] if name in known]
                                for part in ("order", "hidden", "pinned")}
    return [{"kind": "columns", "sheet": sheet, "look": session.looks.get(sheet), "by": message.get("view")}]


def shift(session: Session, message: Message) -> None:
    """Lines are to move up or down by one."""
    shown = message.get("shown")
    session.shift_lines(str(message["sheet"]), _lines(message), 1 if message["by"] > 0 else -1,
                        None if shown is None else {int(line) for line in shown})


def _lines(message: Message) -> list[int]:
    return [int(line) for line in message["lines"]]


def pet_zero(session: Session, message: Message) -> None:
    """The PET 0 slider or field has moved; ``drag`` is the same through one drag."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=float(message["ms"]))
    session.set_pet_zero(moment_text(moment), message.get("drag"))


def keep(session: Session, message: Message) -> list[Message]:
    """Keep a version."""
    session.keep_version(str(message["name"]))
    return [notice(f"kept as {str(message['name']).strip()}"), *autosaved(session)]


def drop(session: Session, message: Message) -> list[Message]:
    """Delete a version, which can be brought back."""
    session.drop_version(str(message["name"]))
    way_back = {"kind": "bring_back", "label": "Bring it back"}
    return [notice(f"deleted the version {message['name']}", way_back=way_back), *autosaved(session)]


def bring_back(session: Session, _message: Message) -> list[Message]:
    """Take back the last deletion of a version."""
    name = session.bring_back()
    return [notice(f"the version {name} is back"), *autosaved(session)] if name else []


def compare(session: Session, _message: Message) -> list[Message]:
    """Tell what moved and what is typed otherwise than in the version that the plan is held against."""
    name = session.baseline_name
    if name is None:
        return [{"kind": "compared", "name": ""}]
    moved, typed = session.compare_with(name)
    return [{"kind": "compared", "name": name, "typed": rows_of_frame(typed),
             "moved": None if moved is None else rows_of_frame(_as_now(moved), session.plan.pet_zero)}]


def _as_now(moved: pd.DataFrame) -> pd.DataFrame:
    """The steps that moved as they are now, in as few columns as the side pane has room for."""
    crew = [" → ".join(dict.fromkeys(filter(None, both)))
            for both in zip(moved["crew_a"], moved["crew_b"], strict=True)]
    now = moved.rename(columns={"start_b_min": "start_min", "held_by_b": "held_by"}).assign(crew=crew)
    return now[["step", "change", "start_min", "moved_min", "crew", "held_by"]]


def explain(session: Session, message: Message) -> list[Message]:
    """Say why a step starts when it does."""
    step, plan = str(message["step"]), session.current_plan
    facts, lines = [], ["This step is not in the plan on the screen: mend the marked cells first."]
    if step in plan.network.steps:
        facts, lines = step_facts(plan, step), plan.explain(step).splitlines()
    return [{"kind": "why", "step": step, "facts": facts, "lines": lines}]


def save(session: Session, _message: Message) -> list[Message]:
    """Save to the folder; a conflict is shown with both sides."""
    try:
        session.save()
    except SaveConflict:
        return [_conflict(session, {})]
    # Named versions are in no folder: they are kept on disk from what is in it now.
    return [notice(f"saved to {session.base.folder.name}"), *autosaved(session)]


def autosaved(session: Session) -> list[Message]:
    """Write the journal; a disk that refuses is said once an edit, and stops nothing."""
    try:
        session.autosave()
    except OSError as error:
        return [notice(f"unsaved work cannot be kept on disk: {error}. It stands here as long as the kernel "
                     "runs: save or export it", level="bad")]
    return []


def _conflict(session: Session, choices: Mapping[Where, str]) -> Message:
    """Both sides: what can be merged as it is, what both changed; or why it cannot be merged."""
    try:
        return messages.conflict_message(session.merging(choices))
    except ScenarioError as error:
        first = error.problems.iloc[0]
        return {"kind": "conflict", "sides": rows_of_frame(both_sides(session.draft, session.base.folder)),
                "problem": f"{first['table']}: {first['problem']}"}


def merge(session: Session, message: Message) -> list[Message]:
    """Merge with what is in the folder now, as the planner chose."""
    choices = {(str(sheet), int(line), str(column)): str(side)
               for sheet, line, column, side in message["choices"]}
    if session.merge(choices).open_clashes:  # they have saved once more
        return [_conflict(session, choices)]
    return [notice("merged with what is in the folder: look at the plan, then save")]


def take_theirs(session: Session, _message: Message) -> list[Message]:
    """Load what is in the folder now, keeping what was typed as a version."""
    name = session.take_theirs()
    return [notice(f"loaded what is in the folder; your own work is the version {name!r}")]


def export(session: Session, message: Message) -> list[Message]:
    """Save as a new folder beside the scenario's own, or where a path says."""
    name = str(message["folder"]).strip()
    if not name:
        raise ScenarioError.single("give the new folder a name", column="export")
    try:
        folder = session.base.folder.parent / Path(name).expanduser()
    except RuntimeError:  # ~name
        raise ScenarioError.single("names the home folder of nobody here; give another name",
                                   column="export", value=name) from None
    return [notice(f"exported to {session.export(folder)}")]


def _on_left_work(do: Callable[[Session, Unsaved], list[Message]]) -> Action:
    """An action on work that was left unsaved, if it is still there; what is left is told anew."""
    @wraps(do)
    def action(session: Session, message: Message) -> list[Message]:
        unsaved = next((each for each in session.unsaved_work() if each.path.name == message["path"]), None)
        gone = "this work is not here any more: another session has taken it up, saved or discarded it"
        told = [notice(gone, level="bad")] if unsaved is None else do(session, unsaved)
        return [*told, left_work(session)]

    return action


@_on_left_work
def restore(session: Session, unsaved: Unsaved) -> list[Message]:
    """Take up work that was left unsaved, or copy what another session has in use."""
    conflict = [_conflict(session, {})] if session.restore(unsaved) else []
    verb = "copied" if unsaved.is_in_use else "restored"
    return [notice(f"{verb} what was typed until {unsaved.written:%Y-%m-%d %H:%M} UTC; undo leads back"),
            *conflict]


@_on_left_work
def discard(session: Session, unsaved: Unsaved) -> list[Message]:
    """Delete work that was left unsaved."""
    try:
        delete_left(unsaved.path)
    except (ScenarioError, OSError) as error:  # it is in use by now, or its folder is gone
        return [refusal(error)]
    return []


def preview(session: Session, message: Message) -> None:
    """Show where a proposed order has each step, or no longer."""
    number = message.get("number")
    session.show_proposal(None if number is None else int(number))


def take(session: Session, message: Message) -> list[Message]:
    """Make a proposed order the draft."""
    session.take_proposal(int(message["number"]))
    return [notice("this order is in the draft now; undo leads back")]


ACTIONS: dict[str, Action] = {
    "delete": lambda session, message: session.delete_lines(str(message["sheet"]), _lines(message)),
    "move": lambda session, message: session.make(change_of(message)),  # a bar was dropped elsewhere
    "undo": lambda session, _: session.undo(),
    "redo": lambda session, _: session.redo(),
    "switch": lambda session, message: session.switch_to(str(message["name"])),
    "baseline": lambda session, message: session.set_baseline(str(message["name"]) or None),
    "ask": lambda session, message: [question_message(session.ask(str(message["question"])))],
    "stop": lambda session, message: session.stop(str(message["question"])),
    "response": response_told.response,  # it is looked at, and nothing changes
    "snapshot": lambda *_: None,  # the widget brings up to date what is seen without a kernel
    **{action.__name__: action for action in (
        hello, cells, minutes, paste, add, duplicate, columns, shift, pet_zero, keep, drop, bring_back,
        compare, explain, save, merge, take_theirs, export, restore, discard, preview, take)},
}
