"""What others must hold for a plan: inhibits that must stand, links that must be in view, clocks that run.

The timing keeps every greatest gap (it is a bound on the earlier step); a clock says how near it is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf, nan

import pandas as pd

from planning_kit.inputs.records import Gap, Inhibit, Step
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.inputs.times import pet_spans
from planning_kit.plan.build import light_demand
from planning_kit.plan.legs import Spans
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.plan_times import Times
from planning_kit.sky.windows import Windows, complement

LINK_COLUMNS = ["step", "crew", "start_min", "share", "gaps", "next_cover_min"]
CLOCK_COLUMNS = ["first_step", "then_step", "min_gap", "max_gap", "actual", "left", "first_at", "then_at",
                 "reason"]


@dataclass(frozen=True)
class Hold:
    """One inhibit in force from ``set_by_min`` to ``lift_after_min`` (PET minutes).

    ``overlaps`` names the inhibits in force at some moment of it; ``confirmed_min``: the finish of the step
    that confirms it, NaN for none. When the last step finishes before the first starts, ``hold_min`` may be
    negative.
    """

    inhibit: Inhibit
    set_by_min: float
    lift_after_min: float
    overlaps: tuple[str, ...]
    confirmed_min: float = nan

    @property
    def hold_min(self) -> float:
        """How long it must be held, lead included."""
        return self.lift_after_min - self.set_by_min

    @property
    def safe_from_min(self) -> float:
        """When the hazard is gone, if it is set no later than it must be (PET); NaN where none is given."""
        after = self.inhibit.safe_after_min
        return nan if after is None else self.set_by_min + after

    @property
    def restored_min(self) -> float:
        """When the system is back, if it is lifted as early as it may be (PET); NaN where none is given."""
        return nan if self.inhibit.restore_min is None else self.lift_after_min + self.inhibit.restore_min


def inhibit_holds(times: Times) -> tuple[Hold, ...]:
    """Every inhibit with its times, in the order of the table."""
    inhibits = times.scenario.records.inhibits
    # From the start of the first step less the lead to the finish of the last.
    spans = [(min(times.span(each.from_step)[0] - each.lead_min,
                  each.set_already_min(times.pet_zero)),
              times.span(each.until_step)[1]) for each in inhibits]
    when, holds = Spans(spans), []
    for number, (begin, end) in enumerate(spans):
        others = (inhibits[other].inhibit for other in when.touching(begin, end)
                  # `touching` counts those that only meet: one is lifted as the other is set.
                  if other != number and spans[other][0] < end and spans[other][1] > begin)
        step = inhibits[number].confirmed_by
        confirmed_min = times.span(step)[1] if step else nan
        holds.append(Hold(inhibits[number], begin, end, tuple(others), confirmed_min))
    return tuple(holds)


def needed_edges(times: Times, hold: Hold) -> Iterator[tuple[str, float, float]]:
    """Each step of ``needed_by`` with what is left at both edges of the hold, minutes (negative: outside)."""
    for name in hold.inhibit.needed_by:
        start, finish = times.span(name)
        yield name, start - hold.set_by_min, hold.lift_after_min - finish


def window_of_hold(times: Times, hold: Hold) -> Windows:
    """The windows that an inhibit must fit in; night and day have their guard taken off, as for steps."""
    name = hold.inhibit.window
    if name in ("night", "day"):
        return light_demand(name, times.almanac, times.scenario.settings.night_guard_s / 60.0).windows
    return times.named_windows[name]


def left_in(windows: Windows, begin: float, end: float) -> float:
    """Minutes from ``end`` to the end of the window that holds both (PET).

    Negative where none does: how far the two reach out of the nearest one; -inf where there is none.
    """
    for first, last in windows.tolist():
        if max(first - begin, end - last) <= ROUNDING_MIN:
            return float(last - end)
    return -min((max(first - begin, end - last) for first, last in windows.tolist()), default=inf)


@dataclass(frozen=True)
class LinkCover:
    """One step that needs a link. PET minutes; ``share`` of it covered by at least one relay, 0 to 1.

    ``gaps`` are the stretches without a relay. ``next_cover_min`` is the earliest start from the plan's own
    on at which the whole step is covered; NaN where there is none before the horizon.
    """

    step: Step
    start_min: float
    finish_min: float
    share: float
    gaps: tuple[tuple[float, float], ...]
    next_cover_min: float


def gaps_between(windows: Windows, start: float, finish: float) -> tuple[tuple[float, float], ...]:
    """The stretches between two minutes that no window covers, but for what is there by rounding only."""
    return tuple((begin, end) for begin, end in complement(windows, (start, finish)).tolist()
                 if end - begin > ROUNDING_MIN)


def link_covers(times: Times) -> tuple[LinkCover, ...]:
    """The steps with ``link`` yes or wait, in row order; none where the scenario has no relays."""
    covered, found = times.almanac.any_link, []
    for step, start, finish in times.each_step():
        if times.relays and step.link in ("yes", "wait"):
            gaps = gaps_between(covered, start, finish)
            length = finish - start
            # Of the gaps that are told alone, so that the share is 1 where there are none.
            share = 1.0 - sum(end - begin for begin, end in gaps) / length if length > 0 else 1.0
            again = next((max(begin, start) for begin, end in covered.tolist()
                          if end - max(begin, start) >= length - ROUNDING_MIN), nan)
            found.append(LinkCover(step, start, finish, share, gaps, again))
    return tuple(found)


def links_table(covers: Sequence[LinkCover]) -> pd.DataFrame:
    """A row a step; ``gaps`` in words, as PET labels."""
    rows = [(cover.step.step, cover.step.crew, cover.start_min, cover.share, pet_spans(*cover.gaps),
             cover.next_cover_min) for cover in covers]
    return ShownTable(rows, columns=LINK_COLUMNS)


@dataclass(frozen=True)
class Clock:
    """One row of gaps.csv with a greatest gap; minutes. It runs from ``begin_min`` to ``end_min`` (PET)."""

    gap: Gap
    max_gap_min: float
    begin_min: float
    end_min: float

    @property
    def actual_min(self) -> float:
        """The gap in this plan."""
        return self.end_min - self.begin_min

    @property
    def left_min(self) -> float:
        """What is left of the greatest gap."""
        return self.max_gap_min - self.actual_min


def gap_clocks(times: Times) -> tuple[Clock, ...]:
    """Every greatest gap, in row order."""
    return tuple(
        Clock(gap, gap.max_gap, times.span(gap.first_step)[gap.first_at == "finish"],
              times.span(gap.then_step)[gap.then_at == "finish"])
        for gap in times.scenario.records.gaps if gap.max_gap is not None)


def clocks_table(clocks: Sequence[Clock]) -> pd.DataFrame:
    """A row a clock, the nearest to its limit first; minutes."""
    rows = [(clock.gap.first_step, clock.gap.then_step, clock.gap.min_gap, clock.max_gap_min,
             clock.actual_min, clock.left_min, clock.gap.first_at, clock.gap.then_at, clock.gap.reason)
            for clock in sorted(clocks, key=lambda clock: clock.left_min)]
    return ShownTable(rows, columns=CLOCK_COLUMNS)
