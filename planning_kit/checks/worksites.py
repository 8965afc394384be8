"""Check: how many people stand at a worksite at once."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pandas as pd

from planning_kit.checks.findings import STOP, Finding
from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timeline import TRAVEL

CHECK = "worksites"


def check_capacity(plan: TimedPlan) -> Iterator[Finding]:
    """More crew at a place than ``places.crew_at_once`` (stop), one finding a spell.

    Work and waits count, passing through does not; other actors take no room.
    """
    stays = plan.timeline
    stays = stays[(stays["kind"] != TRAVEL) & stays["crew"].isin(list(plan.travels))]
    for place in plan.scenario.records.places:
        if place.crew_at_once is None:
            continue
        here = stays[stays["place"] == place.place]
        for begin, end, present in _spells(here):
            if len(present) > place.crew_at_once:
                yield _crowded(plan, place.place, place.crew_at_once, begin, end, present)


def _crowded(plan: TimedPlan, place: str, room: int, begin: float, end: float,
             present: pd.DataFrame) -> Finding:
    people = sorted(set(present["crew"]))
    last = present.sort_values("start_min").iloc[-1]
    return Finding(
        STOP, CHECK, " ".join(people), str(last["step"]), begin,
        f"{' and '.join(people)} at {plan.place_title(place)} from {pet_label(begin)} to {pet_label(end)}, "
        f"which has room for {room}: let one finish first (an after), or give {last['step'] or 'the wait'} "
        "another waiting place (wait_at)",
        "places.crew_at_once", float(len(people)), float(room), float(room - len(people)),
    )


def _spells(stays: pd.DataFrame) -> Iterator[tuple[float, float, pd.DataFrame]]:
    """Stretches of time with the same people present: start, end and their rows; neighbours joined."""
    spans = _joined(stays)
    edges = sorted({*spans["start_min"], *spans["finish_min"]})
    previous: tuple[float, float, pd.DataFrame] | None = None
    for begin, end in pairwise(edges):
        present = spans[(spans["start_min"] < end) & (spans["finish_min"] > begin)]
        if previous is not None and previous[1] == begin and set(previous[2]["crew"]) == set(present["crew"]):
            previous = (previous[0], end, previous[2])
            continue
        if previous is not None:
            yield previous
        previous = (begin, end, present)
    if previous is not None:
        yield previous


def _joined(stays: pd.DataFrame) -> pd.DataFrame:
    """A crew member's rows at one place that follow on each other, as one stay named by its first step."""
    rows: list[dict[str, object]] = []
    for _, one in stays.sort_values("start_min").groupby("crew"):
        own: list[dict[str, object]] = []
        for row in one[["crew", "step", "start_min", "finish_min"]].to_dict("records"):
            if own and own[-1]["finish_min"] == row["start_min"]:
                own[-1]["finish_min"] = row["finish_min"]
            else:
                own.append({str(key): value for key, value in row.items()})
        rows += own
    return pd.DataFrame(rows, columns=["crew", "step", "start_min", "finish_min"])
