"""What is done within steps, as typed records: actions, the states that they change, responses.

Every call and every number is the scenario's; the causes and calls are words of the format.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from math import inf
from typing import Annotated

from planning_kit.inputs.fields import SUITED, choice, column, minutes, number, reference
from planning_kit.inputs.times import pet_min

BOTH, INSIDE, GROUND = "both", "inside", "ground"
NEEDS_NONE, NEVER = "none", "never"
MATE, DEMATE, TURN_IN, TURN_OUT, SET, LEAVE = "mate", "demate", "turn in", "turn out", "set", "leave"
TURNS, MINUTES = "turns", "min"
TERMINATE, ABORT, HOME_ALONE = GOING = "terminate", "abort", "home alone"
ALONG, BRINGS = "along", "brings"
CAUSES = ("water in the helmet", "carbon dioxide symptoms", "oxygen use high", "glove cut", "voice lost",
          "partner not answering", "tool lost", "cannot turn", "cannot seat")
_ID = r"[A-Za-z0-9._-]+"
_VALUE, _TOOL = re.compile(f"({_ID})=({_ID})"), re.compile(f"{_ID}(:{_ID})?")


@dataclass(frozen=True)
class StateValue:
    """One entry of ``needs``, ``sets`` or ``leave_state``: ``cover-REG=open``."""

    state: str
    value: str

    def __str__(self) -> str:
        return f"{self.state}={self.value}"


def parse_state_values(text: str) -> tuple[StateValue, ...]:
    """States with their values, separated by blanks. Raises ValueError that says what is wrong."""
    found = [_VALUE.fullmatch(part) for part in text.split()]
    if None in found:
        raise ValueError("must be written STATE=VALUE, such as cover-REG=open, with blanks between several")
    return tuple(StateValue(*match.groups()) for match in found if match)


@dataclass(frozen=True)
class Actor:
    """Someone else at work (inside, an arm operator, a ground desk): a row order, no travel, no suit."""

    actor: Annotated[str, column("id", "id, allowed in steps.crew", needed=True)]
    title: Annotated[str, column("text", "who or what this is")]
    role: Annotated[str, choice("whom actions call so; empty: neither", INSIDE, GROUND,
        may_be_absent=True)] = ""
    from_: Annotated[datetime | float | str, column("moment", "on the loop from; empty: from the beginning",
        "UTC or PET", may_be_absent=True, example="0:10")] = ""
    until: Annotated[datetime | float | str, column("moment", "on the loop until; empty: to the end",
        "UTC or PET", may_be_absent=True, example="6:30")] = ""

    def on_loop_min(self, pet_zero: datetime) -> tuple[float, float]:
        """From when until when they are on the loop, PET minutes; infinite where nothing is given."""
        ends = (without if each == "" else each for each, without in ((self.from_, -inf), (self.until, inf)))
        start, end = (pet_min(each, pet_zero) if isinstance(each, datetime) else float(each) for each in ends)
        return start, end


@dataclass(frozen=True)
class Action:
    """One line of the procedure of a step. It has no time of its own: its moment is its whole step."""

    step: Annotated[str, reference("the step that it is part of", "steps", needed=True)]
    number: Annotated[float, number("its place in the step: 1, 2, 2.1", needed=True, above_least=True,
        most=10_000)]
    who: Annotated[str, reference("who does it; empty: whose step it is", "crew", "actors",
        words=(BOTH, INSIDE, GROUND))]
    action: Annotated[str, column("text", "what is done, as it is read up", needed=True)]
    on: Annotated[str, column("text", "what it is done on: an item, a state, or words")]
    value: Annotated[str, column("text", "turns, torque, a state's value, a setting, minutes")]
    unit: Annotated[str, column("text", "of the value; turns and min are counted")]
    tool: Annotated[str, column("tool", "what is used, with the setting that it needs")]
    expected: Annotated[str, column("text", "what is seen when it has gone well")]
    record: Annotated[str, column("text", "what the one inside writes down")]
    class_: Annotated[str, choice("what kind of action it is, for the checks; empty: other", MATE, DEMATE,
        TURN_IN, TURN_OUT, SET, "take", LEAVE, "inspect", "wait", "call", "other")]
    warning: Annotated[str, column("text", "read before it; begins with warning: or caution:")]
    go: Annotated[str, reference("who gives the GO for it", "actors", words=(INSIDE, GROUND))]
    if_not: Annotated[str, reference("the response where it does not go as expected", "responses")]
    critical: Annotated[bool, column("yes_no", "it must have a response")]

    @property
    def name(self) -> str:
        """The step and the number: ``X1 2.1``."""
        return f"{self.step} {self.number:g}"

    @property
    def setting(self) -> tuple[str, str]:
        """A tool and the setting that it needs; of ``set`` what is set (``on``, else ``tool``), to what."""
        item, _, words = self.tool.partition(":")
        return (self.on or item, self.value or words) if self.class_ == SET else (item, words)

    def people(self, of_step: tuple[str, ...]) -> tuple[str, ...]:
        """Who does it, in a step of these."""
        return (self.who,) if self.who not in ("", BOTH) else SUITED if self.who == BOTH else of_step


def parse_tool(text: str) -> str:
    """An item, or ``item:setting``. Raises ValueError for anything else."""
    if not _TOOL.fullmatch(text):
        raise ValueError("must be written ITEM or ITEM:SETTING, such as PGT:A3")
    return text


def number_in(text: str) -> float | None:
    """A number of 0 or more; None for anything else, which a rule refuses where it counts."""
    return float(text) if re.fullmatch(r"\s*([0-9]{1,9}(\.[0-9]*)?|\.[0-9]+)\s*", text) else None


@dataclass(frozen=True)
class State:
    """What can be so or so: a cover, a valve, a connector. Steps set it; it is checked, never timed."""

    state: Annotated[str, column("id", "id", needed=True)]
    title: Annotated[str, column("text", "name shown")]
    values: Annotated[tuple[str, ...], column("names", "what it can be", needed=True)]
    at_start: Annotated[str, column("name", "what it is at PET 0", needed=True)]
    at_end: Annotated[str, column("name", "what it must be at the end; empty: anything")]
    safe_when: Annotated[str, reference("the inhibit that makes it dead; none: it needs none; never: no "
        "inhibit of this outing does; empty: not known", "inhibits", words=(NEEDS_NONE, NEVER))]
    leave_max_h: Annotated[float | None, number("longest that it may be left other than at_end; empty: no "
        "limit", "h", most=100_000, may_be_absent=True, example="48")] = None
    leave_source: Annotated[str, column("text", "why so long (cold, unlocked, uncovered), and who says so",
        may_be_absent=True, example="the opening gets cold; demo value")] = ""


@dataclass(frozen=True)
class Response:
    """What is done when something goes wrong: the call, who goes with whom, the first actions."""

    response: Annotated[str, column("id", "id", needed=True)]
    trigger: Annotated[str, choice("a cause by itself; empty: only the if_not of actions", *CAUSES)]
    call: Annotated[str, choice("what is called", "go on", *GOING, "wait", needed=True)]
    companion: Annotated[str, choice("the partner: along (goes home, too), brings (unable to move); empty: "
        "stays at work", ALONG, BRINGS)]
    minutes_low: Annotated[float | None, minutes("shortest time of its first actions")]
    minutes_likely: Annotated[float | None, minutes("likely time, before anybody goes home")]
    minutes_high: Annotated[float | None, minutes("longest time; empty: as likely")]
    decide_by_min: Annotated[float | None, minutes("from the trigger until the call at the latest")]
    leave_state: Annotated[tuple[StateValue, ...], column("values", "states that it leaves",
        example="cover-REG=closed")]
    first_actions: Annotated[str, column("text", "what is done first")]
    source: Annotated[str, column("text", "who says so")]

    @property
    def acting_min(self) -> float:
        """The longest time of the first actions; not given: none."""
        return (self.minutes_likely if self.minutes_high is None else self.minutes_high) or 0.0

    @property
    def most_min(self) -> float:
        """The longest time from the trigger until they go: deciding and first actions; not given: none."""
        return self.acting_min + (self.decide_by_min or 0.0)
