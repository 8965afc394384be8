"""The windows that a plan uses: of each step that must fit in one, and of each group that shares one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from planning_kit.plan.network import WINDOW, Demand
from planning_kit.plan.plan_times import Times


@dataclass(frozen=True, kw_only=True)
class PlannedWindow:
    """A window that the plan on likely durations uses: of one step, or of a group. PET minutes.

    ``asks_for`` is the kind of window asked for (``light:night``), ``window`` the one of them that is used;
    ``stretches`` all of that kind, (n, 2).
    """

    subject: str
    members: tuple[int, ...]
    asks_for: str
    window: str
    task: str
    title: str
    planned_start_min: float
    begin_min: float
    end_min: float
    stretches: np.ndarray = field(compare=False)

    @property
    def is_known(self) -> bool:
        """Whether it is known when it is; of a named period there may be none before the horizon."""
        return len(self.stretches) > 0 or not self.asks_for.startswith(f"{WINDOW}:")

    @property
    def name(self) -> str:
        """As people say it: ``night 2``; of a named period its name."""
        name = self.window.partition(":")[2]
        return name if self.asks_for.startswith(f"{WINDOW}:") else name.replace("-", " ")


def planned_windows(times: Times) -> Iterator[PlannedWindow]:
    """Every window that a step must fit in (light, a link waited for, a named period) and every group's.

    Steps of a group that share its light are told by the group alone.
    """
    network, of_group = times.network, set()
    for group in network.groups:
        of_group |= {(member, group.demand.label) for member in group.members}
        tasks = dict.fromkeys(times.steps[member].task for member in group.members)
        title = " ".join(times.steps[member].step for member in group.members)
        yield _planned(times, group.name, group.members, group.demand, " ".join(tasks), title)
    for position, (step, demands) in enumerate(zip(times.steps, network.demands, strict=True)):
        for demand in demands:
            if (position, demand.label) not in of_group:
                yield _planned(times, step.step, (position,), demand, step.task, step.title)


def _planned(times: Times, subject: str, members: tuple[int, ...], demand: Demand, task: str,
             title: str) -> PlannedWindow:
    start = float(times.starts[list(members)].min())
    begin, end = demand.nearest(start, float(times.finishes[list(members)].max())) or (np.inf, -np.inf)
    return PlannedWindow(subject=subject, members=members, asks_for=f"{demand.kind}:{demand.label}",
                         window=demand.name_at(start), task=task, title=title, planned_start_min=start,
                         begin_min=begin, end_min=end, stretches=demand.windows)
