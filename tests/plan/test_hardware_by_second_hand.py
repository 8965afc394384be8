"""Custody and tethers against a second hand (`second_hand.py`) on random outings (`outings.py`)."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.judge.check_custody import check_endings
from planning_kit.plan import custody_state as kinds
from planning_kit.plan.tether_lines import crossings, too_far
from tests.plan.outings import AIRLOCK, random_outing
from tests.plan.second_hand import CREW, HardwareBook, Line, meetings

WORDS = {kinds.USED_AWAY: "use", kinds.NO_SOCKET: "foothold", kinds.NOT_IN_SOCKET: "foothold",
         kinds.SOCKET_TAKEN: "socket"}
outings = st.randoms(use_true_random=False).map(random_outing)


def first_mishap(plan: pk.Plan) -> tuple[float, tuple[str, str, str] | None]:
    mishaps = [mishap for mishap in plan.timed.tracked_custody.mishaps if mishap.step]
    if not mishaps:
        return float("inf"), None
    first = mishaps[0]
    return first.at_min, (WORDS.get(first.kind, "move"), first.step, first.item)


@given(outings)
@settings(max_examples=60, deadline=None)
def test_hardware_and_tethers_are_where_the_second_hand_puts_them(scenario: pk.Scenario) -> None:
    plan = pk.time_plan(scenario)
    compare_hardware(plan)
    compare_tethers(plan)


def compare_hardware(plan: pk.Plan) -> None:
    """The same first mishap; the same whereabouts and loads until then; the same wrong endings."""
    book = HardwareBook(plan)
    crowded = {item for item, row in book.items.items() if row["kind"] == "foothold"
               and book.in_socket.get(row["at"], item) != item}
    assert {mishap.item for mishap in plan.timed.tracked_custody.mishaps if not mishap.step} == crowded
    book = book.play()
    assert first_mishap(plan) == (book.wrong_min, book.wrong[0] if book.wrong else None)
    spells = list(plan.custody.itertuples())
    for now, at in book.history:
        ours = {row.item: (row.holder, row.in_bag) for row in spells
                if row.from_min <= now and (row.until_min > now or row.until_min == plan.end_min)}
        assert ours == {item: (book.outermost(item, at), where if where in at else "")
                        for item, where in at.items()}, now
    heavy = {(spell.holder, spell.from_min) for spell in plan.timed.tracked_custody.overloads
             if spell.from_min < book.wrong_min}
    assert heavy == {spell for spell in book.heavy_from if spell[1] < book.wrong_min}
    if not book.wrong:
        assert ended_wrong(plan) == wrong_ends(book)


def ended_wrong(plan: pk.Plan) -> set[str]:
    return {finding.message.split()[0] for finding in check_endings(plan.timed)}


def wrong_ends(book: HardwareBook) -> set[str]:
    """Design, sections 2 and 8: held or at the airlock is inside; a place means that very place."""
    inside = {AIRLOCK, "inside", *CREW}
    wrong = set()
    for item, row in book.items.items():
        ends, began = book.outermost(item, book.at), book.outermost(row["at"], {
            name: cells["at"] for name, cells in book.items.items()})
        if row["end_at"] == "inside":
            is_wrong = ends not in inside
        elif row["end_at"]:
            is_wrong = book.at[item] != row["end_at"]
        else:
            is_wrong = began in inside and ends not in inside
        wrong |= {item} if is_wrong else set()
    return wrong


def compare_tethers(plan: pk.Plan) -> None:
    """The same reach on every leg, the same spells out of reach, hook moves that fail, and crossings."""
    lines = {who: Line(plan, who).play() for who in CREW}
    for who, line in lines.items():
        tether = plan.timed.tracked_tethers[who]
        assert tether.tether_m is not None
        spells = [(spell.from_min, spell.until_min) for spell in too_far(tether.lies, tether.tether_m)]
        expected = line.too_far(tether.tether_m)
        assert [bound for spell in spells for bound in spell] == pytest.approx(
            [bound for spell in expected for bound in spell], abs=1e-6)
        assert {move.step for move in (*tether.no_anchor, *tether.owner_away)} == line.bad_hooks
        legs = plan.tethers.query("crew == @who and to_place != ''")
        assert legs["reach_m"].tolist() == pytest.approx([max(leg[2:4]) for leg in line.legs])
    found = {(round(c.at_min, 5), "meet" if c.is_on_the_route else "pass", c.to_place)
             for c in crossings(*plan.timed.tracked_tethers.values())}
    assert found == meetings(*lines.values())


def test_the_second_hand_agrees_on_outings_that_show_every_kind_of_mishap() -> None:
    """Drawn by Python's own generator, whose outings are longer and wilder than those above."""
    seen: Counter[str] = Counter()
    for seed in range(150):
        plan = pk.time_plan(random_outing(random.Random(seed)))
        compare_hardware(plan)
        compare_tethers(plan)
        mishaps = plan.timed.tracked_custody.mishaps
        seen.update({mishap.kind for mishap in mishaps} or {"sound"})
        tethers = list(plan.timed.tracked_tethers.values())
        seen.update(["too heavy"] * bool(plan.timed.tracked_custody.overloads)
                    + ["crossing"] * any(True for _ in crossings(*tethers))
                    + ["too far"] * any(list(too_far(t.lies, t.tether_m or 0.0)) for t in tethers)
                    + ["bad hook"] * any(t.no_anchor or t.owner_away for t in tethers))
    assert seen["sound"] >= 15
    assert {kinds.NOT_THERE, kinds.EARLY, kinds.HAS_IT, kinds.NOT_IN_BAG, kinds.IN_BAG, kinds.BAG_AWAY,
            kinds.NOT_HELD, kinds.PARTNER_AWAY, kinds.USED_AWAY, kinds.NO_SOCKET, kinds.NOT_IN_SOCKET,
            kinds.SOCKET_TAKEN, "too heavy", "crossing", "too far", "bad hook"} <= {
                kind for kind, count in seen.items() if count}
