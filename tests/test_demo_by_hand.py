"""The good plans walked through by a second hand: who holds what, where every hook is, who stands where.

This simulation shares no code with the checks: it reads the tables as text and the timeline for its times,
and plays one event after another (at equal times finishes come before starts). It must find nothing in the
good plans and what is written in `what-is-wrong.md` in the bad one. Inhibits and links are tested elsewhere.
"""

import heapq
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import pytest

import planning_kit as pk

SCENARIOS = Path(__file__).parents[1] / "scenarios"
SUITED = ("EV1", "EV2")


@dataclass
class Walk:
    """The state of the outing as it is played, and what went wrong (kind, step)."""

    scenario: pk.Scenario
    at: dict[str, str] = field(default_factory=dict)
    wrong: list[tuple[str, str]] = field(default_factory=list)

    def __post_init__(self):
        self.items = self.scenario.hardware.set_index("item").fillna({"slots": 0})  # not given: takes no room
        self.places = self.scenario.places.set_index("place")
        self.crew = self.scenario.crew.set_index("crew")
        self.at = self.items["at"].to_dict()
        self.legs = {}
        for route in self.scenario.routes.itertuples():
            self.legs[route.from_place, route.to_place] = self.legs[route.to_place, route.from_place] = route

    def blame(self, kind, step):
        if (kind, step) not in self.wrong:
            self.wrong.append((kind, step))

    def slots_in(self, holder):
        return sum(self.items.loc[item, "slots"] for item, where in self.at.items() if where == holder)

    def check_hands(self, person, step):
        if self.slots_in(person) > self.crew.loc[person, "carry_slots"]:
            self.blame("hands full", step)

    def start(self, step, people):
        for person, item, bag, _ in moves(step.takes, people):
            if self.at[item] != (bag or step.place) or (bag and self.at[bag] not in (step.place, person)):
                self.blame("not there to take", step.step)
            self.at[item] = person
            self.check_hands(person, step.step)
        self.check_at_hand(step, people)
        if step.foothold and (self.at[step.foothold] != step.place
                              or self.places.loc[step.place, "socket"] != "yes"):
            self.blame("no foothold", step.step)

    def finish(self, step, people):
        self.check_at_hand(step, people)
        for person, item, _, into in moves(step.leaves, people):
            if self.at[item] != person:
                self.blame("not held", step.step)
            self.at[item] = into or step.place
            if into in SUITED:
                if into not in people:
                    self.blame("partner away", step.step)
                self.check_hands(into, step.step)
            elif into and self.slots_in(into) > self.items.loc[into, "holds"]:
                self.blame("bag full", step.step)
            elif into and self.at[into] not in (step.place, *people):
                self.blame("bag away", step.step)

    def check_at_hand(self, step, people):
        near = {step.place, *people}
        for item in step.uses.split():
            if self.at[item] not in near and self.at.get(self.at[item]) not in near:
                self.blame("not at hand", step.step)

    def end(self, airlock):
        for item, wanted in self.items["end_at"].items():
            here = self.at[item]
            while here in self.at:
                here = self.at[here]
            if wanted == "inside":
                if here not in (airlock, "inside", *SUITED):
                    self.blame("left outside", item)
            elif wanted and self.at[item] != wanted:
                self.blame("wrong end", item)


def moves(cell, people):
    """Entries of takes or leaves as (who, item, out of, into)."""
    for entry in cell.split():
        who, _, rest = entry.rpartition(":")
        item, _, into = rest.partition(">")
        item, _, out_of = item.partition("<")
        yield who or people[0], item, out_of, into


def people_of(step):
    return SUITED if step.crew == "both" else (step.crew,)


def played(plan):
    """The walk after the last event."""
    scenario = plan.scenario
    walk = Walk(scenario)
    times = plan.timeline.query("kind == 'work' and step != ''").drop_duplicates("step").set_index("step")
    events = []
    for row, step in enumerate(scenario.steps.itertuples()):
        events.append((times.loc[step.step, "start_min"], 1, row, step, walk.start))
        events.append((times.loc[step.step, "finish_min"], 0, row, step, walk.finish))
    for *_, step, act in sorted(events, key=lambda event: event[:3]):
        act(step, people_of(step))
    airlock = scenario.records.settings.airlock_place
    walk.end(airlock)
    for person in SUITED:
        follow_tether(walk, person, airlock)
    stand_together(walk, plan)
    return walk.wrong


def follow_tether(walk, person, airlock):
    """Play out the line leg by leg; a leg walked back is reeled in."""
    line, here = [airlock], airlock
    for step in walk.scenario.steps.itertuples():
        if person in step.hooks.split() and person not in people_of(step):
            walk.blame("hook of someone else", step.step)
        if person not in people_of(step):
            continue
        by_way_of = [step.wait_at] if step.wait_at else []
        for stop in (*by_way_of, step.place):
            for place in shortest(walk, person, here, stop):
                if len(line) > 1 and line[-2] == place:
                    line.pop()
                else:
                    line.append(place)
                reach = sum(walk.legs[leg].metres for leg in pairwise(line))
                if reach > walk.crew.loc[person, "tether_m"]:
                    walk.blame("tether too short", step.step)
            here = stop
        if person in step.hooks.split():
            if walk.places.loc[step.place, "anchor"] != "yes":
                walk.blame("no anchor", step.step)
            else:
                line = [step.place]


def shortest(walk, person, start, goal):
    """Places on the fastest way from start to goal, the start left out."""
    speed = walk.crew.loc[person, "metres_per_min"]
    queue, seen = [(0.0, start, ())], set()
    while queue:
        spent, here, way = heapq.heappop(queue)
        if here == goal:
            return way
        if here in seen:
            continue
        seen.add(here)
        for (one, other), route in walk.legs.items():
            if one == here:
                minutes = route.metres / speed if route.minutes != route.minutes else route.minutes
                heapq.heappush(queue, (spent + minutes, other, (*way, other)))
    raise AssertionError(f"no way from {start} to {goal}")


def stand_together(walk, plan):
    """Two at a place for one, while they work or wait."""
    rows = plan.timeline[plan.timeline["kind"].isin(["work", "wait"]) & plan.timeline["crew"].isin(SUITED)]
    one, two = (rows[rows["crew"] == person] for person in SUITED)
    for mine in one.itertuples():
        room = walk.places.loc[mine.place, "crew_at_once"]
        for other in two[two["place"] == mine.place].itertuples():
            shared_min = min(mine.finish_min, other.finish_min) - max(mine.start_min, other.start_min)
            if room < 2 and shared_min > 1e-6:
                walk.blame("crowded", mine.step)


@pytest.mark.parametrize("name", ["tern-station", "small-outing"])
def test_nothing_goes_wrong_in_a_good_plan(name):
    assert played(pk.time_plan(pk.load_scenario(SCENARIOS / name))) == []


def test_the_wrong_plan_goes_wrong_where_its_list_says():
    # From what-is-wrong.md, row by row.
    assert set(played(pk.time_plan(pk.load_scenario(SCENARIOS / "faulty-plan")))) == {
        ("crowded", "B2"), ("hands full", "B1"), ("hands full", "B4"), ("hands full", "D1"),
        ("hands full", "B5"),
        ("not there to take", "C1"), ("not at hand", "C2"), ("not at hand", "D3"), ("bag full", "D2"),
        ("partner away", "B5"), ("hook of someone else", "B5"), ("no foothold", "B3"), ("no foothold", "B4"),
        ("no foothold", "D3"), ("no foothold", "B7"), ("not there to take", "E2"),
        ("not there to take", "F1"), ("not held", "F1"), ("tether too short", "B3"),
        ("tether too short", "B7"), ("no anchor", "B4"),
        ("left outside", "tray"), ("wrong end", "foothold"), ("wrong end", "part-1"), ("wrong end", "part-2"),
        ("wrong end", "cable"),
    }


@pytest.mark.parametrize("task", [
    "INS", "ANT", "SHD", "LMP", "SMP", "SEN", "KNU", "CAB", "SUR", "HTR", "VEN"])
def test_demo_stays_sound_without_any_one_task(task):
    """Its hardware stays where it was; nobody misses a hook, a foothold, a free hand or a tool."""
    plan = pk.time_plan(without(pk.load_scenario(SCENARIOS / "tern-station"), task))
    assert [fault for fault in played(plan) if fault[0] not in ("left outside", "wrong end")] == []


def without(scenario, task):
    """The scenario without a task's steps: precedence passes through, its gaps, inhibits and actions go."""
    steps = scenario.steps
    gone = steps[steps["task"] == task].set_index("step")

    def through(names):
        return " ".join(through(gone.loc[name, "after"]) if name in gone.index else name
                        for name in names.split())

    kept = steps[steps["task"] != task].copy()
    kept["after"] = kept["after"].map(through)
    gaps, inhibits = scenario.gaps, scenario.inhibits.copy()
    gaps = gaps[~gaps["first_step"].isin(gone.index) & ~gaps["then_step"].isin(gone.index)]
    inhibits = inhibits[~inhibits["from_step"].isin(gone.index) & ~inhibits["until_step"].isin(gone.index)]
    inhibits["needed_by"] = inhibits["needed_by"].map(
        lambda names: " ".join(name for name in names.split() if name not in gone.index))
    lost = set(scenario.inhibits["inhibit"]) - set(inhibits["inhibit"])
    hazards = scenario.hazards[[not lost & set(cell.split()) for cell in scenario.hazards["controls"]]]
    actions, states = scenario.actions, scenario.states.copy()
    actions = actions[~actions["step"].isin(gone.index)]
    states["safe_when"] = ["never" if name in lost else name for name in states["safe_when"]]
    # Each table on its own must stay valid: what refers to steps goes before the steps do.
    scenario = scenario.with_table("actions", actions).with_table("states", states)
    return (scenario.with_table("gaps", gaps).with_table("hazards", hazards).with_table("inhibits", inhibits)
            .with_table("steps", kept))
