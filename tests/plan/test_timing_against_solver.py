"""The timing against a constraint solver (OR-Tools CP-SAT) on random small problems in whole minutes.

The solver gets the rules as they read, not our code. It judges feasibility, the earliest starts (least sum),
the latest starts (greatest sum under the hard limit), and that nothing past the latest start is feasible.
"""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from ortools.sat.python import cp_model

from planning_kit.plan.network import Network
from planning_kit.plan.slack import latest_starts
from planning_kit.plan.timing import earliest_starts, outing_end
from tests.plan.networks import HORIZON_MIN, timing_problems


class Judge:
    """The same problem for the solver, in minutes times ``scale``."""

    def __init__(self, network: Network, durations: np.ndarray, deadline: float | None = None,
                 scale: int = 1) -> None:
        self.network, self.scale = network, scale
        self.lengths = [round(value * scale) for value in durations]
        self.model = cp_model.CpModel()
        top = int(HORIZON_MIN * scale)
        self.starts = [self.model.new_int_var(0, top, name) for name in network.steps]
        self._releases_and_bounds()
        for step, windows in enumerate(network.allowed):
            if windows is not None:
                self._inside_one(windows, [step])
        for group in network.groups:
            self._inside_one(group.demand.windows, list(group.members))
        if deadline is not None:
            self._home_by(deadline)

    def _releases_and_bounds(self) -> None:
        for release in self.network.releases:
            self.model.add(self.starts[release.step] >= round(release.at_min * self.scale))
        for bound in self.network.bounds:
            left = self.starts[bound.after] + (self.lengths[bound.after] if bound.to_finish else 0)
            right = self.starts[bound.before] + (self.lengths[bound.before] if bound.from_finish else 0)
            self.model.add(left >= right + round((bound.fixed_min + bound.travel_min) * self.scale))

    def _inside_one(self, windows: np.ndarray, members: list[int]) -> None:
        chosen = [self.model.new_bool_var("") for _ in windows]
        self.model.add_exactly_one(chosen)
        for (begin, end), is_chosen in zip(windows, chosen, strict=True):
            for member in members:
                finish = self.starts[member] + self.lengths[member]
                self.model.add(self.starts[member] >= round(begin * self.scale)).only_enforce_if(is_chosen)
                self.model.add(finish <= round(end * self.scale)).only_enforce_if(is_chosen)

    def _home_by(self, deadline: float) -> None:
        for home in self.network.homes:
            if home.last >= 0:
                finish = self.starts[home.last] + self.lengths[home.last]
                rest = round((home.travel_min + self.network.ends_min) * self.scale)
                self.model.add(finish + rest <= round(deadline * self.scale))

    def solve(self) -> list[float] | None:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(self.model)
        assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE)
        if status == cp_model.INFEASIBLE:
            return None
        return [solver.value(start) / self.scale for start in self.starts]

    def earliest(self) -> list[float] | None:
        self.model.minimize(sum(self.starts))
        return self.solve()

    def latest(self) -> list[float] | None:
        self.model.maximize(sum(self.starts))
        return self.solve()


@settings(max_examples=150)
@given(timing_problems())
def test_feasibility_and_earliest_starts(problem: tuple[Network, np.ndarray]) -> None:
    network, durations = problem
    starts = earliest_starts(network, durations)
    expected = Judge(network, durations).earliest()
    if expected is None:
        assert np.isinf(starts).any()
    else:
        # The solver's minimum may use negative room only down to 0, as ours does through the releases.
        unbounded = ~np.isfinite(starts)
        assert not (starts[unbounded] > 0).any()
        assert np.maximum(starts, 0.0).tolist() == expected


@settings(max_examples=100)
@given(timing_problems())
def test_latest_starts_and_exact_slack_to_the_limit(problem: tuple[Network, np.ndarray]) -> None:
    network, durations = problem
    starts = earliest_starts(network, durations)
    assume(np.isfinite(starts).all() and (starts >= 0).all())
    deadline = float(outing_end(network, starts, durations)) + 20.0
    latest = latest_starts(network, durations, deadline)
    expected = Judge(network, durations, deadline).latest()
    assert expected is not None
    bounded = np.isfinite(latest)
    assert latest[bounded].tolist() == np.array(expected)[bounded].tolist()
    step = int(np.argmax(bounded))
    later = Judge(network, durations, deadline, scale=100)
    later.model.add(later.starts[step] >= round(latest[step] * 100) + 1)
    assert later.solve() is None
