"""Check: bulky items in hand on tight and snag routes.

Rules: ``bulky`` (about the items and the ends of the route); ``no-flags-given`` (about routes and items).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from planning_kit.inputs.records import Route
from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.plan.hardware.custody_state import Holding
from planning_kit.plan.lines.legs import Passage
from planning_kit.plan.timed import TimedPlan

CHECK = "routes"


def check_bulky_loads(plan: TimedPlan) -> Iterator[Finding]:
    """A bulky item (or bag) in hand on a leg that is tight or a snag hazard (concern), one a leg.

    What is in a bag counts only as its bag does.
    """
    bulky = {item.item for item in plan.scenario.records.hardware if item.bulky}
    carried = [h for h in plan.tracked_custody.holdings if h.item in bulky and not h.in_bag]
    for crew, passages in plan.passages.items():
        legs = [leg for leg in passages if leg.route and (leg.route.tight or leg.route.snag)]
        for leg, items in _in_hand(legs, [h for h in carried if h.holder == crew]):
            if items and leg.route:
                yield _bulky(plan, leg, leg.route, items)


def _in_hand(legs: Sequence[Passage], carried: Sequence[Holding]) -> Iterator[tuple[Passage, list[str]]]:
    """Each leg, in time, with what is carried all along it; ``carried`` are the holds of who walks it."""
    to_come = sorted(carried, key=lambda hold: hold.from_min, reverse=True)
    held: list[Holding] = []
    for leg in legs:
        while to_come and to_come[-1].from_min <= leg.start_min:
            held.append(to_come.pop())
        held = [hold for hold in held if hold.until_min >= leg.start_min]
        yield leg, sorted(hold.item for hold in held if hold.until_min >= leg.finish_min)


def check_bulky_data(plan: TimedPlan) -> Iterator[Finding]:
    """One remark that names the routes walked and the items carried of which the flags are not given."""
    walked = {leg.route: None for passages in plan.passages.values() for leg in passages if leg.route}
    missing: list[str] = []
    about: list[str] = []
    for flag in ("tight", "snag"):
        routes = [(r.from_place, r.to_place) for r in walked if getattr(r, flag) is None]
        if routes:
            missing.append(f"routes.{flag} for {', '.join(map(' to '.join, routes))}")
            about += [place for route in routes for place in route]
    carried = {h.item for h in plan.tracked_custody.holdings if h.holder in plan.travels}
    items = [i.item for i in plan.scenario.records.hardware if i.bulky is None and i.item in carried]
    if items:
        missing.append(f"hardware.bulky for {', '.join(items)}")
    if missing:
        yield Finding(
            REMARK, CHECK, "no-flags-given", " ".join([*about, *items]), "", "", float("nan"),
            f"bulky items on tight and snag routes are not checked where no yes or no is given: "
            f"{'; '.join(missing)}",
        )


def _bulky(plan: TimedPlan, leg: Passage, route: Route, items: list[str]) -> Finding:
    flags = " and ".join(word for word, is_set in (("tight", route.tight), ("a snag hazard", route.snag))
                         if is_set)
    named = f" ({route.caution})" if route.caution else ""
    columns = ", ".join(f"routes.{name}" for name, is_set in (("tight", route.tight), ("snag", route.snag))
                        if is_set)
    return Finding(
        CONCERN, CHECK, "bulky", " ".join([*items, route.from_place, route.to_place]), leg.crew, leg.step,
        leg.start_min,
        f"{leg.crew} carries bulky {' and '.join(items)} from {plan.place_title(leg.place)} to "
        f"{plan.place_title(leg.to_place)} at {pet_label(leg.start_min)}, a way that is {flags}{named}: go "
        "another way, or accept it and brief it", columns,
    )
