"""The same work at other PET 0 times: the finish as a function of when they go out, and when they may.

The sky is computed once and all starts in one pass of the timing.

Time is counted from the first PET 0, so that windows stay where they are and the releases of each outing
move with its PET 0: one network, one column of starts a PET 0. Where an outing's own view of the sky
differs (nothing is known past its horizon; a window in progress at PET 0 needs no guard at that end) the
column is not used, and that PET 0 is timed by itself.
"""

import contextlib
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import takewhile

import numpy as np
import pandas as pd

from planning_kit.explore.long_question import Report, mapped, silent, told
from planning_kit.inputs.faults import Faults, ScenarioError, is_number, must_be, table_with, told_together
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.inputs.utc import as_utc
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.check_rules import check_rules
from planning_kit.judge.findings import STOP
from planning_kit.plan.activities import WAIT, Timings, minutes_of
from planning_kit.plan.build import build_network, crew_travel
from planning_kit.plan.late import planned_starts
from planning_kit.plan.network import LIGHT, Network, on_grid
from planning_kit.plan.plan_times import Almanac, almanac_for
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end


@dataclass(frozen=True)
class PetZeroRange:
    """A scenario and PET 0 times ``offsets_min`` (k,), sorted, >= 0, minutes after ``first`` (UTC)."""

    scenario: Scenario
    first: datetime
    offsets_min: np.ndarray

    @cached_property
    def almanac(self) -> Almanac:
        """The sky from the first PET 0 to the horizon of the last. Raises `ScenarioError`."""
        settings = self.scenario.settings
        hours = settings.horizon_h + float(self.offsets_min.max(initial=0.0)) / 60.0
        records = replace(self.scenario.records, settings=replace(settings, horizon_h=hours))
        return almanac_for(records, self.scenario.elements, self.first)

    @cached_property
    def network(self) -> Network:
        """The timing problem in minutes after the first PET 0, without releases."""
        records = self.scenario.records
        return build_network(records, self.almanac, crew_travel(records))

    def pet_zero(self, row: int) -> datetime:
        """The PET 0 of one row."""
        return self.first + timedelta(minutes=float(self.offsets_min[row]))

    def almanac_of(self, row: int) -> Almanac:
        """The sky as one outing sees it."""
        if any(row.is_pet for row in self.scenario.records.windows):
            return almanac_for(self.scenario.records, self.scenario.elements, self.pet_zero(row))
        return self.almanac.seen_from(float(self.offsets_min[row]), self.scenario.settings.horizon_h * 60.0)

    def starts(self, durations: np.ndarray) -> np.ndarray:
        """Starts in PET minutes (steps, k); NaN columns for those to be timed by themselves."""
        network, offsets = self.network, on_grid(self.offsets_min)
        floor = np.full((len(network.steps), len(offsets)), -np.inf)
        for release in network.releases:
            np.maximum(floor[release.step], offsets + release.at_min, out=floor[release.step])
        moving = replace(network, releases=())
        starts: np.ndarray = planned_starts(moving, durations, not_before=floor) - offsets
        starts[:, ~self._is_plain(starts, on_grid(durations)[:, None])] = np.nan
        return starts

    def _is_plain(self, starts: np.ndarray, lengths: np.ndarray) -> np.ndarray:
        """For each column, whether its own view of the sky gives the same starts."""
        horizon = self.scenario.settings.horizon_h * 60.0
        needs_end = np.array([windows is not None for windows in self.network.allowed])[:, None]
        last = np.where(needs_end, starts + lengths, starts)
        guard = self.scenario.settings.night_guard_s / 60.0
        # What is as late as it can be might use the guard of a window that the own horizon cuts.
        until = horizon - guard if self.network.late else horizon
        known: np.ndarray = np.isfinite(starts).all(axis=0) & (last <= until).all(axis=0)
        known &= not any(row.is_pet for row in self.scenario.records.windows)
        # Where no lit step can start within the guard, both views use a window in progress at PET 0 alike.
        return known & ~self._is_in_a_guard(guard) if self._first_lit_min(lengths[:, 0]) <= guard else known

    def _first_lit_min(self, lengths: np.ndarray) -> float:
        """The earliest PET at which a step that needs light could start if it were always light."""
        network = self.network
        always = replace(network, allowed=(None,) * len(network.steps), groups=(), group_windows=())
        lit = [any(demand.kind == LIGHT for demand in demands) for demands in network.demands]
        return float(earliest_starts(always, lengths)[lit].min(initial=np.inf))

    def _is_in_a_guard(self, guard: float) -> np.ndarray:
        """For each PET 0, whether it falls into the guard at the start of a night or day that is needed."""
        inside = np.zeros(len(self.offsets_min), dtype=bool)
        for begin in {begin for demands in self.network.demands for demand in demands
                      if demand.kind == LIGHT for begin in demand.whole[:, 0]}:
            # A hair too wide: a PET 0 too many is only timed by itself.
            inside |= (self.offsets_min >= begin - 1e-6) & (self.offsets_min <= begin + guard + 1e-6)
        return inside


SWEEP_COLUMNS = ["pet_zero", "end_min", "planned_margin_min", "hard_margin_min", "wait_min", "reason"]
SPELL_COLUMNS = ["limit", "from", "until", "width_min", "best_pet_zero", "best_end_min", "rows", "may_go_on"]
PLANNED, HARD, NO_STOPS = "planned", "hard", "no stops"
_MOST_ROWS = 20_000
_ROWS_TOGETHER = 8  # on an executor: they share one copy of the scenario and its sky
NOT_REACHED = "not reached: the sweep was stopped"


class Sweep(ShownTable):
    """A plan at many PET 0 times, a row each: what ``plan.sweep`` gives, a DataFrame in every way."""

    @property
    def good_spells(self) -> pd.DataFrame:
        """Runs of neighbouring rows that keep the planned limit, and that keep the hard one.

        ``limit`` (``planned``, ``hard``; ``no stops`` too where the sweep counted stop findings), ``from``
        and ``until`` (UTC, the first and last PET 0 of the run), ``width_min`` (minutes between them: 0 for
        a single row), ``best_pet_zero`` and ``best_end_min`` (the earliest of the shortest outings in it) and
        the number of ``rows``. An edge is known to the distance of the rows: between the last good PET 0
        and the next row the plan may still keep its limit, or not. ``may_go_on``: the run touches the first
        or the last row of the sweep, or one that was not reached, so that its width is the least it can be.
        Empty where no row keeps a limit. Raises `ScenarioError` where columns of the sweep were left out.
        """
        return good_spells(self)


def sweep_pet_zero(scenario: Scenario, start: str | date | datetime, stop: str | date | datetime,
                   every_min: float, stops: bool = False, executor: Executor | None = None,
                   report: Report = silent, cancel: Callable[[], bool] = bool) -> Sweep:
    """Time a scenario at every ``every_min`` minutes of PET 0: ``plan.sweep`` says how.

    The sky is computed once for the whole range: minutes agree with a plan timed alone to 1e-6. Raises
    `ScenarioError` when the range makes no sense.
    """
    scenario.stop_if_happened("sweep")
    first, last = as_utc(start, "start"), as_utc(stop, "stop")
    must_be(stops, bool, "stops", "must be True or False")
    count = _row_count(first, last, every_min)
    pet_zeros = PetZeroRange(scenario, first, every_min * np.arange(count))
    work = mapped(executor, _ROWS_TOGETHER)
    ends, waits, hards = _timed_together(pet_zeros)
    alone = [row for row in range(count) if stops or not np.isfinite(ends[row])]
    made = told(work(_row_alone, [pet_zeros] * len(alone), alone, [stops] * len(alone)), report,
                "PET 0 times", len(alone))
    known = dict.fromkeys(alone) | dict(zip(alone, takewhile(lambda row: not cancel(), made), strict=False))
    rows = [known[row] or _not_timed(scenario, pet_zeros.pet_zero(row), NOT_REACHED) if row in known
            else _row(scenario, pet_zeros.pet_zero(row), ends[row], waits[row], hards[row])
            for row in range(count)]
    frame = Sweep(rows, columns=[*SWEEP_COLUMNS, *(["stops"] if stops else [])])
    frame["pet_zero"] = pd.to_datetime(frame["pet_zero"], utc=True)
    return frame


def _row_count(first: datetime, last: datetime, every_min: float) -> int:
    """How many rows there are. Raises `ScenarioError` where that makes no sense."""
    faults = Faults()
    if not is_number(every_min) or every_min <= 0:
        faults.add("", None, "every_min", every_min, "must be minutes from row to row, above 0")
    if last < first:
        faults.add("", None, "stop", last.isoformat(), f"must not be before the start, {first.isoformat()}")
    faults.stop_if_any()
    rows = (last - first).total_seconds() / 60 / every_min
    if rows > _MOST_ROWS:
        raise ScenarioError.single(f"makes more than {_MOST_ROWS} rows: take more minutes or less time",
                                   column="every_min", value=every_min)
    # 18 s at every 0.1 min are 2.9999999999999996 steps: the last row is not lost to rounding.
    return int(rows + 1e-9) + 1


def _timed_together(pet_zeros: PetZeroRange) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Outing end, waits and hard limit (k,) of all rows; NaN for those to be timed by themselves."""
    scenario = pet_zeros.scenario
    durations = np.array([step.minutes_likely for step in scenario.records.steps], dtype=float)
    nothing = np.full(len(pet_zeros.offsets_min), np.nan)
    try:
        starts = pet_zeros.starts(durations)
    except ScenarioError:  # beyond what is known of the orbit somewhere in the range: each row for itself
        return nothing, nothing, nothing
    known = np.isfinite(starts).all(axis=0)
    ends = np.where(known, outing_end(pet_zeros.network, starts, durations[:, None]), np.nan)
    if not known.any():
        return ends, nothing, nothing
    # Work and travel are the same at any PET 0, so one plan says how much of an outing is not waiting.
    one = int(np.flatnonzero(known)[0])
    plan = TimedPlan.of(scenario, pet_zeros.pet_zero(one), pet_zeros.almanac_of(one))
    hards = plan.limit_rule.minutes(Timings(
        steps=plan.steps, travels=plan.travels, settings=scenario.settings, network=plan.network,
        starts=starts, durations=np.broadcast_to(durations[:, None], starts.shape), end_min=ends))
    return ends, _wait_min(plan) + len(plan.travels) * (ends - plan.end_min), hards


def _row_alone(pet_zeros: PetZeroRange, row: int, stops: bool) -> dict[str, object]:
    scenario, pet_zero = pet_zeros.scenario, pet_zeros.pet_zero(row)
    almanac = None  # where the range reaches beyond what is known of the orbit: its own sky, if it has one
    with contextlib.suppress(ScenarioError):
        almanac = pet_zeros.almanac_of(row)
    try:
        plan = TimedPlan.of(scenario, pet_zero, almanac)
    except ScenarioError as error:
        return _not_timed(scenario, pet_zero, told_together(error.problems))
    found = float((findings_of(plan)["severity"] == STOP).sum()) if stops else float("nan")
    # Where rules give way, the words say so: such a row keeps no limit.
    why = "; ".join(finding.message.partition(". ")[0] for finding in check_rules(plan))
    return _row(scenario, pet_zero, plan.end_min, _wait_min(plan), plan.hard_min, why) | {"stops": found}


def _not_timed(scenario: Scenario, pet_zero: datetime, why: str) -> dict[str, object]:
    nothing = float("nan")
    return _row(scenario, pet_zero, nothing, nothing, nothing, why) | {"stops": nothing}


def _wait_min(plan: TimedPlan) -> float:
    return minutes_of((each for crew in plan.travels for each in plan.lanes[crew]), WAIT)


def _row(scenario: Scenario, pet_zero: datetime, end_min: float, wait_min: float, hard_min: float,
         reason: str = "") -> dict[str, object]:
    limits = scenario.settings.limits
    return {"pet_zero": pet_zero, "end_min": end_min, "planned_margin_min": limits.planned_min - end_min,
            "hard_margin_min": hard_min - end_min, "wait_min": wait_min, "reason": reason}


def good_spells(sweep: pd.DataFrame) -> pd.DataFrame:
    """The runs of rows that keep a limit: see ``Sweep.good_spells``; `ScenarioError` for what is no sweep."""
    sweep = table_with(sweep, SWEEP_COLUMNS, "sweep", "must be a table such as plan.sweep() gives")
    ordered = sweep.sort_values("pet_zero", kind="stable").reset_index(drop=True)
    is_whole = ordered["reason"] == ""
    is_open = np.pad(ordered["reason"] == NOT_REACHED, 1, constant_values=True)
    keeps = {PLANNED: is_whole & (ordered["planned_margin_min"] >= 0),
             HARD: is_whole & (ordered["hard_margin_min"] >= 0)}
    if "stops" in ordered:
        keeps[NO_STOPS] = ordered["stops"] == 0
    spells = [(*_spell(limit, ordered[first:after]), bool(is_open[first] or is_open[after + 1]))
              for limit, kept in keeps.items() for first, after in np.flatnonzero(
                  np.diff(kept.to_numpy(dtype=bool), prepend=False, append=False)).reshape(-1, 2).tolist()]
    table = ShownTable(spells, columns=SPELL_COLUMNS)
    for column in ("from", "until", "best_pet_zero"):
        table[column] = pd.to_datetime(table[column], utc=True)
    return table


def _spell(limit: str, rows: pd.DataFrame) -> tuple[object, ...]:
    first, last = rows["pet_zero"].iloc[0], rows["pet_zero"].iloc[-1]
    # Rounded, so that the first of equal outings is told, whatever their last digits.
    best = int(np.argmin(rows["end_min"].round(6)))
    return (limit, first, last, (last - first).total_seconds() / 60, rows["pet_zero"].iloc[best],
            rows["end_min"].iloc[best], len(rows))
