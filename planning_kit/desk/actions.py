"""What each message of a view means: one short function a kind, which calls the session."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from planning_kit.desk import works
from planning_kit.desk.assets import library_text
from planning_kit.desk.messages import conflict_message, rows_of_frame
from planning_kit.desk.workbench import Workbench
from planning_kit.explore.session.journal import Unsaved
from planning_kit.explore.session.merge import Where
from planning_kit.explore.session.settings_sheet import moment_text
from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.show.live_chart import step_facts

Content = dict[str, Any]


def hello(bench: Workbench, content: Content) -> None:
    """A view has opened; the first on a page needs the table library too."""
    if not content.get("has_library"):
        bench.tell({"kind": "library", "text": library_text()})
    bench.greet()


def cells(bench: Workbench, content: Content) -> None:
    """Cells were typed."""
    texts = {(int(line), str(column)): str(text) for line, column, text in content["cells"]}
    bench.session.type_cells(str(content["sheet"]), texts)


def paste(bench: Workbench, content: Content) -> None:
    """A block was pasted."""
    fills = [(int(line), str(column)) for line, column in content.get("fills", [])]
    lost = bench.session.paste(str(content["sheet"]), _lines(content),
                               [str(column) for column in content["columns"]], str(content["text"]), fills)
    if lost:
        bench.say(f"{lost} pasted cells found no column to be typed in and were left out", level="bad")


def add(bench: Workbench, content: Content) -> None:
    """A new line is wanted."""
    line = bench.session.add_line(str(content["sheet"]), content.get("after"))
    bench.point_at(str(content["sheet"]), line)


def duplicate(bench: Workbench, content: Content) -> None:
    """Lines are to be copied."""
    lines = bench.session.duplicate_lines(str(content["sheet"]), _lines(content))
    if lines:
        bench.point_at(str(content["sheet"]), lines[0])


def delete(bench: Workbench, content: Content) -> None:
    """Lines are to go."""
    bench.session.delete_lines(str(content["sheet"]), _lines(content))


def shift(bench: Workbench, content: Content) -> None:
    """Lines are to move up or down by one."""
    shown = content.get("shown")
    bench.session.shift_lines(str(content["sheet"]), _lines(content), 1 if content["by"] > 0 else -1,
                              None if shown is None else {int(line) for line in shown})


def _lines(content: Content) -> list[int]:
    return [int(line) for line in content["lines"]]


def move(bench: Workbench, content: Content) -> None:
    """A bar was dropped elsewhere."""
    before = None if content.get("before") is None else str(content["before"])
    bench.session.move_step(str(content["step"]), str(content["lane"]), before)


def minutes(bench: Workbench, content: Content) -> None:
    """A bar's edge was dragged."""
    bench.session.set_minutes(str(content["step"]), float(content["minutes"]))


def egress(bench: Workbench, content: Content) -> None:
    """The egress slider or field has moved; ``drag`` is the same through one drag."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=float(content["ms"]))
    bench.session.set_egress(moment_text(moment), content.get("drag"))


def undo(bench: Workbench, _content: Content) -> None:
    """Take back."""
    bench.session.undo()


def redo(bench: Workbench, _content: Content) -> None:
    """Do again."""
    bench.session.redo()


def keep(bench: Workbench, content: Content) -> None:
    """Keep a version."""
    bench.session.keep_version(str(content["name"]))
    bench.say(f"kept as {str(content['name']).strip()}")
    bench.autosave()


def drop(bench: Workbench, content: Content) -> None:
    """Delete a version, which can be brought back."""
    had_baseline = bench.session.baseline_name
    bench.session.drop_version(str(content["name"]))
    if had_baseline != bench.session.baseline_name:
        bench.redraw()
    way_back = {"kind": "bring_back", "label": "Bring it back"}
    bench.say(f"deleted the version {content['name']}", way_back=way_back)
    bench.autosave()


def bring_back(bench: Workbench, _content: Content) -> None:
    """Take back the last deletion of a version."""
    name = bench.session.bring_back()
    if name:
        bench.say(f"the version {name} is back")
        bench.autosave()


def switch(bench: Workbench, content: Content) -> None:
    """Make a version current."""
    bench.session.switch_to(str(content["name"]))


def baseline(bench: Workbench, content: Content) -> None:
    """Draw the plan against a version."""
    bench.session.set_baseline(str(content["name"]) or None)
    bench.redraw()


def compare(bench: Workbench, content: Content) -> None:
    """Tell what moved and what is typed otherwise than in a version."""
    moved, typed = bench.session.compare_with(str(content["name"]))
    columns = ["step", "change", "moved_min", "crew_a", "crew_b", "held_by_b"]
    bench.tell({"kind": "compared", "name": content["name"], "typed": rows_of_frame(typed),
                "moved": None if moved is None else rows_of_frame(moved[columns])})


def explain(bench: Workbench, content: Content) -> None:
    """Say why a step starts when it does."""
    step, plan = str(content["step"]), bench.plan.timed
    if step in plan.network.steps:
        bench.tell({"kind": "why", "step": step, "facts": step_facts(plan, step),
                    "lines": plan.explain(step).splitlines()})
    else:
        bench.tell({"kind": "why", "step": step, "facts": [],
                    "lines": ["This step is not in the plan on the screen: mend the marked cells first."]})


def save(bench: Workbench, _content: Content) -> None:
    """Save to the folder; a conflict is shown with both sides."""
    try:
        bench.session.save()
    except SaveConflict:
        _tell_conflict(bench, {})
        return
    bench.say(f"saved to {bench.session.base.folder.name}")
    bench.autosave()  # named versions are in no folder: from what is in it now


def _tell_conflict(bench: Workbench, choices: Mapping[Where, str]) -> None:
    """Both sides: what can be merged as it is, what both changed; or why it cannot be merged."""
    try:
        bench.tell(conflict_message(bench.session.merging(choices)))
    except ScenarioError as error:
        first = next(iter(error.problems.to_dict("records")))
        bench.tell({"kind": "conflict", "sides": rows_of_frame(bench.session.conflict()),
                    "problem": f"{first['table']}: {first['problem']}"})


def merge(bench: Workbench, content: Content) -> None:
    """Merge with what is in the folder now, as the planner chose."""
    choices = {(str(sheet), int(line), str(column)): str(side)
               for sheet, line, column, side in content["choices"]}
    if bench.session.merge(choices).open_clashes:  # they have saved once more
        _tell_conflict(bench, choices)
    else:
        bench.say("merged with what is in the folder: look at the plan, then save")


def take_theirs(bench: Workbench, _content: Content) -> None:
    """Load what is in the folder now, keeping what was typed as a version."""
    name = bench.session.take_theirs()
    bench.say(f"loaded what is in the folder; your own work is the version {name!r}")


def export(bench: Workbench, content: Content) -> None:
    """Save as a new folder beside the scenario's own, or where a path says."""
    name = str(content["folder"]).strip()
    if not name:
        raise ScenarioError.single("give the new folder a name", column="export")
    try:
        folder = bench.session.base.folder.parent / Path(name).expanduser()
    except RuntimeError:  # ~name
        raise ScenarioError.single("names the home folder of nobody here; give another name",
                                   column="export", value=name) from None
    written = bench.session.export(folder)
    bench.say(f"exported to {written}")


def restore(bench: Workbench, content: Content) -> None:
    """Take up work that was left unsaved, or copy what another session has in use."""
    for unsaved in _unsaved(bench, content):
        is_behind = bench.session.restore(unsaved)
        verb = "copied" if unsaved.is_in_use else "restored"
        bench.say(f"{verb} what was typed until {unsaved.written:%Y-%m-%d %H:%M} UTC; undo leads back")
        if is_behind:
            _tell_conflict(bench, {})
    bench.offer()


def discard(bench: Workbench, content: Content) -> None:
    """Delete work that was left unsaved."""
    try:
        for unsaved in _unsaved(bench, content):
            bench.session.discard(unsaved)
    finally:  # also where it is in use by now
        bench.offer()


def _unsaved(bench: Workbench, content: Content) -> list[Unsaved]:
    found = [each for each in bench.session.unsaved_work() if each.path.name == content["path"]]
    if not found:
        bench.say("this work is not here any more: another session has taken it up, saved or discarded it",
                  level="bad")
    return found


def snapshot(bench: Workbench, _content: Content) -> None:
    """The notebook may be about to be saved."""
    bench.refresh_snapshot()


def ask(bench: Workbench, content: Content) -> None:
    """A long question: another egress, the odds, a better order."""
    works.start(bench, str(content["question"]))


def stop(bench: Workbench, content: Content) -> None:
    """Stop a long question; what it found so far stays."""
    bench.session.stop(str(content["question"]))


def preview(bench: Workbench, content: Content) -> None:
    """Show where a proposed order has each step, or no longer."""
    number = content.get("number")
    bench.session.show_proposal(None if number is None else int(number))
    bench.redraw()


def take(bench: Workbench, content: Content) -> None:
    """Make a proposed order the draft."""
    bench.session.take_proposal(int(content["number"]))
    bench.redraw()
    bench.say("this order is in the draft now; undo leads back")


ACTIONS: dict[str, Callable[[Workbench, Content], None]] = {
    action.__name__: action for action in (
        hello, cells, paste, add, duplicate, delete, shift, move, minutes, egress, undo, redo, keep, drop,
        bring_back, switch, baseline, compare, explain, save, merge, take_theirs, export, restore, discard,
        snapshot, ask, stop, preview, take,
    )
}

