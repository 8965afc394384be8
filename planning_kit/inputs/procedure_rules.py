"""What rows must mean together for procedures: actions, the states that steps need and set, responses."""

import re
from collections.abc import Iterator
from datetime import datetime

from planning_kit.inputs import format as fmt
from planning_kit.inputs import procedure_records as rec
from planning_kit.inputs.cells import did_you_mean, shown
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.typed_tables import Row, Rows

_OTHERS = ("", rec.INSIDE, rec.GROUND)
_COUNTED = (rec.TURN_IN, rec.TURN_OUT)


def actions_stand_once(rows: Rows, faults: Faults) -> None:
    """No two actions of a step share a number."""
    first: dict[tuple[str, float | None], int] = {}
    for row, step in rows.named("actions"):
        number = row.number_of("number")
        if number is not None and first.setdefault((step, number), row.number) != row.number:
            row.fault(faults, "number", f"stands in row {first[step, number]} already; give each action of "
                      f"{step} its own")


def actions_are_done_by_those_who_work(rows: Rows, faults: Faults) -> None:
    """Who does an action works in its step, or is somebody else at work."""
    steps, actors = rows.by_id("steps"), rows.by_id("actors")
    for row, step in rows.named("actions"):
        who, crew = row.text("who"), steps[step].text("crew") if step in steps else ""
        people = (*fmt.SUITED, rec.BOTH) if crew == rec.BOTH else (crew,)
        if crew and who not in (*_OTHERS, *people) and who not in actors:
            row.fault(faults, "who", f"{who} does not work in {step}, which {crew} does; leave it empty for "
                      "whoever does the step")


def amounts_are_numbers(rows: Rows, faults: Faults) -> None:
    """What is counted (turns, minutes) is a number; what a state is set to is one of its values."""
    states = rows.by_id("states")
    for row in rows["actions"]:
        value, on, class_ = row.text("value"), row.text("on"), row.text("class")
        unit, is_turned = row.text("unit"), class_ in _COUNTED
        is_counted = unit in (rec.TURNS, rec.MINUTES) or bool(is_turned and value and not unit)
        if is_counted and rec.number_in(value) is None:
            row.fault(faults, "value", f"is counted: write a number of {unit or rec.TURNS}, 0 or "
                      "more")
        elif is_counted and is_turned and not on:
            row.fault(faults, "on", "is empty: say what is turned, so that its turns can be counted")
        elif on in states and value and class_ in (rec.MATE, rec.DEMATE, rec.SET) and (
                value not in states[on].entries("values")):
            row.fault(faults, "value", f"is no value of the state {on}"
                      f"{did_you_mean(value, states[on].entries('values'))}")


def warnings_say_their_class(rows: Rows, faults: Faults) -> None:
    """A warning begins with what it is: ``warning:`` (can injure) or ``caution:`` (can damage hardware)."""
    for row in rows["actions"]:
        if (text := row.text("warning")) and not re.match(r"(warning|caution):\s*\S", text, re.IGNORECASE):
            row.fault(faults, "warning", "must begin with warning: (can injure) or caution: (can damage "
                      "hardware), and say what")


def tools_exist(rows: Rows, faults: Faults) -> None:
    """The tool of an action, less its setting, stands in hardware.csv; what is set is a tool, or a state."""
    items, states = rows.by_id("hardware"), rows.by_id("states")
    for row in rows["actions"] if rows.could_be_read("hardware") else ():
        tool, on = rec.tool_parts(row.text("tool"))[0], row.text("on")
        if row.text("tool") and tool not in items:
            row.fault(faults, "tool", f"{shown(tool)} is not in hardware.csv{did_you_mean(tool, (*items,))}; "
                      "write an item, or item:setting")
        elif row.text("class") == rec.SET and not tool and on not in items and on not in states:
            row.fault(faults, "on", "is no item or state, and no tool is named: say what is set")


def states_have_their_values(rows: Rows, faults: Faults) -> None:
    """A state begins and ends at one of its values, and no item has its id."""
    for row, name in rows.named("states"):
        values = row.entries("values")
        if name in rows.by_id("hardware"):
            row.fault(faults, "state", "is an item of hardware.csv, too: actions could mean either; rename "
                      "it")
        for column in ("at_start", "at_end"):
            value = row.text(column)
            if value and values and value not in values:
                row.fault(faults, column, f"is none of values{did_you_mean(value, values)}")


def state_values_exist(rows: Rows, faults: Faults) -> None:
    """What steps and responses need, set and leave are states, each once and at one of its values."""
    states = rows.by_id("states")
    for row, column, entry in _state_values(rows) if rows.could_be_read("states") else ():
        if entry.state not in states:
            row.fault(faults, column, f"{shown(entry.state)} is not in states.csv"
                      f"{did_you_mean(entry.state, (*states,))}")
        elif (values := states[entry.state].entries("values")) and entry.value not in values:
            row.fault(faults, column, f"{entry.value} is no value of {entry.state}; write one of "
                      f"{', '.join(values)}")
        elif sum(each.state == entry.state for each in row.entries(column)) > 1:
            row.fault(faults, column, f"names {entry.state} twice; keep one")


def _state_values(rows: Rows) -> Iterator[tuple[Row, str, rec.StateValue]]:
    for table, column in (("steps", "needs"), ("steps", "sets"), ("responses", "leave_state")):
        for row in rows[table]:
            for entry in row.entries(column):
                yield row, column, entry


def responses_are_plain(rows: Rows, faults: Faults) -> None:
    """Minutes are ordered, and a cause has one response."""
    first: dict[str, int] = {}
    for row in rows["responses"]:
        low, likely, high = (row.number_of(f"minutes_{which}") for which in ("low", "likely", "high"))
        if low is not None and likely is not None and low > likely:
            row.fault(faults, "minutes_low", f"is more than minutes_likely, {likely:g}", f"{low:g}")
        if high is not None and high < max(likely or 0.0, low or 0.0):
            row.fault(faults, "minutes_high", "is less than minutes_likely or minutes_low", f"{high:g}")
        cause = row.text("trigger")
        if cause and first.setdefault(cause, row.number) != row.number:
            row.fault(faults, "trigger", f"is answered by row {first[cause]} already; one response a cause")


def actors_leave_after_they_come(rows: Rows, faults: Faults) -> None:
    """Who is on the loop from some time is there until a later one."""
    for row in rows["actors"]:
        start, end = row.values.get("from"), row.values.get("until")
        if start in ("", None) or end in ("", None):
            continue
        if isinstance(start, datetime) != isinstance(end, datetime):
            row.fault(faults, "until", "is UTC where from is PET, or the other way round; write both alike")
        elif end <= start:  # type: ignore[operator]  # both are of one kind
            row.fault(faults, "until", "must be later than from")


PROCEDURE_RULES = (actions_stand_once, actions_are_done_by_those_who_work, amounts_are_numbers,
                   warnings_say_their_class, tools_exist, states_have_their_values, state_values_exist,
                   responses_are_plain, actors_leave_after_they_come)
