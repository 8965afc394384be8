"""The procedure in words: the actions of each step, as they are read up, and the responses.

All pages take their words from here. What must be known before an action stands before it: warning or
caution, then the GO.
"""

from collections.abc import Iterator
from functools import cached_property

from planning_kit.inputs.procedure_records import ALONG, BRINGS, GOING, GROUND, Action, Response
from planning_kit.inputs.records import BOTH, INSIDE, Step
from planning_kit.inputs.shown_text import one_line
from planning_kit.plan.network import grouped
from planning_kit.show.wording import Fact, Names, minutes

BOXED = ("warning", "caution", "note")
"""Kinds of facts that stand before the line that they belong to."""


def boxed(words: str, crew: str = "") -> Fact:
    """A text that begins with its class and a colon, such as ``caution: hot``, as a fact of that class.

    ``crew``: whose action it belongs to, where that is not everybody's of the step.
    """
    class_, _, text = (one_line(part) for part in words.partition(":"))
    text = f"{f' ({crew})' if crew else ''}: {text.rstrip('.')}."
    return Fact(class_.lower(), class_.capitalize() + text, class_.upper() + text, crew)


class ProcedureWords:
    """The words of the actions of one plan, by step."""

    def __init__(self, names: Names) -> None:
        """Words for the plan of ``names``."""
        self._names, self._records = names, names.plan.scenario.records
        self._on = {each.state: one_line(each.title) or each.state for each in self._records.states}
        self._calls = {each.response: each.call for each in self._records.responses}

    @cached_property
    def _by_step(self) -> dict[str, list[Action]]:
        return grouped((each.step.step, each.action) for each in self._names.plan.doings)

    def facts(self, step: Step) -> Iterator[Fact]:
        """Every line of its actions, in the order in which they are read."""
        for action in self._by_step.get(step.step, ()):
            who = "" if action.who in ("", step.crew) else action.who
            if one_line(action.warning):
                yield boxed(action.warning, who)
            if action.go:
                yield Fact("go", f"GO from {self.who(action.go)} for {action.name}.", crew=who)
            record = one_line(action.record).rstrip(".")
            report = f" Report {record}." if record else ""
            yield Fact("action", f"{self._words(action, who)}{report}", crew=who, record=record)

    def who(self, code: str) -> str:
        """Who is meant: crew and the roles ``inside`` and ``ground`` by their words, an actor by title."""
        return code if code in (BOTH, INSIDE, GROUND) else self._names.who(code)

    def _words(self, action: Action, who: str) -> str:
        """One action: what, on what, how much, with what, what is seen, what if not."""
        said = one_line(action.action).rstrip(".")
        on = self._on.get(action.on) or self._names.title(action.on)
        item, _, setting = action.tool.partition(":")
        tool = f"with {self._names.item(item)}{f' set to {setting}' if setting else ''}" if item else ""
        parts = [said, on if on.lower() not in said.lower() else "",
                 one_line(f"{action.value} {action.unit}"), tool,
                 f"see: {one_line(action.expected)}" if action.expected else "",
                 f"if not: {action.if_not} ({self._calls[action.if_not]})" if action.if_not else ""]
        prefix = f"{f'{self.who(who)}: ' if who else ''}{'CRITICAL: ' if action.critical else ''}"
        return f"{action.number:g}. {prefix}{'; '.join(filter(None, parts))}."


_PARTNER = {ALONG: "the partner goes home, too", BRINGS: "the partner brings the other in"}


def response_lines(response: Response) -> tuple[str, str]:
    """What a cue card says of a response: the call, then first actions, by when, how long, and the source."""
    goes = response.call in GOING
    partner = _PARTNER.get(response.companion, "the partner stays at work" if goes else "")
    by, takes = response.decide_by_min, response.acting_min
    when = "No time to decide by is given" if by is None else (
        f"Decide within {minutes(by, 'down')}" if by else "Decide at once")
    long = f"takes up to {minutes(takes, 'up')}" if takes else "how long it takes is not given"
    said = (f"{one_line(response.first_actions).rstrip('.')}.",
            f"{when}; {long}{', then home' if goes else ''}.",
            *([f"Leaves {', '.join(map(str, response.leave_state))}."] if response.leave_state else []),
            f"Source: {one_line(response.source).rstrip('.') or 'not given'}.")
    return f"{response.call.upper()}{f'; {partner}' if partner else ''}", " ".join(said).removeprefix(". ")
