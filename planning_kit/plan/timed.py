"""A scenario with times and all that follows from them: the plan that everything to the right reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

import numpy as np
import pandas as pd

from planning_kit.changes.change import ChangeLine
from planning_kit.inputs.faults import ScenarioError, is_whole, must_be
from planning_kit.inputs.log import Actuals
from planning_kit.inputs.log_state import States
from planning_kit.inputs.records import Hazard
from planning_kit.inputs.scenario import Scenario, as_scenario
from planning_kit.inputs.shown_text import visible
from planning_kit.inputs.times import pet_label
from planning_kit.inputs.utc import as_utc
from planning_kit.plan import needs, procedures
from planning_kit.plan import returns as homes
from planning_kit.plan.activities import (
    Activity,
    handover_table,
    lane_activities,
    timeline_table,
    with_reasons,
)
from planning_kit.plan.build import build_network, crew_travel
from planning_kit.plan.custody import custody_table, kit_table, track_custody
from planning_kit.plan.custody_state import Custody
from planning_kit.plan.explain import explain_step
from planning_kit.plan.exposures import Exposure, exposures_table, hazard_exposures, inhibits_table
from planning_kit.plan.giving_way import gives_way_order, keeping_most
from planning_kit.plan.hard_limit import LimitRule, by_consumables, stop_if_unknown
from planning_kit.plan.legs import Passage, cautions_table, crew_passages
from planning_kit.plan.network import Broken, Network, on_grid
from planning_kit.plan.past import Happened, Whereabouts, whereabouts_at
from planning_kit.plan.plan_times import Almanac, HardLimit, Times, almanac_for
from planning_kit.plan.suits import SuitHistory, suit_histories, suit_summary_table, suits_table
from planning_kit.plan.tether_lines import Tether, tethers_table, track_tether


@dataclass(frozen=True, eq=False)
class Outside:
    """What a re-timed plan knows of the outing so far.

    ``planned`` is the plan that the crew took outside, with which all is compared; ``base`` is what was
    re-timed: the same, or what a decision or a what-if has made of it. ``effort``: logged over
    assumed metabolic rate by crew member. ``here``: where that decision found the two.
    """

    planned: TimedPlan
    base: TimedPlan
    actuals: Actuals
    states: States
    now_min: float
    happened: Happened
    broken: tuple[Broken, ...]
    effort: Mapping[str, float]
    here: tuple[Whereabouts, ...] = ()


@dataclass(frozen=True, eq=False, repr=False)
class TimedPlan(Times):
    """The plan of a scenario, the earliest but for its late steps: its times, and what they mean.

    All of it is derived from the times when first asked for. Each part is given the parts that it needs
    (times, lanes, passages, tethers, suits) and none is given the plan: only here they meet. ``outside`` is
    its past, once it is re-timed; None before the outing. ``name`` and ``history`` say what a chain of
    what-ifs made it from.
    """

    outside: Outside | None = None
    name: str = ""
    history: tuple[ChangeLine, ...] = ()

    @classmethod
    def of(cls, scenario: Scenario, pet_zero: str | date | datetime | None = None,
           almanac: Almanac | None = None, is_soon: bool = False) -> TimedPlan:
        """Time a scenario. ``pet_zero`` (UTC) replaces its own; ``almanac`` is that PET 0's, where known.

        Where no plan keeps all rules it is the one that breaks least (`planning_kit.plan.giving_way`), with a
        finding for each rule that gives way; where it ``is_soon`` that an answer is wanted `GivesWay` is
        raised. Raises `ScenarioError` where the hard limit is to follow from consumables of which nothing is
        known.
        """
        as_scenario(scenario)
        moment = scenario.settings.pet_zero_utc if pet_zero is None else as_utc(pet_zero, "pet_zero")
        records = scenario.records
        almanac = almanac or almanac_for(records, scenario.elements, moment)
        travels = crew_travel(records)
        network = build_network(records, almanac, travels)
        durations = on_grid(np.array([step.minutes_likely for step in records.steps], dtype=float))

        def of(network: Network, starts: np.ndarray) -> TimedPlan:
            return cls(scenario, moment, almanac, travels, network, durations, starts)

        network, starts = keeping_most(network, durations, lambda *times: of(*times).hard_min,
                                       gives_way_order(records), is_soon)
        plan = of(network, starts)
        if scenario.settings.limits.fixed_hard_min is None:
            stop_if_unknown(plan.suit_histories)
        return plan

    def __repr__(self) -> str:
        return (f"<{type(self).__name__} {self.scenario.settings.title!r}: PET 0 "
                f"{self.pet_zero:%Y-%m-%dT%H:%MZ}, {len(self.steps)} steps, both inside at PET "
                f"{pet_label(self.end_min)}>")

    @property
    def now_min(self) -> float | None:
        """The moment of the re-timing, PET minutes; None for a plan that is not re-timed."""
        return None if self.outside is None else self.outside.now_min

    @property
    def taken_outside(self) -> TimedPlan:
        """The plan that a log is about: this one, or of a re-timed one the one that was re-timed."""
        return self if self.outside is None else self.outside.base

    @property
    def whereabouts(self) -> tuple[Whereabouts, ...]:
        """Where what is decided now finds the two, also beside another decision.

        Raises `ScenarioError` before the plan is re-timed.
        """
        outside = self.known_outside("whereabouts")
        return outside.here or whereabouts_at(self, self.passages, outside.now_min)

    def known_outside(self, what: str) -> Outside:
        """The past that ``what`` needs. Raises `ScenarioError` before the plan is re-timed."""
        if self.outside is None:
            raise ScenarioError.single(f"{what} needs a log: ask plan.retime(log, now_min) first",
                                       table="retime")
        return self.outside

    # What follows from the times alone.
    bare_lanes = cached_property(lane_activities)
    handovers = cached_property(handover_table)
    inhibit_holds = cached_property(needs.inhibit_holds)
    link_covers = cached_property(needs.link_covers)
    gap_clocks = cached_property(needs.gap_clocks)
    doings = cached_property(procedures.doings)
    state_spells = cached_property(procedures.state_spells)

    @cached_property
    def lanes(self) -> Mapping[str, tuple[Activity, ...]]:
        """The activities of each lane in order, with the slack of each step and what holds it."""
        return with_reasons(self, self.bare_lanes)

    @cached_property
    def hard_limit(self) -> HardLimit:
        """The hard limit of this plan, and why it is there.

        Raises `ScenarioError` where it is to follow from consumables and nothing is known of them.
        """
        fixed_min = self.scenario.records.settings.limits.fixed_hard_min
        if fixed_min is not None:
            return HardLimit(fixed_min)
        return by_consumables(self, self.bare_lanes, self.suit_histories)

    @property
    def limit_rule(self) -> LimitRule:
        """How the hard limits of other timings of the same work are reckoned."""
        fixed_min = self.scenario.records.settings.limits.fixed_hard_min
        return LimitRule(fixed_min) if fixed_min is not None else (
            LimitRule.by_consumables(self, self.bare_lanes, self.suit_histories))

    @property
    def timeline(self) -> pd.DataFrame:
        """One row an activity (work, travel, wait) of each crew member and actor, by start.

        Columns as in the contract: times in PET minutes and UTC, slacks in minutes (empty for travel and
        wait), ``held_by`` as ``kind:id``. The way home and ingress have an empty ``step``.
        """
        return timeline_table(self.lanes, self.pet_zero)

    @cached_property
    def suit_histories(self) -> tuple[SuitHistory, ...]:
        """Each crew member's suit through the outing."""
        return suit_histories(self.scenario.records, self.bare_lanes)

    @property
    def suits(self) -> pd.DataFrame:
        """What is left in each suit: one row a crew member and activity boundary.

        ``crew``, ``at_min`` (PET), ``oxygen_left_g``, ``co2_left_g`` (what the absorber can still take),
        ``energy_left_wh``, ``water_left_g``, then the reserves (``oxygen_reserve_g`` and so on). Between
        rows all fall along straight lines. NaN where data is missing: see the findings.
        """
        return suits_table(self.suit_histories)

    @property
    def suit_summary(self) -> pd.DataFrame:
        """The end of each suit: one row a crew member and consumable.

        ``crew``, ``consumable``, ``unit``, then in that unit ``usable``, ``used_before`` (PET 0), ``used``
        (the former included), ``left``, ``reserve`` and ``margin`` (left over the reserve);
        ``runs_out_min``: PET at which nothing is left, after the end at its mean rate; ``first``: this one
        runs out first. The end is when the pressure can be breathed.
        """
        return suit_summary_table(self.suit_histories)

    @cached_property
    def return_times(self) -> tuple[homes.Returns, ...]:
        """Each crew member's way home through the outing, the past and now as they were logged."""
        at_work = {} if self.outside is None else self.outside.states.at_work
        return homes.return_times(self, self.lanes, self.tracked_tethers, self.suit_histories, self.now_min,
                            at_work)

    @property
    def returns(self) -> pd.DataFrame:
        """The way home at every whole minute and activity boundary: one row a crew member and moment.

        ``crew``, ``at_min`` (PET), ``place``, ``step`` under way, ``safe_now_min`` and ``safe_orderly_min``
        that it needs first, ``alone_min`` and ``with_partner_min`` (from then until safe); whole, an abort
        alone and with the partner (``abort_min``, ``partner_abort_min``), and a terminate (``terminate_min``,
        ``partner_terminate_min``); of an abort ``emergency_margin_min`` and ``partner_margin_min`` (of the
        emergency oxygen), of a terminate ``first_out`` (the consumable that would run out first on the way)
        and ``suit_margin_min``, both also with the partner (of the first of both). All in minutes; NaN is not
        known, infinite is no way (a margin: minus infinity). The same as in ``ways_home``.
        """
        return homes.returns_table(self.return_times)

    @property
    def return_summary(self) -> pd.DataFrame:
        """The worst point of each crew member: one row a case (alone, with the partner, consumables).

        ``crew``, ``case``, ``margin_min``, ``at_min`` (PET), ``place``, ``time_back_min``, and of the crew
        member: ``turn_back_by_min`` (PET: until then every moment keeps ``return_reserve_min``) and
        ``stay_min`` (how much longer than planned they could wait at the airlock).
        """
        reserve = self.scenario.settings.limits.return_reserve_min or 0.0
        return homes.return_summary_table(self.return_times, reserve)

    @cached_property
    def return_breaches(self) -> tuple[homes.Breach, ...]:
        """Where the plan breaks what a turn-back time is to keep: instead of such a time, people get this."""
        reserve = self.scenario.settings.limits.return_reserve_min or 0.0
        return tuple(homes.breaches_of(self.return_times, reserve))

    @property
    def inhibits(self) -> pd.DataFrame:
        """The list for the owners of inhibits, by the time each must stand.

        ``inhibit``, ``title``, ``owner``, ``set_by_min`` and ``lift_after_min`` (PET, minutes), ``hold_min``,
        the same times as PET and GMT labels, ``from_step``, ``until_step``, ``overlaps`` (inhibits in force
        at the same time), ``reason``. As PET labels, "" where nothing is typed: ``safe_from`` (not before),
        ``confirmed`` (the finish of the step ``confirmed_by``), ``restored`` (what was off is back), and when
        each crew member first enters and last leaves the hazards that name it (``EV1_enters``,
        ``EV1_leaves``, ...).
        """
        return inhibits_table(self, self.inhibit_holds, self.tracked_exposures, self.exposed_to)

    @property
    def links(self) -> pd.DataFrame:
        """The steps that need a link: ``step``, ``crew``, ``start_min`` (PET), ``share`` covered (0 to 1).

        ``gaps`` without a relay as PET labels; ``next_cover_min``: earliest start, from the plan's on, at
        which the whole step is covered (PET; NaN for none).
        """
        return needs.links_table(self.link_covers)

    @property
    def clocks(self) -> pd.DataFrame:
        """The greatest gaps of the plan, nearest to its limit first.

        ``first_step``, ``then_step``, ``min_gap``, ``max_gap``, ``actual``, ``left`` (minutes), ``first_at``
        and ``then_at`` (which ends of the steps count), ``reason``.
        """
        return needs.clocks_table(self.gap_clocks)

    @cached_property
    def passages(self) -> Mapping[str, tuple[Passage, ...]]:
        """Where each crew member stands or which route they are on, in order."""
        airlock = self.scenario.settings.airlock_place
        return {crew.crew: crew_passages(self.travels[crew.crew], crew.metres_per_min, self.lanes[crew.crew],
                                         airlock) for crew in self.scenario.records.crew}

    @property
    def cautions_on_the_way(self) -> pd.DataFrame:
        """The cautions of places and routes that each crew member meets, by time (see `cautions_table`)."""
        return cautions_table(self.scenario.records.places, self.passages)

    @cached_property
    def tracked_custody(self) -> Custody:
        """Where every item is over time, and what cannot be done as written."""
        return track_custody(self, self.passages)

    @property
    def custody(self) -> pd.DataFrame:
        """Who or where holds each item over time: one row a stay, PET minutes (see `custody_table`)."""
        return custody_table(self.scenario.records.hardware, self.tracked_custody.holdings)

    @property
    def kit_list(self) -> pd.DataFrame:
        """What goes out with whom and in which bag, and what comes back (see `kit_table`)."""
        return kit_table(self.scenario.records, self.tracked_custody.holdings, self.passages)

    @cached_property
    def tracked_tethers(self) -> Mapping[str, Tether]:
        """How each crew member's tether lies over time."""
        return {crew: track_tether(self, passages, crew) for crew, passages in self.passages.items()}

    @property
    def tethers(self) -> pd.DataFrame:
        """Where each tether is hooked and how far it reaches, PET minutes, metres (see `tethers_table`)."""
        return tethers_table(self.tracked_tethers)

    @cached_property
    def tracked_exposures(self) -> tuple[Exposure, ...]:
        """When each crew member is inside which hazard, at work, on the way and waiting."""
        return self.exposed_to(self.scenario.records.hazards)

    def exposed_to(self, hazards: Sequence[Hazard]) -> tuple[Exposure, ...]:
        """All exposures to these hazards, which may be other than the scenario's."""
        return hazard_exposures(self, self.passages, self.inhibit_holds, self.tracked_custody, hazards)

    @property
    def exposures(self) -> pd.DataFrame:
        """When each crew member is inside a hazard that is there: one row a stretch, by time.

        ``hazard``, ``title``, ``class``, ``limit``, ``crew``, ``from_min``, ``until_min`` (PET),
        ``minutes``, ``place``, ``to_place`` ("" where they stand), ``step`` (worked on or travelled to),
        ``doing`` (work, travel, wait), ``assumed`` (why the unsafe case is assumed), ``controls`` in words,
        ``open_min`` (minutes of it in which they do not hold).
        """
        return exposures_table(self.tracked_exposures)

    @property
    def actions(self) -> pd.DataFrame:
        """The procedure: a row an action, by the start of its step (``start_min``, ``finish_min``: PET)."""
        return procedures.actions_table(self.doings)

    @property
    def states(self) -> pd.DataFrame:
        """What covers, valves and connectors are: a row a stretch (PET), made so ``by_step`` ("": none)."""
        return procedures.states_table(self.state_spells)

    def explain(self, step: str, lines: int | None = None) -> str:
        """Why a step starts when it does, back to PET 0, in words, a line a link of the chain.

        ``lines`` cuts the text after so many and says how many more there are. Raises `ScenarioError` for an
        unknown step and for what is no number of lines.
        """
        if lines is not None and not is_whole(lines, 0):
            raise ScenarioError.single("must be a whole number of lines, or None", column="lines",
                                       value=lines)
        chain = [visible(line) for line in explain_step(self, self.position(step))]
        if self.outside is not None and step in self.outside.states.put_back:
            chain.insert(0, f"{step} puts back {self.steps[self.position(step)].task}, which is given up")
        if lines is None or len(chain) <= lines:
            return "\n".join(chain)
        return "\n".join([*chain[:lines], f"... and {len(chain) - lines} more lines, back to PET 0"])


@dataclass(frozen=True, eq=False, repr=False)
class Face:
    """What a user holds of a plan, to ask more of it: it has the plan, ``timed``, and is none."""

    timed: TimedPlan


AnyPlan = TimedPlan | Face
"""What a function of the front door takes for a plan; `as_plan` gives the plan itself."""


def as_plan(given: object, what: str = "plan") -> TimedPlan:
    """``given``, without its face; a `ScenarioError` where it is no plan."""
    within = given.timed if isinstance(given, Face) else given
    return must_be(within, TimedPlan, what, "must be a plan, such as pk.time_plan(scenario) gives")
