"""The plan that breaks least against the constraint solver, on random problems; and by hand.

The solver is asked as the rule is written: from the last class to the first the least amount for all rules of
the class, then row by row. All minutes of these problems are whole, so that tenths are exact in it.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from ortools.sat.python import cp_model

import planning_kit as pk
from planning_kit.inputs.fields import GIVING_WAY as CLASSES
from planning_kit.plan import network as kinds
from planning_kit.plan.build import allowed_windows
from planning_kit.plan.giving_way import GUARD, NAMED, SAME_WINDOW, keeping_most, least_amounts
from planning_kit.plan.network import Bound, Demand, Group, Home, Network, Release
from planning_kit.plan.timing import earliest_starts
from planning_kit.sky.windows import shrink

T = 10  # tenths of a minute
FAR = 6000 * T


def problem(seed: int) -> tuple[Network, np.ndarray, float]:
    rng = random.Random(seed)
    count = rng.randint(2, 5)
    horizon = rng.randint(60, 120)
    guard = rng.choice([0, 1, 2])
    durations = np.array([float(rng.randint(0, 25)) for _ in range(count)])
    bounds = [Bound(i, i + 1, kinds.ORDER, "", travel_min=float(rng.randint(0, 5))) for i in range(count - 1)
              if rng.random() < 0.7]
    for _ in range(rng.randint(0, 3)):
        before, after = rng.sample(range(count), 2)
        kind = rng.choice([kinds.AFTER, kinds.MIN_GAP, kinds.MAX_GAP])
        fixed = {kinds.AFTER: 0, kinds.MIN_GAP: rng.randint(0, 20), kinds.MAX_GAP: -rng.randint(0, 20)}[kind]
        to_finish = kind == kinds.MAX_GAP
        bounds.append(Bound(before, after, kind, "", float(fixed), from_finish=not to_finish,
                            to_finish=to_finish))
    nights = _windows(rng, horizon)
    named = _windows(rng, horizon) if rng.random() < 0.8 else np.empty((0, 2))
    light = Demand.of(kinds.LIGHT, "night", nights, shrink(nights, guard, (0.0, horizon)), float(guard),
                      float(horizon))
    demands: list[tuple[Demand, ...]] = []
    for _ in range(count):
        own = [light] if rng.random() < 0.5 else []
        own += [Demand.of(kinds.WINDOW, "w", named)] if rng.random() < 0.25 else []
        demands.append(tuple(own))
    lit = [step for step in range(count) if light in demands[step]]
    groups = (Group("g", tuple(lit), light),) if len(lit) > 1 and rng.random() < 0.7 else ()
    network = Network(
        steps=tuple(f"s{i}" for i in range(count)),
        releases=tuple(Release(i, float(rng.randint(0, 10))) for i in range(count)), bounds=tuple(bounds),
        demands=tuple(demands), allowed=tuple(allowed_windows(each) for each in demands), groups=groups,
        homes=(Home("EV1", count - 1, 3.0),), horizon_min=float(horizon))
    return network, durations, float(rng.randint(horizon // 2, horizon))


def _windows(rng: random.Random, horizon: int) -> np.ndarray:
    edges = sorted(rng.sample(range(horizon), 2 * rng.randint(1, 2)))
    return np.array(edges, dtype=float).reshape(-1, 2)


class Asked:
    """The problem as the solver has it; ``amount``: of each rule, in tenths; None where it is let go."""

    def __init__(self, network: Network, durations: np.ndarray, limit: float, horizon: float) -> None:
        self.network, self.durations, self.limit, self.horizon = network, durations, limit, horizon
        self.rules: dict[str, list[tuple[str, int, str]]] = {kind: [] for kind in CLASSES}
        for number, bound in enumerate(network.bounds):
            if bound.kind != kinds.ORDER:
                self.rules[bound.kind].append((bound.kind, number, ""))
        for step, demands in enumerate(network.demands):
            for demand in demands:
                kind = NAMED if demand.kind == kinds.WINDOW else demand.kind
                self.rules[kind].append((demand.kind, step, demand.label))
                if demand.guard_min:
                    self.rules[GUARD].append((GUARD, step, ""))
        self.rules[SAME_WINDOW] = [(SAME_WINDOW, number, "") for number in range(len(network.groups))]

    def least(self, fixed: dict, of: list) -> int | None:
        """The least amount (tenths) for all rules of ``of``; ``fixed``: known amounts; the rest let go."""
        model = cp_model.CpModel()
        count = len(self.network.steps)
        lengths = [round(each * T) for each in self.durations]
        most = FAR if self.horizon == np.inf else int(self.horizon * T)
        starts = [model.new_int_var(0, most, f"x{i}") for i in range(count)]
        common = model.new_int_var(0, FAR, "v")
        amount = {rule: fixed.get(rule, common if rule in of else None)
                  for kind in CLASSES for rule in self.rules[kind]}
        for release in self.network.releases:
            model.add(starts[release.step] >= int(release.at_min * T))
        for home in self.network.homes:
            if self.limit < np.inf:
                model.add(starts[home.last] + lengths[home.last] + int(home.travel_min * T)
                          <= int(self.limit * T))
        for number, bound in enumerate(self.network.bounds):
            less = 0 if bound.kind == kinds.ORDER else amount[(bound.kind, number, "")]
            if less is not None:
                weight = round(float(bound.weight_min(self.durations)) * T)
                model.add(starts[bound.after] + less >= starts[bound.before] + weight)
        for step, demands in enumerate(self.network.demands):
            for demand in demands:
                wider = amount[(demand.kind, step, demand.label)]
                if wider is not None:
                    self._within(model, demand, [(starts[step], lengths[step])],
                                 amount.get((GUARD, step, ""), 0), [wider])
        for number, group in enumerate(self.network.groups):
            own = amount[(SAME_WINDOW, number, "")]
            if own is not None:
                self._group(model, group, starts, lengths, amount, own)
        model.minimize(common)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(model)
        return int(solver.value(common)) if status == cp_model.OPTIMAL else None

    def _within(self, model, demand, spans, guard_less, wider) -> None:
        """All spans lie in one and the same window, as wide as the amounts make it."""
        chosen = []
        guard = int(demand.guard_min * T)
        less = guard if guard_less is None else guard_less
        kept = model.new_int_var(0, guard, "")  # what stands of the guard: at most all, at least the rest
        model.add_max_equality(kept, [0, guard - less])
        for begin, end in demand.whole.tolist():
            pick = model.new_bool_var("")
            chosen.append(pick)
            low = kept if begin > 0 else 0
            high = kept if end < demand.horizon_min else 0
            b, e = int(begin * T), int(end * T)
            # A window that the guard uses up is none.
            model.add(e - high > b + low).only_enforce_if(pick)
            for start, length in spans:
                model.add(start >= b + low - sum(wider)).only_enforce_if(pick)
                model.add(start + length <= e - high + sum(wider)).only_enforce_if(pick)
        model.add_exactly_one(chosen) if chosen else model.add_bool_or([])

    def _group(self, model, group, starts, lengths, amount, own) -> None:
        light = [amount[(group.demand.kind, each, group.demand.label)] for each in group.members]
        guards = [amount.get((GUARD, each, ""), 0) for each in group.members]
        full = int(group.demand.guard_min * T)
        guard = model.new_int_var(0, max(full, FAR), "")
        model.add_max_equality(guard, [full if each is None else each for each in guards])
        wide = model.new_int_var(0, FAR, "")
        model.add_max_equality(wide, [0 if each is None else each for each in light])
        spans = [(starts[member], lengths[member]) for member in group.members]
        self._within(model, group.demand, spans, guard, [own, wide])


def by_solver(network: Network, durations: np.ndarray, hard: float) -> dict | None:
    """The amounts, in tenths, by the rule as it is written."""
    for limit, horizon in ((hard, network.horizon_min), (np.inf, network.horizon_min), (np.inf, np.inf)):
        asked = Asked(network, durations, limit, horizon)
        if asked.least({}, []) is not None:
            break
    fixed: dict = {}
    for kind in reversed(CLASSES):
        own = [rule for rule in asked.rules[kind] if not _is_unknown(network, rule)]
        least = asked.least(fixed, own)
        assert least is not None
        for rule in own:
            fixed[rule] = least
        for rule in own if least else []:
            rest = {each: value for each, value in fixed.items() if each != rule}
            fixed[rule] = asked.least(rest, [rule])
    return fixed


def _is_unknown(network: Network, rule: tuple[str, int, str]) -> bool:
    kind, number, label = rule
    if kind == SAME_WINDOW:
        return not len(network.groups[number].demand.whole)
    if kind in (kinds.LIGHT, kinds.WINDOW, kinds.LINK):
        return not any(len(d.whole) for d in network.demands[number] if (d.kind, d.label) == (kind, label))
    return False


@pytest.mark.parametrize("block", range(10))
def test_what_gives_way_is_what_the_solver_finds(block: int) -> None:
    broken = 0
    for seed in range(50 * block, 50 * block + 50):
        network, durations, hard = problem(seed)
        found, starts = keeping_most(network, durations, lambda *_, hard=hard: hard)
        assert np.isfinite(starts).all(), seed
        if found is network:
            assert (starts == earliest_starts(network, durations)).all()
            continue
        broken += 1
        assert found.given_way, seed
        amounts, *_ = least_amounts(network, durations, lambda *_, hard=hard: hard)
        finite = {(rule.kind, rule.number, rule.label): round(minutes * T)
                  for rule, minutes in amounts.items() if 0 < minutes < np.inf}
        expected = {rule: value for rule, value in by_solver(network, durations, hard).items() if value}
        assert finite == expected, seed
    assert broken > 10


def short_night(demo: pk.Scenario, longer_min: float) -> pk.Scenario:
    """The exchange of tern-2 longer, so that its night does not hold it, and the clock with it."""
    steps = demo.steps.set_index("step", drop=False)
    for column in ("minutes_low", "minutes_likely", "minutes_high"):
        steps.loc["X3", column] += longer_min
    gaps = demo.gaps
    gaps.loc[gaps["max_gap"].notna(), "max_gap"] += 60
    return demo.with_tables({"steps": steps, "gaps": gaps})


def test_the_guard_gives_first_and_the_finding_has_the_numbers(demo: pk.Scenario) -> None:
    plain = pk.time_plan(demo)
    night = plain.light.night[1]
    room = night[1] - night[0] - 2 * demo.settings.night_guard_s / 60
    exchange = [step.step for step in demo.records.steps if step.same_window == "exchange"]
    first = min(plain.timed.span(step)[0] for step in exchange)
    last = max(plain.timed.span(step)[1] for step in exchange)
    short = short_night(demo, room - (last - first) + 0.4)
    plan = pk.time_plan(short.with_settings({"horizon_h": 7.0}))
    found = plan.findings.query("check == 'rules'")
    assert found["severity"].unique().tolist() == ["stop"]
    told = " ".join(found["message"])
    assert "min of one night; night 2" in told
    assert "after guards" in told
    mends = plan.gain("X3", most=2)
    assert not mends["change"].str.startswith("no change").all()
    for row in mends.dropna(subset=["by_min"]).itertuples():
        assert plan.what_if(**row.what_if).findings.query("check == 'rules'").empty, row.change


def test_a_scenario_may_say_what_gives_way(small: pk.Scenario) -> None:
    long = small.edit_row("steps", "B3", minutes_low=50, minutes_likely=55, minutes_high=60)
    order = ["light", *(each for each in CLASSES if each != "light")]
    plan = pk.time_plan(long.with_settings({"gives_way.order": order, "gives_way.source": "test"}))
    assert plan.findings.query("check == 'rules'")["step"].tolist() == ["B3"]
    with pytest.raises(pk.ScenarioError, match=r"gives_way.order .*must name each of these once"):
        small.with_settings({"gives_way.order": ["light"]})


def test_a_sweep_keeps_no_limit_where_rules_give_way(small: pk.Scenario) -> None:
    long = small.edit_row("steps", "B3", minutes_low=50, minutes_likely=55, minutes_high=60)
    sweep = pk.time_plan(long).sweep("2031-09-03T07:30:00Z", "2031-09-03T07:40:00Z", 5)
    assert sweep["reason"].str.contains("B3 needs 55.0 min of one night").all()
    assert np.isfinite(sweep["end_min"]).all()
    assert sweep.good_spells.empty


def test_a_period_that_is_not_known_is_a_stop_at_each_step(demo: pk.Scenario) -> None:
    named = demo.windows.iloc[:0]
    used = demo.steps.loc[demo.steps["windows"] != "", "step"].tolist()
    assert used
    windows = demo.windows.assign(start="2031-06-20T00:00:00Z", end="2031-06-20T01:00:00Z")
    assert named.empty
    plan = pk.time_plan(demo.with_table("windows", windows.drop_duplicates("window")))
    found = plan.findings.query("check == 'rules' and rule == 'outside-window'")
    assert set(used) <= set(found["step"])
    assert found["message"].str.contains("none is known before the horizon").any()


def vector(network: Network, durations: np.ndarray, hard: float) -> list[float]:
    """What gives way, to be compared from the last class: of each class the most, then row by row."""
    amounts, *_ = least_amounts(network, durations, lambda *_: hard)
    found: list[float] = []
    for kind in reversed(CLASSES):
        of_kind = kinds.WINDOW if kind == NAMED else kind
        own = [minutes for rule, minutes in amounts.items() if rule.kind == of_kind]
        found += [max(own, default=0.0), *own]
    return found


def test_a_loosened_rule_never_makes_more_give_way() -> None:
    compared = 0
    for seed in range(0, 500, 4):
        network, durations, hard = problem(seed)
        if np.isfinite(earliest_starts(network, durations)).all():
            continue
        before = vector(network, durations, hard)
        for number, bound in enumerate(network.bounds):
            if bound.kind != kinds.ORDER:
                looser = [*network.bounds]
                looser[number] = replace(bound, fixed_min=bound.fixed_min - 3.0)
                assert vector(replace(network, bounds=tuple(looser)), durations, hard) <= before, seed
                compared += 1
    assert compared > 30
