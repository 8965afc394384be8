"""What rows must mean together for blocks: steps without a place, and blocks that have steps of their own."""

from collections.abc import Iterable

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.typed_tables import Row, Rows

AT_A_PLACE = ("foothold", "takes", "leaves", "uses", "hooks", "wait_at", "via_places", "travel_extra_min",
              "moves", "rides", "clears")
_OF_A_BLOCK = ("step", "task", "crew", "place", "title", "minutes_low", "minutes_likely", "minutes_high",
               "exertion", "caution", "caution_class", "block")
_OF_A_TIMED_STEP = [each.name for each in fmt.STEPS.fields if each.name not in _OF_A_BLOCK]
_NAMING = {"steps": ("after",), "gaps": ("first_step", "then_step"),
           "inhibits": ("from_step", "until_step", "needed_by", "confirmed_by"), "actions": ("step",)}


def _says(row: Row, columns: Iterable[str]) -> list[str]:
    """Those of ``columns`` that say something else than nothing."""
    plain = (None, "", (), "any", "no", "asap", 0.0)
    return [column for column in columns if row.values.get(column) not in plain]


def placeless_steps_need_no_place(rows: Rows, faults: Faults) -> None:
    """A suited step without a place moves, uses and waits for nothing that is somewhere."""
    for row in (row for row in rows["steps"] if row.text("crew") in (BOTH, *fmt.SUITED)):
        if row.values.get("place") == "" and (said := _says(row, AT_A_PLACE)):
            row.fault(faults, "place", f"is empty, so {', '.join(said)} cannot be judged: say where this "
                      "step is done, or leave these to the steps that detail it", "")


def blocks_are_not_in_circles(rows: Rows, faults: Faults) -> None:
    """No step details itself, by way of however many others; each circle is told once."""
    above = {step: row.text("block") for row, step in rows.named("steps")}
    cleared: set[str] = set()
    for row, step in rows.named("steps"):
        chain = [step]
        while (block := above.get(chain[-1], "")) and block not in (*chain, *cleared):
            chain.append(block)
        if block in chain:
            names = " in ".join([*chain[chain.index(block):][:6], block])
            row.fault(faults, "block", f"details itself: {names}; let one of them have no block")
        cleared.update(chain)


def detailed_blocks_are_only_compared(rows: Rows, faults: Faults) -> None:
    """Nothing is timed by a block that has steps of its own, and what such a block says is theirs to say."""
    own: dict[str, list[str]] = {}
    for row, block in rows.pairs("steps", "block"):
        own.setdefault(block, []).append(row.text("step"))
    for row, step in rows.named("steps"):
        if step in own and (said := _says(row, _OF_A_TIMED_STEP)):
            row.fault(faults, said[0], f"is not timed any more, as {' '.join(own[step][:6])} detail this "
                      f"block: move {', '.join(said)} to the one of them that it is about")
    for table, column in ((table, column) for table, columns in _NAMING.items() for column in columns):
        for row, name in rows.pairs(table, column):
            if name in own:
                row.fault(faults, column, f"{name} is a block with steps of its own, which is not timed: "
                          f"name one of them ({' '.join(own[name][:6])})")


BLOCK_RULES = (placeless_steps_need_no_place, blocks_are_not_in_circles, detailed_blocks_are_only_compared)
