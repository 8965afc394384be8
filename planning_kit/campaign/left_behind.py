"""What an outing loses as work of the backlog leaves it, in words, before anything of that is saved.

And what does not come back with work that does.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from planning_kit.campaign.put_in import TaskRows, cells_of, own_rows, revised, said
from planning_kit.campaign.remembered import Remembered, dropped
from planning_kit.changes.change import apply
from planning_kit.inputs.format import SHARED_TABLES, TABLE_BY_NAME
from planning_kit.inputs.input_changes import ADDED, MOVED, compare_inputs
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import one_line

_OF_STEPS = ("gaps", "inhibits", "actions", "shots")
_ASKED = ("controls", "when", "end_at", "at_end", "safe_when", "trained")
_HINT = "type what still counts of that where the work is then"
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
    hint = [_HINT] if lost else []
    return tuple(map(one_line, (*lost, *hint, *_own_copies(before, after))))


def all_lost(known: Remembered, whole: tuple[Scenario, Scenario], alone: tuple[Scenario, Scenario],
             backlog: Mapping[str, TaskRows]) -> tuple[str, ...]:
    """`left_behind` of an outing as it begins, before and after, and `came_otherwise` of it by itself."""
    return *left_behind(*whole, backlog), *came_otherwise(known, *alone, backlog)


def came_otherwise(known: Remembered, before: Scenario, after: Scenario,
                   backlog: Mapping[str, TaskRows]) -> tuple[str, ...]:
    """What work that comes back does not bring of what went with it, a line each; why not is told first.

    Where the ``backlog`` has been revised meanwhile and the work says neither what it said then nor what it
    says now, that is told, too. The outing ``before`` and ``after`` is by itself.
    """
    had, lost = {task.task for task in before.records.tasks}, list[str]()
    for task in [task.task for task in after.records.tasks if task.task not in had]:
        if (stood := known.stood(task)) is None:
            continue
        lines = [f"not as before {task} left: {words}" for words in _missing(stood, after, task)]
        if lines and (why := known.why_not(before, task)):
            lines.insert(0, f"{task} does not come back as it stood before it left, but as the backlog says: "
                         f"{why}")
        lost += [*lines, *_older(after.records, known.rows.get(task, backlog[task]), backlog[task])]
    return tuple(map(one_line, (*lost, _HINT))) if lost else ()


def _missing(stood: Scenario, after: Scenario, task: str) -> Iterator[str]:
    """What ``after`` says otherwise than the outing did, of all that it would lose if the task left it."""
    stay = {each.task for each in after.records.tasks}
    then = apply(stood, dropped(stood, [each.task for each in stood.records.tasks if each.task not in stay]))
    without = apply(then, dropped(then, [task]))
    went = {(row["table"], row["row"], row["column"])
            for row in compare_inputs(then.checked, without.checked).to_dict("records")}
    for row in compare_inputs(then.checked, after.checked).to_dict("records"):
        is_of_it = went & {(row["table"], row["row"], column) for column in ("", row["column"])}
        if is_of_it and row["change"] not in (ADDED, MOVED) and _is_less(row):
            yield f"{row['table']}: {row['words']}"


def _is_less(row: Mapping[Any, Any]) -> bool:
    """Whether a cell says less than before, not only more: of a list entries are missing."""
    field = TABLE_BY_NAME[row["table"]].by_name.get(row["column"]) if row["table"] in TABLE_BY_NAME else None
    return field is None or not field.is_list or bool({*row["before"].split()} - {*row["after"].split()})


def _older(records: Records, was: TaskRows, now: TaskRows) -> Iterator[str]:
    """Where a backlog was revised and a task that has come back says neither of both."""
    for each in revised(records, was, now):
        if each.own != each.now:
            yield (f"{each.row}, {each.column}: the backlog says {each.now or 'nothing'} by now, and said "
                   f"{each.was or 'nothing'} when it left; here it is {each.own or 'empty'}")
    own = own_rows(records, now.task)
    for _, step in now.by_id.keys() - own.keys() - was.by_id.keys():
        yield f"step {step} of {now.task} is in the backlog by now, and not here"
    for _, step in was.by_id.keys() & own.keys() - now.by_id.keys():
        yield f"step {step} of {now.task} is in the backlog no more, and still here"


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
    yield from _cells(f"task {rows.task}", own_rows(records, rows.task)["tasks", rows.task], rows.cells)
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
        was, now = (said(row.get(name)) for row in (own, backlog))
        if was != now:
            told.append(f"{name} was {was}, is {now}" if was and now else
                        f"{name} now {now}" if now else f"{name} no longer {was}")
    if told:
        yield f"{what}, as the backlog says: {', '.join(told)}"
