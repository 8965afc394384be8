"""The list for the owners of inhibits: set, safe, confirmed, who is inside meanwhile, lifted, back again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from math import isfinite, nan

import pandas as pd

from planning_kit.inputs.hazard_words import Term
from planning_kit.inputs.records import Hazard
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.inputs.times import Side, gmt_label, moment_at, pet_label
from planning_kit.plan.exposures import Exposure
from planning_kit.plan.needs import Hold
from planning_kit.plan.plan_times import Times

_BEFORE = ["inhibit", "title", "owner", "set_by_min", "lift_after_min", "hold_min", "set_by", "set_by_gmt",
           "safe_from", "confirmed_by", "confirmed"]
_AFTER = ["lift_after", "lift_after_gmt", "restored", "from_step", "until_step", "overlaps", "reason"]


def stays_by_inhibit(times: Times, exposures: Sequence[Exposure],
                     exposed_to: Callable[[Sequence[Hazard]], Sequence[Exposure]],
                     ) -> dict[str, list[Exposure]]:
    """By inhibit the exposures to what it controls, and to what would be there if it were off.

    ``exposed_to`` finds exposures to other hazards than the scenario's.
    """
    found: dict[str, list[Exposure]] = {}
    for inhibit in (each.inhibit for each in times.scenario.records.inhibits):
        own = [each for each in exposures if _controls(inhibit, each.hazard)]
        if_off = [replace(each, when=tuple(term for term in each.when if not _is_off(inhibit, term)))
                  for each in times.scenario.records.hazards
                  if any(_is_off(inhibit, term) for term in each.when)]
        found[inhibit] = [*own, *(exposed_to(if_off) if if_off else ())]
    return found


def _controls(inhibit: str, hazard: Hazard) -> bool:
    return hazard.controls is not None and inhibit in hazard.controls.names


def _is_off(inhibit: str, term: Term) -> bool:
    return term.kind == "off" and term.about == inhibit


def inhibits_table(holds: Sequence[Hold], stays: Mapping[str, Sequence[Exposure]], crew: Sequence[str],
                   pet_zero: datetime) -> pd.DataFrame:
    """A row an inhibit, by the time it must stand; times as PET minutes, PET labels and GMT labels.

    ``EV1_enters`` and ``EV1_leaves`` (of each of ``crew``) are the ends of ``stays``.
    """
    rows = [[*_row(hold, stays[hold.inhibit.inhibit], crew, pet_zero)]
            for hold in sorted(holds, key=lambda hold: hold.set_by_min)]
    ends = [f"{who}_{end}" for who in crew for end in ("enters", "leaves")]
    return ShownTable(rows, columns=[*_BEFORE, *ends, *_AFTER])


def _row(hold: Hold, stays: Sequence[Exposure], crew: Sequence[str], pet_zero: datetime) -> Iterator[object]:
    inhibit = hold.inhibit
    yield from (inhibit.inhibit, inhibit.title, inhibit.owner, hold.set_by_min, hold.lift_after_min,
                hold.hold_min, *_labels(hold.set_by_min, pet_zero, "down"), _label(hold.safe_from_min, "up"),
                inhibit.confirmed_by, _label(hold.confirmed_min, "up"))
    for who in crew:  # the first minute of entering and the last of leaving
        theirs = [each for each in stays if each.crew == who]
        yield _label(min((each.from_min for each in theirs), default=nan), "down")
        yield _label(max((each.until_min for each in theirs), default=nan), "up")
    yield from (*_labels(hold.lift_after_min, pet_zero, "up"), _label(hold.restored_min, "up"),
                inhibit.from_step, inhibit.until_step, " ".join(hold.overlaps), inhibit.reason)


def _label(pet_min: float, side: Side) -> str:
    return pet_label(pet_min, side) if isfinite(pet_min) else ""


def _labels(pet_min: float, pet_zero: datetime, side: Side) -> tuple[str, str]:
    return pet_label(pet_min, side), gmt_label(moment_at(pet_min, pet_zero), side)
