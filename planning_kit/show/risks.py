"""Risks in plain words, for people who know none of the ids: what can go wrong, when it is known, what then.

They are the tightest margins of the plan, told by titles. What is done then is what the tables say (what
makes a step safe, which task goes first); where they say nothing, that is told.
"""

from collections.abc import Iterator
from math import inf, isfinite, isnan

from planning_kit.explore.tightest import tightest_margins
from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import Side, measure, number_label, pet_label
from planning_kit.judge import margins
from planning_kit.judge.every_margin import HARD_MIN
from planning_kit.judge.review import drop_order, may_be_cut, task_starts
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan

_TOLD = 3
_SILENT = "the plan does not say what then"
_WINDOWS = {margins.NIGHT: "its night", margins.DAY: "its daylight", margins.LINK: "its link"}
_ONE_OF_A_KIND = (margins.RETURN, margins.LAST_START, margins.STORE)


def spoken(title: str) -> str:
    """A title to be said aloud: at most ten words and 64 characters of it."""
    words = one_line(title).split()
    return shortened(" ".join(words[:10]) + ("…" if len(words) > 10 else ""), 64)


def risk_lines(plan: TimedPlan) -> Iterator[str]:
    """The three tightest margins that are not of one cause, a risk each, in sentences to read aloud."""
    teller, told = _Teller(plan), set[tuple[str, str]]()
    for each in tightest_margins(plan):
        cause = each.kind, "" if each.kind in _ONE_OF_A_KIND else each.about
        if cause not in told and not each.is_harmless:
            told.add(cause)
            yield f"{teller.wrong(each)}. {teller.known(each)}; {teller.then(each)}."
        if len(told) == _TOLD:
            return


def _told(each: margins.Margin, size: float, side: Side) -> str:
    return measure(size, each.unit, each, side, number_label(size, side, 0))


class _Teller:
    def __init__(self, plan: TimedPlan) -> None:
        self.plan, records = plan, plan.scenario.records
        self.steps = {step.step: step for step in plan.steps}
        self.tasks = {task.task: spoken(task.title) or "a task without a title" for task in records.tasks}
        self.titles = {("inhibit", each.inhibit): each.title for each in records.inhibits}
        self.titles |= {("hazard", each.hazard): each.title for each in records.hazards}
        self.limits = {each.hazard: each.limit for each in records.hazards}
        self.titles |= {("place", each.place): each.title for each in records.places}

    def wrong(self, each: margins.Margin) -> str:
        """What can go wrong, what is left, how likely it is, what it costs."""
        left = ("there is no way" if each.margin == -inf else
                f"by {_told(each, -each.margin, 'up')} in this plan" if each.is_missed else
                f"{_told(each, each.margin, 'down')} to spare")
        times = number_label(100 * each.p_missed, "up", 0)
        is_told = not each.is_missed and each.p_missed > 0  # NaN is not
        chance = f", missed {times} time{'s' * (times != '1')} in 100" if is_told else ""
        cost = (", no later one known" if each.end_slip_min == inf else "" if isnan(each.end_slip_min) else
                f"; then the end comes {number_label(each.end_slip_min, 'up', 0)} min later")
        return f"{self._what(each)}: {left}{chance}{cost}"

    def _what(self, each: margins.Margin) -> str:
        step = self.steps.get(each.step)
        task = self.tasks[step.task] if step else "the outing"

        def may(verb: str, is_so: str) -> str:
            return is_so if each.is_missed else f"may {verb}"

        if each.kind in margins.IN_WINDOWS:
            return f"{task} {may('miss', 'misses')} {_WINDOWS.get(each.kind, 'its period')}"
        if each.kind == margins.CLOCK:
            steps = (self.steps[name] for name in each.about.split())
            first, then = (spoken(of.title) or f"a step of {self.tasks[of.task]}" for of in steps)
            return f"too long {may('pass', 'passes')} from “{first}” to “{then}”"
        if each.kind == margins.INHIBIT:
            title = self._named("inhibit", each.about, "an inhibit")
            return f"“{title}” {may('not be', 'is not')} kept as agreed"
        if each.kind == margins.EXPOSURE:
            title = self._named("hazard", each.about, "a hazard")
            how = "too long" if self.limits[each.about] in ("stay", "total") else "without protection"
            return f"{each.crew} {may('be', 'is')} {how} in “{title}”"
        if each.kind == margins.LAST_START:
            return f"{task} {may('begin', 'begins')} too late to be begun at all"
        if each.kind == margins.LIMIT:
            which = "hard" if each.about == HARD_MIN else "planned"
            return f"the end {may('come', 'comes')} after the {which} limit"
        if each.kind == margins.RETURN:
            store, _, how = each.about.partition(", ")
            way = "alone" if how == "alone" else "brought by the partner"
            what = f" {store}" if store != "consumables" else ""
            return f"{each.crew}, going home {way}, {may('have', 'has')} less{what} left than the reserve"
        if each.kind == margins.STORE:
            return f"{each.crew}'s {WORDS[each.about]} {may('fall', 'falls')} below its reserve"
        hook = self._named("place", each.about, "its hook")
        return f"{each.crew}'s tether {may('be', 'is')} too short from {hook}"

    def _named(self, kind: str, key: str, fallback: str) -> str:
        return spoken(self.titles.get((kind, key), "")) or fallback

    def known(self, each: margins.Margin) -> str:
        """When it would be known: at the minute at which nothing is left, or when least is left."""
        if each.is_missed:
            return "Known now"
        if each.kind in (margins.RETURN, margins.STORE, margins.EXPOSURE, margins.TETHER):
            return f"Least is left at {pet_label(each.at_min, 'down')}"
        return f"Known by {pet_label(each.at_min + each.minutes, 'down')}"

    def then(self, each: margins.Margin) -> str:
        """What would be done then, as far as the tables say."""
        step = self.steps.get(each.step)
        safe = spoken(step.make_safe).rstrip(".") if step else ""
        cuts = self._cuts(each.at_min)
        if each.is_missed:
            return "accept it or change the plan"
        if each.kind == margins.LAST_START:
            return "then it is left out"
        if each.kind == margins.RETURN and (by := self._turn_back(each)):
            return f"turn back by {by}" + (f"; first: {safe}" if safe else "")
        if each.kind in margins.IN_WINDOWS:
            over = self.plan.end_min + (0.0 if isnan(each.end_slip_min) else each.end_slip_min)
            wait = "then it stays undone" if over == inf else "then it waits for the next"
            more = "" if over <= self.plan.hard_min or over == inf else (
                f", and {cuts} is left out" if cuts else ", past the hard limit: nothing may be left out")
            return wait + more + (f"; under way, first: {safe}" if safe else "")
        if each.kind in (margins.LIMIT, margins.STORE):
            return f"then {cuts} is left out" if cuts else "then nothing may be left out"
        return f"then, first: {safe}" if safe else _SILENT

    def _turn_back(self, each: margins.Margin) -> str:
        """The latest minute to turn back in this case; "" for none."""
        rows = self.plan.return_summary.to_dict("records")
        found = [row["turn_back_by_min"] for row in rows
                 if (row["crew"], row["case"]) == (each.crew, each.about)]
        return pet_label(found[0], "down") if found and isfinite(found[0]) else ""

    def _cuts(self, at_min: float) -> str:
        """The task that goes first of those that begin after a minute; of the end, of all that may go."""
        starts = task_starts(self.plan)
        after = at_min if at_min < self.plan.end_min else -inf
        may = [task for task in self.plan.scenario.records.tasks
               if may_be_cut(task) and starts.get(task.task, -inf) > max(after, self.plan.now_min or -inf)]
        return next((self.tasks[task.task] for task in drop_order(may, starts)), "")
