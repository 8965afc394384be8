"""What things are called when a plan is told in words, and what each step asks of the crew.

Every text of a scenario passes through `one_line`: no control characters, no turned writing. Whoever shows
the words as HTML escapes them there. One phrase a fact of the tables, and none where a table is silent.
"""

import math
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from planning_kit.inputs import times
from planning_kit.inputs.records import BOTH, INSIDE, ItemMove, Step
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import pet_label
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.findings import REMARK, SEVERITIES, Finding, findings_in
from planning_kit.plan.network import grouped
from planning_kit.plan.returns import Breach
from planning_kit.plan.timed import TimedPlan


def nights_words(plan: TimedPlan) -> str:
    """The nights begun in the outing, from when to when; none longer than it is."""
    nights = [window for window in plan.light.night if window[0] < plan.end_min]
    return ", ".join(window_words(begin, end) for begin, end in nights) or "none"


def window_words(begin_min: float, end_min: float) -> str:
    """A stretch of time that something may be done in, from when to when in PET; never longer than it is."""
    return f"{pet_label(begin_min, 'up')} to {pet_label(end_min, 'down')}"


class Names:
    """Titles and labels of one plan."""

    def __init__(self, plan: TimedPlan) -> None:
        """Names of ``plan``."""
        self.plan = plan
        self._records = records = plan.scenario.records
        self._titles = {
            **{place.place: one_line(place.title) for place in records.places},
            **{item.item: one_line(item.title) for item in records.hardware},
            **{actor.actor: one_line(actor.title) for actor in records.actors}}

    @cached_property
    def steps(self) -> dict[str, Step]:
        """Every step by id."""
        return {step.step: step for step in self._records.steps}

    def title(self, key: str) -> str:
        """The title of a place, item or actor, or its id where it has none; ``inside`` as it is."""
        return self._titles.get(key) or one_line(key)

    def item(self, item: str) -> str:
        """An item by its title, with its id where it shares the title with another thing."""
        title = self.title(item)
        is_shared = sum(other == title for other in self._titles.values()) > 1
        return f"{title} [{one_line(item)}]" if is_shared else title

    def items(self, items: Iterable[str]) -> str:
        """Several items, separated by semicolons (titles hold commas)."""
        return "; ".join(self.item(item) for item in items)

    def step(self, step: str) -> str:
        """A step as ``id (title)``."""
        return one_line(step) + (bracketed(self.steps[step].title) if step in self.steps else "")

    def who(self, crew: str) -> str:
        """Who does it: both crew members by name, an actor by title."""
        if crew == BOTH:
            return " and ".join(self.plan.travels)
        return crew if crew in self.plan.travels else self.title(crew)

    def where(self, holder: str) -> str:
        """Where something is: at a place, with someone, or inside."""
        if holder == INSIDE:
            return "inside"
        is_place = any(place.place == holder for place in self._records.places)
        return f"at {self.title(holder)}" if is_place else f"with {self.who(holder)}"

    def times(self, pet: float) -> str:
        """A moment as PET with its GMT."""
        return f"{pet_label(pet)} (GMT {times.gmt_label(times.moment_at(pet, self.plan.pet_zero))})"


NOT_KNOWN = "not known"
NO_WAY = "no way"
"""Instead of the minutes of a way home that there is not, and of its margin."""


def minutes(value: float, side: times.Side = "nearest") -> str:
    """A length in minutes, to a tenth, with a true minus."""
    return f"{times.rounded(value, side, 1):g} min".replace("-", "−")


def signed(value: float, unit: str = "min") -> str:
    """A margin with its sign, down to a tenth; ``no way`` for one below everything."""
    if value == -math.inf:
        return NO_WAY
    if not math.isfinite(value):
        return NOT_KNOWN
    return f"{times.rounded(value, 'down', 1):+.1f} {unit}".replace("-", "−")


def bracketed(text: object) -> str:
    """A text of the scenario in brackets, after a blank; "" for none."""
    line = one_line(text)
    return f" ({line})" if line else ""


def least(table: pd.DataFrame, column: str) -> dict[Hashable, Any] | None:
    """The first row with the least number in a column; None where no number is known."""
    known = [row for row in table.to_dict("records") if not math.isnan(row[column])]
    return min(known, key=lambda row: row[column], default=None)


def counted(found: Sequence[Finding]) -> str:
    """How many findings there are of each severity, in words, and how many of them are accepted."""
    told = []
    for name in SEVERITIES:
        if accepted := [bool(each.accepted) for each in found if each.severity == name]:
            told.append(f"{len(accepted)} {name}{'s' if len(accepted) > 1 else ''}"
                        + (f", {sum(accepted)} accepted" if any(accepted) else ""))
    return ("; " if any(each.accepted for each in found) else ", ").join(told) or "none"


def against(limit: float, end: float) -> str:
    """How far an end is from a limit, in words."""
    return times.margin_label(limit - end, "before", "after")


def exceptions(plan: TimedPlan, crew: str, how: str = "") -> Iterator[str]:
    """What the plan breaks of the ways home of ``crew``, a phrase a case: what, from when to when, how much.

    With ``how`` (alone, with the partner) only of cases that end so.
    """
    own = [(breach.case, breach) for breach in plan.return_breaches
           if breach.crew == crew and breach.case.endswith(how)]
    for case, told in grouped(own).items():
        spells = times.pet_spans(*((each.from_min, each.until_min) for each in told))
        worst = max(told, key=lambda each: each.short_min)
        what = " and ".join(dict.fromkeys(broken_words(plan, each) for each in told))
        past = "" if plan.now_min is None or told[-1].until_min >= plan.now_min else ", past"
        by = "with no way at its worst" if math.isinf(worst.short_min) else (
            f"by up to {minutes(worst.short_min, 'up')}")
        yield f"{case}: the plan breaks {what} from {spells}, {by}{past}"


def exceptions_at(plan: TimedPlan, crew: str, at_min: float) -> list[str]:
    """What the plan breaks of the ways home of ``crew`` at one minute, a sentence a case."""
    return [f"Exception until {pet_label(each.until_min, 'up')}: {each.case}, {broken_words(plan, each)} is "
            "broken." for each in plan.return_breaches
            if each.crew == crew and each.from_min <= at_min <= each.until_min]


def broken_words(plan: TimedPlan, breach: Breach) -> str:
    """What is broken there: the reserve or the hard limit."""
    reserve = plan.scenario.settings.limits.return_reserve_min or 0.0
    return "the hard limit" if breach.is_of_hard_limit else f"the reserve of {reserve:g} min"


class OpenFindings:
    """What is open in one plan: the stops and concerns of each step by their number in the pack's list."""

    def __init__(self, plan: TimedPlan) -> None:
        """The findings of ``plan``, numbered from 1 in their order, worst first."""
        self.findings = findings_in(told_findings(plan))

    @property
    def counted(self) -> str:
        """How many there are of each severity, in words."""
        return counted(self.findings)

    def of_step(self, step: str, crew: str = "") -> str:
        """Stops and concerns of a step, such as ``stop 3 (custody), concern 7 (return, accepted)``.

        "" for none. With ``crew``, only those of this crew member or of nobody in particular.
        """
        return ", ".join(
            f"{each.severity} {number} ({each.check}{', accepted' if each.accepted else ''})"
            for number, each in enumerate(self.findings, start=1)
            if step and each.step == step and each.severity != REMARK
            and (not crew or not each.crew or crew in each.crew.split()))


_LIGHT = {"night": "night", "day": "daylight"}


@dataclass(frozen=True)
class Fact:
    """One fact of a step: its ``kind`` (takes, leaves, foothold, tether, light, group, ...) and its words.

    ``short`` is the same without names and reasons, where it would be long; ``crew`` whom it concerns, where
    it is one of two or somebody else; ``record`` what is written down of it.
    """

    kind: str
    words: str
    short: str = ""
    crew: str = ""
    record: str = ""


class StepWords:
    """The facts of every step of one plan, in the order in which they matter: before, during, at its end."""

    def __init__(self, names: Names) -> None:
        """Words for the plan of ``names``."""
        self.names, self.plan = names, names.plan

    def facts(self, step: Step) -> Iterator[Fact]:
        """What the tables say of ``step``, a phrase a fact."""
        yield from self._conditions(step)
        yield from self._hands(step)
        if text := one_line(step.caution).rstrip("."):
            yield Fact(step.caution_class, f"{step.caution_class.capitalize()}: {text}",
                       f"{step.caution_class.upper()}: {text}.")
        if step.clears:
            titles = {each.hazard: one_line(each.title) for each in self.plan.scenario.records.hazards}
            yield Fact("clears", f"clears of {', '.join(titles[name] or name for name in step.clears)}")
        if step.checks:
            yield Fact("looks", f"look at {one_line(', '.join(step.checks))}")
        yield from self._make_safe(step)

    def _conditions(self, step: Step) -> Iterator[Fact]:
        if step.light in ("night", "day"):
            when = self._lit_when(step)
            yield Fact("light", f"must lie in {_LIGHT[step.light]}{when and f': {when}'}",
                       when or f"in {_LIGHT[step.light]}")
        if step.same_window:
            yield Fact("group", f"in one window with the other steps of {one_line(step.same_window)!r}")
        if step.when == "late":
            free = f", {minutes(step.late_margin_min)} kept free" if step.late_margin_min else ""
            yield Fact("late", f"starts as late as it can{free}")
        for name in step.windows:
            yield Fact("window", f"must lie in the period {one_line(name)!r}",
                       f"in the period {one_line(name)!r}")
        for inhibit in self.plan.scenario.records.inhibits:
            if step.step in inhibit.needed_by:
                name, own = inhibit.inhibit + bracketed(inhibit.title), self.plan.span(step.step)
                if any(hold.inhibit == inhibit and hold.set_by_min <= own[0] and own[1] <= hold.lift_after_min
                       for hold in self.plan.inhibit_holds):
                    yield Fact("inhibit", f"only with inhibit {name} in force")
                else:
                    words = f"needs inhibit {name}, which is not in force all the time"
                    yield Fact("warning", f"Warning: {words}", f"WARNING: {words}.")
        if step.moves:
            rides = f"; {' and '.join(step.rides)} on it" if step.rides else "; nobody on it"
            yield Fact("moves", f"sets {one_line(' '.join(step.moves))} in motion{rides}")
        if step.link in ("yes", "wait"):
            yield Fact("link", self._link(step))
        yield from self._clocks(step)

    def _hands(self, step: Step) -> Iterator[Fact]:
        if step.foothold:
            yield Fact("foothold", f"needs {self.names.item(step.foothold)} in the socket here")
        for move in step.takes:
            yield Fact("takes", f"takes {self._taken(step, move)}")
        if step.uses:
            yield Fact("uses", f"uses {self.names.items(step.uses)}")
        for move in step.leaves:
            yield Fact("leaves", self._left(step, move))
        for crew in step.hooks:
            where = self.names.title(step.place)
            yield Fact("tether", f"{crew}'s safety tether moves to the anchor at {where}",
                       f"hook {crew} here", crew)

    def _lit_when(self, step: Step) -> str:
        start = float(self.plan.starts[self.plan.position(step.step)])
        for number, (begin, end) in enumerate(getattr(self.plan.light, step.light), start=1):
            if begin <= start < end:
                return f"{step.light} {number}, {window_words(begin, end)}"
        return ""

    @cached_property
    def _covers(self) -> dict[str, tuple[float, str]]:
        table = self.plan.links[["step", "share", "gaps"]]
        return {step: (share, gaps) for step, share, gaps in table.itertuples(index=False)}

    def _link(self, step: Step) -> str:
        if step.step not in self._covers:
            return "needs a link"
        share, gaps = self._covers[step.step]
        if share >= 1:
            return "needs a link: there all the time"
        without = f", none at {one_line(gaps)}" if one_line(gaps) else ""
        return f"needs a link: there {times.number_label(100 * share, 'down', 0)} % of the time{without}"

    def _clocks(self, step: Step) -> Iterator[Fact]:
        for clock in self.plan.gap_clocks:
            gap = clock.gap
            if gap.first_step == step.step:
                head = f"starts a clock at its {gap.first_at}: the {gap.then_at} of "
                within = f" within {minutes(clock.max_gap_min, 'down')}, planned {minutes(clock.actual_min)}"
                yield Fact("clock", f"{head}{self.names.step(gap.then_step)}{within}{bracketed(gap.reason)}",
                           f"{head}{gap.then_step}{within}")

    def _make_safe(self, step: Step) -> Iterator[Fact]:
        told = [one_line(step.make_safe), *(f"{minutes(value, 'up')} {how}" for value, how in (
            (step.safe_orderly_min, "in good order"), (step.safe_now_min, "at once")) if value is not None)]
        if any(told):
            yield Fact("safe", "Before leaving: " + ", ".join(part for part in told if part))

    @cached_property
    def _handovers(self) -> dict[tuple[str, str, str], tuple[str, str, float]]:
        """(``from`` or ``to``, step, item) of one side, to the other side: who, at which step, when."""
        return {(side, row[f"{side}_step"], row["what"]):
                (row[f"{other}_crew"], row[f"{other}_step"], row[f"{other}_min"])
                for row in self.plan.handovers.to_dict("records") if row["what"] != "after"
                for side, other in (("from", "to"), ("to", "from"))}

    def _taken(self, step: Step, move: ItemMove) -> str:
        words = self.names.item(move.item)
        if move.out_of:
            words += f" out of {self.names.item(move.out_of)}"
        if step.crew == BOTH and move.crew:
            words = f"({move.crew}) {words}"
        giver = self._handovers.get(("to", step.step, move.item))
        if giver and giver[1] != step.step:
            words += f", left by {self.names.who(giver[0])} at {pet_label(giver[2])} ({giver[1]})"
        return words

    def _left(self, step: Step, move: ItemMove) -> str:
        item = self.names.item(move.item)
        who = f"({move.crew}) " if step.crew == BOTH and move.crew else ""
        if move.into in self.plan.travels:
            return f"{who}hands {item} to {move.into}"
        words = f"{who}puts {item} into {self.names.item(move.into)}" if move.into else f"{who}leaves {item}"
        taker = self._handovers.get(("from", step.step, move.item))
        if taker and taker[1] != step.step:
            words += f" for {self.names.who(taker[0])}, who takes it at {pet_label(taker[2])} ({taker[1]})"
        return words
