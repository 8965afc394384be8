"""The way back from every minute, against a second computation on graphs and against sums by hand."""

from __future__ import annotations

import itertools
import math
import random

import networkx as nx
import numpy as np
import pytest

import planning_kit as pk
from planning_kit.plan.returns import crossing_min, latest_turn_back_min
from tests.edits import edited
from tests.plan.stations import random_outing

HERE = "where they are"
SEEDS = range(12)


class Walker:
    """A second hand: one crew member read from the timeline, minute by minute, on a networkx graph."""

    def __init__(self, plan: pk.Plan, crew: str) -> None:
        scenario = plan.scenario
        self.row = scenario.crew.set_index("crew").loc[crew]
        self.graph = nx.Graph()
        for route in scenario.routes.itertuples():
            self.graph.add_edge(route.from_place, route.to_place, metres=route.metres,
                                weight=route.metres / self.row["metres_per_min"])
        self.anchors = set(scenario.places.query("anchor == 'yes'")["place"])
        self.timeline = plan.timeline.query("crew == @crew")
        self.hooked = {row.step for row in scenario.steps.itertuples() if crew in row.hooks.split()}

    def walked_until(self, minute: float) -> tuple[list[str], tuple[str, str, float] | None]:
        """Places walked since the last hook, and the leg they are on with the share done."""
        walked = ["HAT"]
        for row in self.timeline.itertuples():
            if row.start_min > minute:
                break
            if row.kind == "travel" and row.to_place:
                way = nx.shortest_path(self.graph, row.place, row.to_place, weight="weight")
                done = (minute - row.start_min) / (row.finish_min - row.start_min)
                whole = nx.path_weight(self.graph, way, "weight")
                for a, b in itertools.pairwise(way):
                    leg = self.graph[a][b]["weight"] / whole
                    if done < leg - 1e-12:
                        return walked, (a, b, done / leg)
                    walked.append(b)
                    done -= leg
            elif row.kind == "work" and row.step in self.hooked and row.finish_min <= minute:
                walked = [row.place]
        return walked, None

    def metres(self, walked: list[str]) -> float:
        """Line out after a walk: every there-and-back is taken out until none is left."""
        line = list(walked)
        while True:
            back = next((i for i in range(len(line) - 2) if line[i] == line[i + 2]), None)
            if back is None:
                return sum(self.graph[a][b]["metres"] for a, b in itertools.pairwise(line))
            del line[back + 1:back + 3]

    def hook_moves(self, walked: list[str], way: list[str]) -> float:
        """Fewest hook moves from the end of a walk along ``way``, hooked at its end: every choice tried.

        NaN where no choice reaches: a finding of the tether check.
        """
        stops = [i for i, place in enumerate(way[:-1]) if place in self.anchors]
        for count in range(len(stops) + 1):
            for chosen in itertools.combinations(stops, count):
                if self._reaches(walked, way, chosen):
                    last = way[chosen[-1]] if chosen else walked[0]
                    return count + (last != way[-1])
        return math.nan

    def _reaches(self, walked: list[str], way: list[str], chosen: tuple[int, ...]) -> bool:
        out = list(walked)
        for number, place in enumerate(way):
            if number:
                out.append(place)
            # The first place may be out of reach already: that is no choice of the way home.
            if number and self.metres(out) > self.row["tether_m"]:
                return False
            if number in chosen:
                out = [place]
        return True

    def alone(self, minute: float, hook_move_min: float) -> float:
        walked, leg = self.walked_until(minute)
        if leg is None:
            exits = [(walked, 0.0)]
        else:
            a, b, share = leg
            minutes = self.graph[a][b]["weight"]
            exits = [(walked, share * minutes), ([*walked, b], (1 - share) * minutes)]
        times = []
        for out, first in exits:
            way = nx.shortest_path(self.graph, out[-1], "HAT", weight="weight")
            times.append(first + nx.path_weight(self.graph, way, "weight")
                         + hook_move_min * self.hook_moves(out, way))
        return math.nan if any(map(math.isnan, times)) else min(times)


def whole_minutes(plan: pk.Plan, crew: str) -> list[dict]:
    table = plan.returns.query("crew == @crew and at_min % 1 == 0")
    return table[table["at_min"] < plan.end_min - plan.timed.network.ends_min].to_dict("records")


@pytest.mark.parametrize("seed", SEEDS)
def test_alone_agrees_with_shortest_paths_and_every_choice_of_anchors(small: pk.Scenario, seed: int) -> None:
    plan = pk.time_plan(random_outing(small, seed))
    for crew in ("EV1", "EV2"):
        walker = Walker(plan, crew)
        rows = [(row, walker.alone(row["at_min"], 1.0) + 8) for row in whole_minutes(plan, crew)]
        judged = [(row, expected) for row, expected in rows if not math.isnan(expected)]
        for row, expected in judged:
            assert row["alone_min"] == pytest.approx(expected), row
        assert len(judged) > len(rows) / 4


@pytest.mark.parametrize("seed", SEEDS)
def test_with_the_partner_agrees_with_shortest_paths(small: pk.Scenario, seed: int) -> None:
    # Hook moves cost nothing here: the partner's way to the spot and both ways home on one graph in which
    # both spots are nodes that split their legs.
    plan = pk.time_plan(random_outing(small, seed).with_settings({"limits.hook_move_min": 0}))
    walkers = {crew: Walker(plan, crew) for crew in ("EV1", "EV2")}
    for crew, partner in (("EV1", "EV2"), ("EV2", "EV1")):
        for row in whole_minutes(plan, crew):
            graph = walkers[partner].graph.copy()
            legs = {name: walkers[name].walked_until(row["at_min"]) for name in walkers}
            spots = {name: split(graph, legs[name], f"{HERE} {name}") for name in walkers}
            come = nx.shortest_path_length(graph, spots[partner], spots[crew], weight="weight")
            home = nx.shortest_path_length(graph, spots[crew], "HAT", weight="weight")
            assert row["with_partner_min"] == pytest.approx(come + 1.5 * home + 8), row


@pytest.mark.parametrize("seed", SEEDS)
def test_brought_only_over_routes_and_from_places_that_allow_it(small: pk.Scenario, seed: int) -> None:
    # As above; the way home on the graph of what is typed, or follows from room and width, as open.
    draw = random.Random(seed)
    scenario = random_outing(small, seed).with_settings({"limits.hook_move_min": 0})
    places, routes = scenario.places.astype(object), scenario.routes.astype(object)
    places["crew_at_once"] = [draw.choice(["", 1, 2, 2]) for _ in places.index]
    routes["tight"] = [draw.choice(["yes", "", "no", "no", "no"]) for _ in routes.index]
    for table in (places, routes):
        table["rescue"] = [draw.choice(["", "", "yes", "no"]) for _ in table.index]
    plan = pk.time_plan(scenario.with_tables({"places": places, "routes": routes}))
    open_places = {row.place for row in places.itertuples()
                   if row.rescue == "yes" or (row.rescue == "" and row.crew_at_once == 2)}
    closed = [(row.from_place, row.to_place) for row in routes.itertuples()
              if row.rescue == "no" or (row.rescue == "" and row.tight != "no")]
    walkers = {crew: Walker(plan, crew) for crew in ("EV1", "EV2")}
    for crew, partner in (("EV1", "EV2"), ("EV2", "EV1")):
        for row in whole_minutes(plan, crew):
            graph = walkers[partner].graph.copy()
            home_graph = graph.copy()
            home_graph.remove_edges_from(closed)
            legs = {name: walkers[name].walked_until(row["at_min"]) for name in walkers}
            spots = {name: split(graph, legs[name], f"{HERE} {name}") for name in walkers}
            come = nx.shortest_path_length(graph, spots[partner], spots[crew], weight="weight")
            walked, leg = legs[crew]
            is_open = walked[-1] in open_places if leg is None else home_graph.has_edge(*leg[:2])
            spot = split(home_graph, legs[crew], HERE) if is_open else ""
            expected = math.inf
            if is_open and nx.has_path(home_graph, spot, "HAT"):
                home = nx.shortest_path_length(home_graph, spot, "HAT", weight="weight")
                expected = come + 1.5 * home + 8
            assert row["with_partner_min"] == pytest.approx(expected), row


def split(graph: nx.Graph, place: tuple[list[str], tuple[str, str, float] | None], name: str) -> str:
    """The node of a spot; on a leg a new one, cut into it where no other cut is nearer."""
    walked, leg = place
    if leg is None:
        return walked[-1]
    a, b, share = leg
    if graph.has_edge(a, b):
        parts = [(a, b, graph[a][b]["weight"], 0.0)]
    else:  # the other one is on the same leg
        cut = next(node for node in graph[a] if str(node).startswith(HERE) and graph.has_edge(node, b))
        parts = [(a, cut, graph[a][cut]["weight"], 0.0),
                 (cut, b, graph[cut][b]["weight"], graph[a][cut]["weight"])]
    at = share * (parts[-1][3] + parts[-1][2])
    for first, second, minutes, begin in parts:
        if begin - 1e-12 <= at <= begin + minutes + 1e-12:
            graph.remove_edge(first, second)
            graph.add_edge(first, name, weight=max(at - begin, 0.0))
            graph.add_edge(name, second, weight=max(begin + minutes - at, 0.0))
            return name
    raise AssertionError((place, parts))


def at(plan: pk.Plan, crew: str, minute: float) -> dict:
    return plan.returns.query("crew == @crew and at_min == @minute").to_dict("records")[0]


def test_the_boom_end_by_hand(demo_plan: pk.Plan) -> None:
    # EV1 at 2:00 in the regulator bay, hooked at the knuckle. Way home: 9 + 14 + 13 + 6 + 5 + 3 = 50 m at
    # 6.5 m/min. The line is taken in to the knuckle, then paid out: 13, 19, 24 m at the tool box, 27 at the
    # hatch, too much for 26, so it moves at the hub ring, and once more at the hatch: 2 min. Ingress 10.
    row = at(demo_plan, "EV1", 120.0)
    assert (row["place"], row["alone_min"]) == ("REG", pytest.approx(50 / 6.5 + 2 + 10))
    assert row["emergency_margin_min"] == pytest.approx(30 - (50 / 6.5 + 2 + 10))


def test_help_at_the_boom_end_by_hand(demo_plan: pk.Plan) -> None:
    # At 1:30 EV2 is on the survey perch, hooked at the hub ring: 6.5 + 6 + 6 + 13 + 14 + 9 = 54.5 m to the
    # bay at 6 m/min. The line reaches the hub after 12.5 m taken in, then 6, 19, 33 at the bracket: one move
    # at the knuckle. Home: 50 m, half as slow again; both lines move at the hub ring and at the hatch.
    row = at(demo_plan, "EV1", 90.0)
    assert at(demo_plan, "EV2", 90.0)["place"] == "SUR"
    assert row["with_partner_min"] == pytest.approx(54.5 / 6 + 1 + 1.5 * 50 / 6 + 4 + 10)


def test_going_in_what_is_left_of_ingress_is_the_time_back(small_plan: pk.Plan) -> None:
    # Both are inside at 1:16:20 after 8 min of ingress.
    row = at(small_plan, "EV1", 75.0)
    assert row["alone_min"] == row["with_partner_min"] == pytest.approx(small_plan.end_min - 75)


def test_against_the_suit_what_is_left_at_the_rate_of_travel(small_plan: pk.Plan) -> None:
    # At 0:30 EV1 is at the Mast head, 11 min from being inside. At the rate of travel (290 W, RQ 0.90) the
    # table of test_physiology gives 72.88 / 293.071 * 290 g/h of oxygen; linear use between boundaries.
    history = small_plan.suits.query("crew == 'EV1'")
    left = np.interp(30, history["at_min"], history["oxygen_left_g"])
    row = at(small_plan, "EV1", 30.0)
    assert row["first_out"] == "oxygen"
    assert row["suit_margin_min"] == pytest.approx(left / (72.88 / 293.071 * 290 / 60) - 11, rel=3e-3)


def test_the_summary_names_the_worst_points(small_plan: pk.Plan) -> None:
    # EV1: the Mast head is 18 m, 3 min, from the Hatch; EV2: the Port deck 10 m.
    summary = small_plan.return_summary.set_index(["crew", "case"])
    ev1 = summary.loc["EV1", "emergency oxygen, alone"]
    assert (ev1["place"], ev1["margin_min"]) == ("MST", pytest.approx(30 - 3 - 8))
    ev2 = summary.loc["EV2", "emergency oxygen, alone"]
    assert (ev2["place"], ev2["margin_min"]) == ("POR", pytest.approx(30 - 10 / 6 - 8))
    assert summary.loc["EV1", "consumables, alone"]["at_min"] == pytest.approx(small_plan.end_min - 8, abs=1)


def test_beyond_the_end_they_may_wait_until_the_reserve_is_all_that_is_left(small: pk.Scenario,
                                                                            small_plan: pk.Plan) -> None:
    # A plan that waits at the hatch that much longer, at rest, begins ingress with just the reserve.
    stay = small_plan.return_summary.query("crew == 'EV1'")["stay_min"].iloc[0]
    energy = small_plan.suits.query("crew == 'EV1'")["energy_left_wh"].iloc[-2]
    others = small_plan.suits.query("crew == 'EV1'")["oxygen_left_g"].iloc[-2]
    rest, travel = (72.88 / 293.071 * watts / 60 for watts in (120, 290))
    by_energy = energy / (55 / 60) - 18
    by_oxygen = (others - 18 * travel) / rest
    assert stay == pytest.approx(min(by_energy, by_oxygen), rel=3e-3)
    late = pk.time_plan(small.with_settings({"limits.hard_min": 800, "horizon_h": 14}))
    assert turn_backs(late)["consumables, alone"] == pytest.approx(small_plan.end_min - 8 + stay)


def turn_backs(plan: pk.Plan) -> dict[str, float]:
    return plan.return_summary.query("crew == 'EV1'").set_index("case")["turn_back_by_min"].to_dict()


def test_turn_back_is_the_last_minute_before_the_reserve_is_touched(small: pk.Scenario) -> None:
    # 20 min kept of 30 leave 10 for the way: 8 of ingress and 2 of travel, 12 m. EV1 is that far out at 0:16,
    # on the way to the Mast head, at 6 m/min from the Mid rack (6 m) left at 0:15. With the partner: from
    # the rack 1.5 min home leave 0.5 for EV2, who left it at 0:14. The consumables last; the hard limit is
    # 130, ingress takes 8.
    plan = pk.time_plan(small.with_settings({"limits.return_reserve_min": 20}))
    assert turn_backs(plan) == pytest.approx({
        "emergency oxygen, alone": 16, "emergency oxygen, with the partner": 14.5,
        "consumables, alone": 122, "consumables, with the partner": 122})
    assert latest_turn_back_min(plan.return_summary, "EV1") == pytest.approx(16)


def test_turn_back_early_enough_for_the_hard_limit(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # EV1 leaves the Mast head 3 min from the hatch; a hard limit 1 min before that way and ingress are done
    # means turning back 1 min before.
    leaves = float(small_plan.timed.finishes[small_plan.timed.position("B3")])
    limits = {"limits.hard_min": leaves + 3 + 8 - 1, "limits.planned_min": 50}
    plan = pk.time_plan(small.with_settings(limits))
    assert turn_backs(plan)["emergency oxygen, alone"] == pytest.approx(leaves - 1)


def test_no_length_of_tether_counts_only_the_move_at_the_hatch(demo: pk.Scenario) -> None:
    plan = pk.time_plan(edited(demo, "crew", "EV1", tether_m=""))
    assert at(plan, "EV1", 120.0)["alone_min"] == pytest.approx(50 / 6.5 + 1 + 10)


def test_a_spell_ends_where_the_margin_is_back_at_its_reserve() -> None:
    """From 1 min short at 128 to none at 129: the spell lasts until 129."""
    at_min = np.array([127.0, 128.0, 129.0])
    assert crossing_min(at_min, np.array([2.0, 1.0, 0.0]), 2) == 129.0
    assert crossing_min(at_min, np.array([2.0, 1.0, 1e-12]), 2) == 129.0
    assert crossing_min(at_min, np.array([2.0, 1.0, -1.0]), 2) == 128.5
    assert crossing_min(at_min, np.array([2.0, 0.0, -1.0]), 2) == 128.0
