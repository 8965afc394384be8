"""Custody as tables: who or where holds each item over time, and what goes out and comes back with whom."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from planning_kit.inputs.records import INSIDE, Item, Records
from planning_kit.inputs.text_table import ShownTable
from planning_kit.plan.hardware.custody_state import Holding
from planning_kit.plan.lines.legs import Passage
from planning_kit.plan.spans import Spans

CUSTODY_COLUMNS = ["item", "title", "kind", "holder", "in_bag", "from_min", "until_min", "by_step"]
KIT_COLUMNS = ["item", "title", "kind", "goes_out_with", "in_bag", "ends", "comes_back_with",
               "out_min", "out_step", "home_min", "home_step"]
_NEVER = (float("nan"), "")


def custody_table(hardware: Sequence[Item], holdings: Sequence[Holding]) -> pd.DataFrame:
    """One row a stay of an item, by item in the order of ``hardware.csv``, then by time.

    ``holder`` is a crew member, an actor, a place or ``inside``, whether the item is held or lies there
    itself or in a bag; ``in_bag`` is the bag it is directly in, or "". PET minutes; the last row of an item
    lasts until the end of the outing. ``by_step`` is the step that brought it there ("" at PET 0).
    """
    items = {item.item: item for item in hardware}
    rows = [(h.item, items[h.item].title, items[h.item].kind, h.holder, h.in_bag, h.from_min, h.until_min,
             h.by_step) for h in holdings]
    return ShownTable(rows, columns=CUSTODY_COLUMNS)


def kit_table(records: Records, holdings: Sequence[Holding],
              passages: Mapping[str, Sequence[Passage]]) -> pd.DataFrame:
    """One row an item: with whom (and in which bag) it leaves the airlock, where it ends, who brings it back.

    ``goes_out_with`` is empty for what starts outside or never leaves the airlock; ``comes_back_with`` for
    what does not come to the airlock with anyone. ``ends`` is a place, or ``inside`` for what is held or lies
    at the airlock at the end. ``out_min`` and ``out_step``: when, and in which step, who takes it out has it
    ("" at PET 0); ``home_min`` and ``home_step``: when and where who brings it home lets go of it ("" where
    they hold it to the end). PET minutes; NaN where there is no such moment.
    """
    rows = []
    airlock = records.settings.airlock
    away = {crew: _away(theirs, airlock) for crew, theirs in passages.items()}
    by_item: dict[str, list[Holding]] = {}
    for stay in holdings:
        by_item.setdefault(stay.item, []).append(stay)
    for item in records.hardware:
        stays = by_item[item.item]
        carried = [stay for stay in stays if stay.holder in away
                   and away[stay.holder].any_inside(stay.from_min, stay.until_min)]
        goes_out = is_in(records, stays[0].holder) and bool(carried)
        comes_back = is_in(records, stays[-1].holder) and bool(carried)
        rows.append((
            item.item, item.title, item.kind, carried[0].holder if goes_out else "",
            carried[0].in_bag if goes_out else "",
            INSIDE if is_in(records, stays[-1].holder) else stays[-1].holder,
            carried[-1].holder if comes_back else "",
            *((carried[0].from_min, carried[0].by_step) if goes_out else _NEVER),
            *(_let_go(stays, carried[-1]) if comes_back else _NEVER),
        ))
    return ShownTable(rows, columns=KIT_COLUMNS)


def _let_go(stays: Sequence[Holding], last: Holding) -> tuple[float, str]:
    """When a stay ends, and the step that ends it."""
    at = stays.index(last) + 1
    return last.until_min, stays[at].by_step if at < len(stays) else ""


def is_in(records: Records, holder: str) -> bool:
    """Whether what this holder has is inside at the end: held by someone, at the airlock, or inside."""
    return holder == records.settings.airlock or all(place.place != holder for place in records.places)


def _away(passages: Sequence[Passage], airlock: str) -> Spans:
    """When someone is away from the airlock."""
    return Spans((passage.start_min, passage.finish_min) for passage in passages
                 if passage.route is not None or passage.place != airlock)
