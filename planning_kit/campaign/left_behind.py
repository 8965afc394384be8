"""What an outing loses as work of the backlog leaves it, in words, before anything of that is saved."""

from collections.abc import Iterator, Mapping

from planning_kit.campaign.open_work import cells_of
from planning_kit.campaign.put_in import TaskRows
from planning_kit.inputs.format import SHARED_TABLES, TASKS
from planning_kit.inputs.input_changes import ADDED, compare_inputs
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.typed_tables import number_text

_OF_STEPS = ("gaps", "inhibits", "actions", "shots")
_ASKED = ("controls", "when", "end_at", "at_end", "safe_when", "trained")
_CARRIED = "set_at"  # that it is in force by now is what another outing left, no loss


def left_behind(before: Scenario, after: Scenario, backlog: Mapping[str, TaskRows]) -> tuple[str, ...]:
    """What ``before`` says of an outing and ``after`` does not, nor any other outing: a line each.

    Inhibits, gaps, actions and shots of the steps that went, what hazards, states, items and the crew no
    longer say, tables that stop being those of the campaign, and what the rows of the tasks that went say
    otherwise than the ``backlog``, whose rows count from now on.
    """
    if before == after:
        return ()
    stay = {task.task for task in after.records.tasks}
    gone = [task.task for task in before.records.tasks if task.task in backlog and task.task not in stay]
    lost = [*_tables(before, after)]
    lost += [line for task in gone for line in _otherwise(before.records, backlog[task])]
    hint = ["type what still counts of that where the work is then"] if lost else []
    return tuple(map(one_line, (*lost, *hint, *_own_copies(before, after))))


def _tables(before: Scenario, after: Scenario) -> Iterator[str]:
    for row in compare_inputs(before.checked, after.checked).to_dict("records"):
        is_lost = row["table"] in _OF_STEPS or row["column"] in _ASKED
        if is_lost and row["change"] != ADDED and row["column"] != _CARRIED:
            yield f"{row['table']}: {row['words']}"


def _own_copies(before: Scenario, after: Scenario) -> Iterator[str]:
    then, now = before.checked.source, after.checked.source
    for table in SHARED_TABLES:
        if table.name in then.tables and then.is_shared(table.name) and not now.is_shared(table.name):
            yield f"{table.file} becomes its own: what the campaign's says later does not reach it any more"


def _otherwise(records: Records, rows: TaskRows) -> Iterator[str]:
    """How the rows of a task in an outing differ from those of the backlog."""
    task = next(each for each in records.tasks if each.task == rows.task)
    own = {field.name: value for field in TASKS.fields if (value := getattr(task, field.name))
           not in ("", None, False)}
    yield from _cells(f"task {rows.task}", own, rows.cells)
    backlog = {str(step["step"]): step for step in rows.steps}
    task_of = {step.step: step.task for step in records.steps}
    for name in [name for name in task_of if task_of[name] == rows.task]:
        step = next(each for each in records.steps if each.step == name)
        if name not in backlog:
            yield f"step {name} ({step.title}) of {rows.task} is not in the backlog and goes"
            continue
        waits = str(backlog[name].get("after") or "").split()
        # That it waits for a prerequisite is said anew wherever the two are on one outing.
        after = [each for each in step.after if each in waits or task_of.get(each) not in rows.after]
        yield from _cells(f"step {name}", {**cells_of(step), "after": " ".join(after)}, backlog.pop(name))
    for name in backlog:
        yield f"step {name} of {rows.task} comes from the backlog: it was left out here"


def _cells(what: str, own: Mapping[str, object], backlog: Mapping[str, object]) -> Iterator[str]:
    told = []
    for name in dict.fromkeys((*own, *backlog)):
        was, now = (_said(row.get(name)) for row in (own, backlog))
        if was != now:
            told.append(f"{name} was {was}, is {now}" if was and now else
                        f"{name} now {now}" if now else f"{name} no longer {was}")
    if told:
        yield f"{what}, as the backlog says: {', '.join(told)}"


def _said(cell: object) -> str:
    return "" if cell is None else number_text(cell) if isinstance(cell, float) else str(cell)
