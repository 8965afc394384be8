"""What rows must mean together for procedures: actions, the states that steps need and set, responses."""

import re

from planning_kit.inputs import format as fmt
from planning_kit.inputs import procedure_records as rec
from planning_kit.inputs.cells import did_you_mean, shown
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.typed_tables import Row, Rows


def each_stands_once(rows: Rows, faults: Faults) -> None:
    """No two actions of a step share a number, and a cause has one response."""
    first: dict[tuple[object, ...], int] = {}
    for table, columns, words in (("actions", ("step", "number"), "give each action of a step its own"),
                                  ("responses", ("trigger",), "one response a cause")):
        for row in rows[table]:
            key = table, *(row.values.get(column) for column in columns)
            if not {None, ""} & {*key} and first.setdefault(key, row.number) != row.number:
                row.fault(faults, columns[-1], f"stands in row {first[key]} already; {words}")


def actions_are_done_by_those_who_work(rows: Rows, faults: Faults) -> None:
    """Who does an action in a suit works in its step."""
    steps = rows.by_id("steps")
    for row, step in rows.named("actions"):
        who, crew = row.text("who"), steps[step].text("crew") if step in steps else ""
        if who in (*fmt.SUITED, rec.BOTH) and crew not in ("", who, rec.BOTH):
            row.fault(faults, "who", f"{who} does not work in {step}, which {crew} does; leave it empty for "
                      "whoever does the step")


def actions_can_be_judged(rows: Rows, faults: Faults) -> None:
    """What is counted is a number, what is used, set or turned is named, warnings say their class."""
    items, states = rows.by_id("hardware"), rows.by_id("states")
    for row in rows["actions"] if rows.could_be_read("hardware", "states") else ():
        value, unit, on, class_ = map(row.text, ("value", "unit", "on", "class"))
        is_turned, tool = class_ in (rec.TURN_IN, rec.TURN_OUT), row.text("tool").partition(":")[0]
        is_counted = unit in (rec.TURNS, rec.MINUTES) or bool(is_turned and value and not unit)
        if is_counted and rec.number_in(value) is None:
            row.fault(faults, "value", f"is counted: write a number of {unit or rec.TURNS}, 0 or more")
        elif is_counted and is_turned and not on:
            row.fault(faults, "on", "is empty: say what is turned, so that its turns can be counted")
        elif class_ in (rec.MATE, rec.DEMATE, rec.SET) and on in states and value:
            _one_of_its_values(rows, faults, row, "value", on, value)
        if tool and tool not in items:
            row.fault(faults, "tool", f"{shown(tool)} is not in hardware.csv{did_you_mean(tool, (*items,))}")
        elif class_ == rec.SET and not tool and on not in items and on not in states:
            row.fault(faults, "on", "is no item or state, and no tool is named: say what is set")
        if (text := row.text("warning")) and not re.match(r"(warning|caution):\s*\S", text, re.IGNORECASE):
            row.fault(faults, "warning", "must begin with warning: (can injure) or caution: (can damage "
                      "hardware), and say what")


def _one_of_its_values(rows: Rows, faults: Faults, row: Row, column: str, state: str, value: str) -> None:
    if (values := rows.by_id("states")[state].entries("values")) and value not in values:
        row.fault(faults, column, f"{shown(value)} is no value of {state}; write one of {', '.join(values)}"
                  f"{did_you_mean(value, values)}")


def states_have_their_values(rows: Rows, faults: Faults) -> None:
    """A state begins and ends at one of its values, and no item has its id."""
    for row, name in rows.named("states"):
        if name in rows.by_id("hardware"):
            row.fault(faults, "state", "is an item of hardware.csv, too: rename it; actions name both")
        for column in ("at_start", "at_end"):
            if value := row.text(column):
                _one_of_its_values(rows, faults, row, column, name, value)


def state_values_exist(rows: Rows, faults: Faults) -> None:
    """What steps and responses need, set and leave are states, each once and at one of its values."""
    for table, column in (("steps", "needs"), ("steps", "sets"), ("responses", "leave_state")):
        values_exist(rows, table, column, faults)


def values_exist(rows: Rows, table: str, column: str, faults: Faults) -> None:
    """Each entry of a column of states with values names a state, once, and one of its values."""
    states = rows.by_id("states")
    every = ((row, *each) for row in rows[table] for each in enumerate(row.entries(column)))
    for row, at, entry in every:
        if entry.state not in states:
            row.fault(faults, column, f"{shown(entry.state)} is not in states.csv"
                      f"{did_you_mean(entry.state, (*states,))}")
        elif entry.state in {each.state for each in row.entries(column)[:at]}:
            row.fault(faults, column, f"names {entry.state} twice; keep one")
        else:
            _one_of_its_values(rows, faults, row, column, entry.state, entry.value)


def partners_go_where_somebody_goes(rows: Rows, faults: Faults) -> None:
    """A partner comes along, or brings the other, only where both go home."""
    for row in rows["responses"]:
        if row.text("companion") and (call := row.text("call")) not in ("", rec.TERMINATE, rec.ABORT):
            row.fault(faults, "companion", f"both go home, which {call} does not call: leave it empty, or "
                      f"call {rec.TERMINATE} or {rec.ABORT}")


PROCEDURE_RULES = (each_stands_once, actions_are_done_by_those_who_work, actions_can_be_judged,
                   states_have_their_values, state_values_exist, partners_go_where_somebody_goes)
