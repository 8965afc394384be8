"""The procedure in words: the actions of each step, as they are read up, and the responses.

All pages take their words from here. What must be known before an action stands before it: warning or caution, then
the GO.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from planning_kit.inputs.procedure_records import GROUND, Action, Response
from planning_kit.inputs.records import BOTH, INSIDE, Step
from planning_kit.inputs.shown_text import one_line
from planning_kit.plan.network import grouped
from planning_kit.show.wording import Fact, Names, minutes

BOXED = ("warning", "caution", "note")
"""Kinds of facts that stand before the line that they belong to."""


def boxed(words: str, crew: str = "") -> Fact:
    """A text that begins with its class and a colon, such as ``caution: hot``, as a fact of that class."""
    class_, _, text = (one_line(part) for part in words.partition(":"))
    text = text.rstrip(".")
    return Fact(class_.lower(), f"{class_.capitalize()}: {text}.", f"{class_.upper()}: {text}.", crew)


@dataclass(frozen=True)
class ActionWords:
    """One action in words: the lines before it, itself, and what is written down of it ("" for nothing).

    ``who`` is its own ``who``, "" for those who do the step; ``go`` names who gives the GO for it.
    """

    action: Action
    who: str
    warnings: tuple[Fact, ...]
    go: str
    words: str
    record: str

    @property
    def facts(self) -> Iterator[Fact]:
        """Its lines in the order in which they are read."""
        yield from self.warnings
        if self.go:
            yield Fact("go", f"GO from {self.go} for {self.action.name}.", crew=self.who)
        told = f"{self.words} Report {self.record}." if self.record else self.words
        yield Fact("action", told, crew=self.who)


class ProcedureWords:
    """The words of the actions of one plan, by step."""

    def __init__(self, names: Names) -> None:
        """Words for the plan of ``names``."""
        self._names, self._records = names, names.plan.scenario.records
        self._on = {each.state: one_line(each.title) or each.state for each in self._records.states}
        self._responses = {each.response: each for each in self._records.responses}

    @cached_property
    def _by_step(self) -> dict[str, list[Action]]:
        return grouped((each.step, each) for each in sorted(self._records.actions, key=lambda each: each.number))

    def actions(self, step: Step) -> list[ActionWords]:
        """Those of a step, in the order of their numbers."""
        return [self._words(each, step) for each in self._by_step.get(step.step, ())]

    def facts(self, step: Step) -> Iterator[Fact]:
        """Every line of them, in the order in which they are read."""
        for each in self.actions(step):
            yield from each.facts

    def who(self, code: str) -> str:
        """Who is meant: crew, whoever has the role ``inside`` or ``ground``, an actor by title."""
        role = next((each.actor for each in self._records.actors if each.role == code), code)
        return "both" if code == BOTH else self._names.who(role)

    def response(self, name: str) -> str:
        """A response with what is called."""
        found = self._responses.get(name)
        return f"{one_line(name)}{f' ({found.call})' if found else ''}"

    def _words(self, action: Action, step: Step) -> ActionWords:
        who = "" if action.who in ("", step.crew) else action.who
        said = one_line(action.action).rstrip(".")
        on = self._on.get(action.on) or self._names.title(action.on)
        item, setting = action.tool_item, action.tool.partition(":")[2].strip()
        tool = f"{self._names.item(item)}{f' set to {one_line(setting)}' if setting else ''}" if item else ""
        parts = [said, on if on.lower() not in said.lower() else "", one_line(f"{action.value} {action.unit}"),
                 f"with {tool}" if tool else "", f"see: {one_line(action.expected)}" if action.expected else "",
                 f"if not: {self.response(action.if_not)}" if action.if_not else ""]
        prefix = f"{self.who(who)}: " if who else ""
        warnings = (boxed(action.warning, who),) if one_line(action.warning) else ()
        return ActionWords(
            action, who, warnings, self.who(action.go) if action.go else "",
            f"{action.number:g}. {prefix}{'; '.join(filter(None, parts))}.", one_line(action.record).rstrip("."))


def response_lines(response: Response) -> Iterator[tuple[str, str]]:
    """What a cue card says of a response: (what it is, words), the call first."""
    yield "call", response.call.upper()
    if response.companion:
        yield "partner", {"along": "the partner goes home, too", "brings": "the partner brings the other in"}[
            response.companion]
    elif response.call in ("terminate", "abort", "home alone"):
        yield "partner", "the partner stays at work"
    yield "first", one_line(response.first_actions)
    if response.decide_by_min is not None:
        yield "decide", f"within {minutes(response.decide_by_min, 'down')} of the trigger" if (
            response.decide_by_min) else "at once"
    if response.minutes_high is not None or response.minutes_likely is not None:
        high = response.minutes_likely if response.minutes_high is None else response.minutes_high
        yield "takes", f"up to {minutes(high or 0.0, 'up')} before anybody goes home"
    if response.leave_state:
        yield "leaves", ", ".join(map(str, response.leave_state))
    yield "source", one_line(response.source) or "not given"


INSIDERS = (INSIDE, GROUND)
