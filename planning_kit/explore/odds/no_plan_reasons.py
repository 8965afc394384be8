"""Why samples have no plan: the greatest gap that cannot be kept, or the step that finds no window."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from planning_kit.explore.odds.cut_rule import SampledPlans
from planning_kit.explore.odds.outing import Outing, Part, part_without
from planning_kit.explore.odds.sampling import Draws
from planning_kit.plan.network import MAX_GAP, Network


def no_plan_reasons(outing: Outing, draws: Draws, plans: SampledPlans) -> Counter[str]:
    """How many samples have no plan, by reason in words.

    A greatest gap is the reason where the sample has a plan without it (the first such gap counts); elsewhere
    it is the first step, in row order, that cannot be placed though all that it waits for can.
    """
    reasons: Counter[str] = Counter()
    for dropped, members in plans.groups():
        failed = members[~np.isfinite(plans.end_min[members])]
        if len(failed):
            part = part_without(outing, dropped)
            reasons.update(_reasons(part, draws.part(part.kept, failed)))
    return reasons


def _reasons(part: Part, draws: Draws) -> list[str]:
    samples = np.arange(draws.durations.shape[1])
    reasons, network = [""] * len(samples), part.network
    for bound in network.bounds:
        if bound.kind != MAX_GAP or not len(samples):
            continue
        relaxed = replace(network, bounds=tuple(other for other in network.bounds if other is not bound))
        steps = np.arange(len(network.steps))
        _, end = replace(part, network=relaxed).timed(draws.part(steps, samples))
        for sample in samples[np.isfinite(end)]:
            reasons[sample] = (f"{network.steps[bound.after]} to {network.steps[bound.before]}: the greatest "
                               f"gap of {-bound.fixed_min:g} min cannot be kept")
        samples = samples[~np.isfinite(end)]
    if len(samples):
        starts, _ = part.timed(draws.part(np.arange(len(network.steps)), samples))
        for sample, step in zip(samples, _first_lost(network, starts), strict=True):
            reasons[sample] = f"{network.steps[step]} finds no window or no time before the horizon"
    return reasons


def _first_lost(network: Network, starts: np.ndarray) -> np.ndarray:
    """The first step of each sample that is lost by itself, or else the first that is lost."""
    lost = ~np.isfinite(starts)
    waits = np.array([lost[[bound.before for bound in bounds]].any(axis=0) for bounds in network.bounds_into])
    own = lost & ~waits
    return np.asarray(np.argmax(np.where(own.any(axis=0), own, lost), axis=0))
