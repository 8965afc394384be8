"""A second hand for hardware and tethers: the design's rules played from the tables as text.

Written from the design (section 8, "Hardware" and "Travel and tethers"), event by event, sharing no code with
the package: only the times come from the plan's timeline. It does not guess what a faulty plan means: it
stops where something cannot be done as written. So it and the package must agree on everything up to and
including the first moment at which something goes wrong, and on loads before it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

import networkx as nx

import planning_kit as pk

CREW = ("EV1", "EV2")


def entries(cell: str, default: str) -> list[tuple[str, str, str, str]]:
    """(who, item, out of, into) of each entry of ``takes`` or ``leaves``."""
    found = []
    for word in cell.split():
        who, _, rest = word.rpartition(":")
        rest, _, into = rest.partition(">")
        item, _, out_of = rest.partition("<")
        found.append((who or default, item, out_of, into))
    return found


@dataclass
class Job:
    """A step with its times, as text."""

    row: int
    name: str
    team: tuple[str, ...]
    place: str
    start: float
    finish: float
    cells: dict[str, str]


@lru_cache(maxsize=1)  # three ask for those of one plan
def jobs_of(plan: pk.Plan) -> list[Job]:
    times = {}
    for bar in plan.timeline.query("kind == 'work' and step != ''").itertuples():
        times[bar.step] = (bar.start_min, bar.finish_min)
    return [
        Job(row, line["step"], CREW if line["crew"] == "both" else (line["crew"],), line["place"],
            *times[line["step"]], {name: str(line[name]) for name in ("takes", "leaves", "uses", "foothold",
                                                                      "after", "hooks")})
        for row, line in enumerate(plan.scenario.steps.to_dict("records"))
    ]


@dataclass
class HardwareBook:
    """What is where. ``wrong`` is filled at the first moment that cannot be, and ends the play."""

    plan: pk.Plan
    at: dict[str, str] = field(default_factory=dict)
    in_socket: dict[str, str] = field(default_factory=dict)
    wrong: list[tuple[str, str, str]] = field(default_factory=list)
    wrong_min: float = float("inf")
    heavy: dict[str, float] = field(default_factory=dict)
    heavy_from: set[tuple[str, float]] = field(default_factory=set)
    history: list[tuple[float, dict[str, str]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        scenario = self.plan.scenario
        self.items = scenario.hardware.set_index("item").to_dict("index")
        self.sockets = set(scenario.places.query("socket == 'yes'")["place"])
        self.airlock = scenario.settings.airlock_place
        self.room = scenario.crew.set_index("crew")["carry_slots"].to_dict()
        self.room |= {name: row["holds"] for name, row in self.items.items() if row["kind"] == "bag"}
        self.at = {name: row["at"] for name, row in self.items.items()}
        for name, row in self.items.items():
            if row["kind"] == "foothold" and row["at"] in self.sockets:
                self.in_socket.setdefault(row["at"], name)
        self.busy: list[Job] = []

    # --- the clock

    def play(self) -> HardwareBook:
        jobs = jobs_of(self.plan)
        self.scales(0.0)
        for now in sorted({moment for job in jobs for moment in (job.start, job.finish)}):
            ending = [job for job in jobs if job.finish == now and job.start < now]
            self.busy = [job for job in self.busy if job not in ending]
            for job in ending:
                self.put_down(job)
            self.look(now)
            coming = [job for job in jobs if job.start == now]
            while coming:
                job = next(j for j in coming if not any(self.precedes(other, j) for other in coming))
                coming.remove(job)
                self.busy.append(job)
                self.pick_up(job)
                self.look(now)
                if job.finish == now:
                    self.busy.remove(job)
                    self.put_down(job)
                    self.look(now)
            if self.wrong:
                self.wrong_min = now
                return self
            self.history.append((now, dict(self.at)))
        return self

    @staticmethod
    def precedes(one: Job, other: Job) -> bool:
        """Among jobs of one moment: an earlier row of the same person, or one waited for."""
        return (one.row < other.row and bool(set(one.team) & set(other.team))) or (
            one.name in other.cells["after"].split())

    # --- the rules

    def blame(self, what: str, job: Job, item: str) -> None:
        self.wrong.append((what, job.name, item))

    def pick_up(self, job: Job) -> None:
        for who, item, bag, _ in entries(job.cells["takes"], job.team[0]):
            where = self.at[item]
            if bag:
                is_fine = where == bag and self.at[bag] in (job.place, *job.team)
            else:
                is_fine = where == job.place or (where == "inside" and job.place == self.airlock)
            if not is_fine:
                self.blame("move", job, item)
                continue
            if self.in_socket.get(where) == item:
                del self.in_socket[where]
            self.at[item] = who

    def put_down(self, job: Job) -> None:
        for who, item, _, into in entries(job.cells["leaves"], job.team[0]):
            if self.at[item] != who:
                self.blame("move", job, item)
                continue
            is_partner_away = into in CREW and not self.is_standing(into, job.place, job.finish)
            is_bag_away = into in self.items and self.at[into] not in (job.place, *job.team)
            if is_partner_away or is_bag_away:
                self.blame("move", job, item)
            self.at[item] = into or job.place
            if not into and self.items[item]["kind"] == "foothold" and job.place in self.sockets:
                if job.place in self.in_socket:
                    self.blame("socket", job, item)
                else:
                    self.in_socket[job.place] = item

    def is_standing(self, who: str, place: str, now: float) -> bool:
        bars = self.plan.timeline.query("crew == @who and kind != 'travel' and place == @place")
        return bool(((bars["start_min"] <= now) & (now <= bars["finish_min"])).any())

    def look(self, now: float) -> None:
        for job in self.busy:
            for item in job.cells["uses"].split():
                near = (job.place, *job.team)
                if self.at[item] not in near and self.at.get(self.at[item]) not in near:
                    self.blame("use", job, item)
            foot = job.cells["foothold"]
            if foot and (job.place not in self.sockets or self.in_socket.get(job.place) != foot):
                self.blame("foothold", job, foot)
        self.scales(now)

    def scales(self, now: float) -> None:
        for holder, most in self.room.items():
            load = sum(self.items[item]["slots"] for item, where in self.at.items() if where == holder)
            if load > most and holder not in self.heavy:
                self.heavy_from.add((holder, now))
                self.heavy[holder] = load
            elif load <= most:
                self.heavy.pop(holder, None)

    def outermost(self, item: str, at: dict[str, str]) -> str:
        while item in at:
            item = at[item]
        return item


@dataclass
class Line:
    """One tether, played leg by leg: (start, finish, reach before, reach after, line after)."""

    plan: pk.Plan
    who: str
    legs: list[tuple[float, float, float, float, tuple[str, ...]]] = field(default_factory=list)
    stays: list[tuple[str, float, float, tuple[str, ...]]] = field(default_factory=list)
    bad_hooks: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        scenario = self.plan.scenario
        self.map = nx.Graph()
        speed = scenario.crew.set_index("crew").loc[self.who, "metres_per_min"]
        for route in scenario.routes.itertuples():
            minutes = route.metres / speed if route.minutes != route.minutes else route.minutes
            self.map.add_edge(route.from_place, route.to_place, metres=route.metres, minutes=minutes)
        self.anchors = set(scenario.places.query("anchor == 'yes'")["place"])

    def length(self, line: tuple[str, ...]) -> float:
        return sum(self.map.edges[leg]["metres"] for leg in pairwise(line))

    def play(self) -> Line:
        """Hooks moved at one moment by two steps are not looked at: the drawn plans have none."""
        bars = self.plan.timeline.query("crew == @self.who").to_dict("records")
        hooks = {(job.finish, job.place, job.name) for job in jobs_of(self.plan)
                 if self.who in job.cells["hooks"].split()}
        line: tuple[str, ...] = (self.plan.scenario.settings.airlock_place,)
        done = set()
        for bar in bars:
            if bar["to_place"]:
                line = self.walk(line, bar)
                continue
            begin, end = bar["start_min"], bar["finish_min"]
            for moment, place, name in sorted(hooks - done):
                if place == bar["place"] and begin <= moment <= end and place in self.anchors:
                    done.add((moment, place, name))
                    self.stays.append((bar["place"], begin, moment, line))
                    begin, line = moment, (place,)
            self.stays.append((bar["place"], begin, end, line))
        self.bad_hooks = {name for _, _, name in hooks - done}
        return self

    def walk(self, line: tuple[str, ...], bar: dict) -> tuple[str, ...]:
        way = nx.shortest_path(self.map, bar["place"], bar["to_place"], weight="minutes")
        minutes = [self.map.edges[leg]["minutes"] for leg in pairwise(way)]
        share = (bar["finish_min"] - bar["start_min"]) / sum(minutes)
        now = bar["start_min"]
        for took, place in zip(minutes, way[1:], strict=True):
            before = self.length(line)
            line = line[:-1] if line[-2:-1] == (place,) else (*line, place)
            self.legs.append((now, now + took * share, before, self.length(line), line))
            now += took * share
        return line

    def too_far(self, limit: float) -> list[tuple[float, float]]:
        """When the reach is over the limit: the union of what each leg and stay gives."""
        parts = [(begin, end) for _, begin, end, line in self.stays if self.length(line) > limit]
        for begin, end, before, after, _ in self.legs:
            if min(before, after) > limit:
                parts.append((begin, end))
            elif max(before, after) > limit:
                cut = begin + (limit - before) / (after - before) * (end - begin)
                parts.append((cut, end) if after > before else (begin, cut))
        joined: list[tuple[float, float]] = []
        for begin, end in sorted(parts):
            if joined and begin <= joined[-1][1] + 1e-6:
                joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
            else:
                joined.append((begin, end))
        return joined


def meetings(one: Line, two: Line) -> set[tuple[float, str, str]]:
    """(moment, how, where): two meet on a route, or one passes where the other stands, lines side by side."""
    found = set()
    for a in moves_of(one):
        for b in moves_of(two):
            begin, end = max(a.start, b.start), min(a.finish, b.finish)
            if (a.origin, a.goal) == (b.goal, b.origin) and end - begin > 1e-6:
                found.add((round(begin, 5), "meet", a.goal))
    return found | passings(one, two) | passings(two, one)


@dataclass
class Move:
    start: float
    finish: float
    origin: str
    goal: str
    line: tuple[str, ...]


def moves_of(line: Line) -> list[Move]:
    here, moves = line.plan.scenario.settings.airlock_place, []
    for begin, end, _, _, laid in line.legs:
        moves.append(Move(begin, end, here, laid[-1], laid))
        here = laid[-1]
    return moves


def passings(mover: Line, stander: Line) -> set[tuple[float, str, str]]:
    found = set()
    for first, second in pairwise(moves_of(mover)):
        now, here = first.finish, first.goal
        stops = any(stay[0] == here and stay[1] - 1e-9 <= now <= stay[2] + 1e-9 for stay in mover.stays)
        if stops or second.goal == first.origin:
            continue
        around = [stay for stay in stander.stays if stay[0] == here]
        was_there = any(begin < now - 1e-6 and end >= now - 1e-6 for _, begin, end, _ in around)
        stays_on = any(end > now + 1e-6 and begin <= now + 1e-6 for _, begin, end, _ in around)
        if was_there and stays_on:
            laid = next(line for _, begin, _, line in reversed(around) if begin <= now)
            mine, theirs = ({frozenset(leg) for leg in pairwise(line) if here in leg}
                            for line in (first.line, laid))
            if mine & theirs:
                found.add((round(now, 5), "pass", here))
    return found
