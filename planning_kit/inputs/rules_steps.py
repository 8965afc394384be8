"""Rules about steps: durations, order, windows, who moves what."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.records import BOTH, ItemMove
from planning_kit.inputs.rows import Row, Rows
from planning_kit.inputs.rules_ids import people_of


def durations_are_ordered(rows: Rows, faults: Faults) -> None:
    """low <= likely <= high, where given."""
    for row in rows["steps"]:
        low, likely, high = (row.number_of(f"minutes_{which}") for which in ("low", "likely", "high"))
        if low is not None and likely is not None and low > likely:
            faults.add("steps", row.number, "minutes_low", f"{low:g}",
                       f"is more than minutes_likely, {likely:g}")
        if high is not None and likely is not None and high < likely:
            faults.add("steps", row.number, "minutes_high", f"{high:g}",
                       f"is less than minutes_likely, {likely:g}")


def suited_steps_have_a_place(rows: Rows, faults: Faults) -> None:
    """Only an actor's step may leave its place open."""
    for row in rows["steps"]:
        if row.values.get("place") == "" and row.text("crew") in (BOTH, *fmt.SUITED):
            faults.add("steps", row.number, "place", "", "is empty; say where this step is done")


def steps_do_not_wait_for_themselves(rows: Rows, faults: Faults) -> None:
    """A step is not in its own ``after``, and a gap joins two different steps."""
    for row in rows["steps"]:
        if row.text("step") and row.text("step") in row.names("after"):
            faults.add("steps", row.number, "after", row.texts["after"], "names the step itself; delete it")
    for row in rows["gaps"]:
        if row.text("first_step") and row.text("first_step") == row.text("then_step"):
            faults.add("gaps", row.number, "then_step", row.text("then_step"),
                       "is the first step itself; name two")


def gaps_are_ordered(rows: Rows, faults: Faults) -> None:
    """min_gap <= max_gap (an empty min_gap is 0)."""
    for row in rows["gaps"]:
        least, most = row.number_of("min_gap"), row.number_of("max_gap")
        if least is not None and most is not None and most < least:
            faults.add("gaps", row.number, "max_gap", f"{most:g}",
                       f"is less than min_gap, {least:g} (empty is 0)")


def groups_share_one_light(rows: Rows, faults: Faults) -> None:
    """Steps of a ``same_window`` group all ask for night, or all for day."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows["steps"]:
        if row.text("same_window"):
            groups[row.text("same_window")].append(row)
    for name, members in groups.items():
        first = next((each.text("light") for each in members if each.text("light") in fmt.WINDOW_WORDS), "")
        for row in members:
            light = row.text("light")
            if light == "any":
                faults.add("steps", row.number, "light", row.texts.get("light", ""),
                           f"group {name} shares a window, so this step needs light night or day")
            elif light and light != first:
                faults.add("steps", row.number, "light", light,
                           f"the group {name} asks for {first}; one light a group")


def footholds_are_footholds(rows: Rows, faults: Faults) -> None:
    """``steps.foothold`` names an item of that kind."""
    items = rows.by_id("hardware")
    for row in rows["steps"]:
        item = items.get(row.text("foothold"))
        if item is not None and item.text("kind") not in ("foothold", ""):
            faults.add("steps", row.number, "foothold", row.text("foothold"),
                       f"is a {item.text('kind')} in hardware.csv; name an item of kind foothold")


def _each_move(rows: Rows) -> Iterator[tuple[Row, str, ItemMove]]:
    for row in rows["steps"]:
        for column in ("takes", "leaves"):
            for move in row.moves(column):
                yield row, column, move


def moves_say_who(rows: Rows, faults: Faults) -> None:
    """In a ``both`` step each entry begins with EV1: or EV2:; a prefix names someone who works there."""
    for row, column, move in _each_move(rows):
        people = people_of(row)
        if row.text("crew") == BOTH and not move.crew:
            faults.add("steps", row.number, column, row.texts[column],
                       f"both work here: write EV1:{move.item} or EV2:{move.item}")
        elif move.crew and people and move.crew not in people:
            faults.add("steps", row.number, column, row.texts[column],
                       f"{move.crew} does not work in this step; it is done by {' and '.join(people)}")


def moves_go_the_right_way(rows: Rows, faults: Faults) -> None:
    """``<BAG`` belongs to ``takes`` and ``>BAG`` or ``>EV2`` to ``leaves``."""
    for row, column, move in _each_move(rows):
        if column == "takes" and move.into:
            faults.add("steps", row.number, column, row.texts[column],
                       f"{move.item}>{move.into} puts an item away: write it in leaves")
        elif column == "leaves" and move.out_of:
            faults.add("steps", row.number, column, row.texts[column],
                       f"{move.item}<{move.out_of} gets an item out: write it in takes")


def moves_name_bags_and_people(rows: Rows, faults: Faults) -> None:
    """After ``<`` stands a bag; after ``>`` a bag or the partner; nothing goes into itself."""
    if not rows.could_be_read("hardware"):
        return
    items = rows.by_id("hardware")
    for row, column, move in _each_move(rows):
        target = move.out_of or move.into
        if not target or (move.into and target in fmt.SUITED and target not in _holder(row, move)):
            continue
        text = row.texts[column]
        if move.into and target in fmt.SUITED:
            faults.add("steps", row.number, column, text,
                       f"{target} already holds {move.item}; name the partner")
        elif target not in items:
            what = "a bag, EV1 or EV2" if move.into else "a bag"
            faults.add("steps", row.number, column, text,
                       f"{target} is not {what}; name a bag of hardware.csv")
        elif items[target].text("kind") not in ("bag", ""):
            faults.add("steps", row.number, column, text,
                       f"{target} is a {items[target].text('kind')}; only a bag "
                       "holds items")
        elif target == move.item:
            faults.add("steps", row.number, column, text, f"{target} cannot lie in itself")


def _holder(row: Row, move: ItemMove) -> tuple[str, ...]:
    """Who moves the item, as far as the row says."""
    return (move.crew,) if move.crew else () if row.text("crew") == BOTH else people_of(row)
