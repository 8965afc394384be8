"""Checks of blocks: what is not known of a step without a place, and blocks beside the steps of their own.

``blocks``: rules ``place-not-known`` (about the steps), ``longer-than-block`` and ``shorter-than-block``
(about the block).
"""

from collections.abc import Iterator
from itertools import groupby

from planning_kit.inputs.source import steps_within
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.plan.activities import WAIT
from planning_kit.plan.build import placeless
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

CHECK = "blocks"


def check_places_known(plan: TimedPlan) -> Iterator[Finding]:
    """A stretch in which it is not known where somebody is (concern): nothing that hangs on it is judged."""
    lost = {*placeless(plan.steps)}
    for crew, passages in plan.passages.items():
        by_turns = groupby(passages, lambda each: each.is_known)
        for spell in ([*group] for is_known, group in by_turns if not is_known):
            steps = [name for name in dict.fromkeys(each.step for each in spell) if name in lost]
            yield Finding(
                CONCERN, CHECK, "place-not-known", about=" ".join(steps), crew=crew, step=steps[0],
                start_min=spell[0].start_min,
                message=f"where {crew} is from {pet_spans((spell[0].start_min, spell[-1].finish_min))} is "
                        f"not known ({', '.join(steps)} without a place): the way home is not known, so that "
                        f"there is no return margin and no time to turn back by for {crew}; room, crossings "
                        "and hazards are not judged then, nor the tether until its hook next moves. Travel "
                        "counts from the last place known. Name the place, or detail the block")


def check_blocks(plan: TimedPlan) -> Iterator[Finding]:
    """The steps of a block against its minutes: longer (concern) or shorter (remark).

    Compared is the span from setting out for the first of them to the last finish: work, travel and waits, as
    a block on a sheet of times has its own way in it.
    """
    within = steps_within(plan.scenario.records)
    for block in (block for block in plan.scenario.records.blocks if block.step in within):
        names = [step.step for step in within[block.step]]
        begin = min(each.start_min for lane in plan.lanes.values() for each in lane
                    if each.kind != WAIT and each.step in names)
        end = max(plan.span(name)[1] for name in names)
        over = end - begin - block.minutes_likely
        longer, title = over > 0, f" ({block.title})" if block.title else ""
        if abs(over) > ROUNDING_MIN:
            yield Finding(
                CONCERN if longer else REMARK, CHECK, f"{'longer' if longer else 'shorter'}-than-block",
                about=block.step, crew=block.crew, step=names[0], start_min=begin,
                message=f"block {block.step}{title} was to take {pet_label(block.minutes_likely)}; its steps "
                        f"({' '.join(names)}) take {pet_label(end - begin)} with travel and waits, from "
                        f"{pet_spans((begin, end))}: {number_label(abs(over), 'up')} min "
                        f"{'longer' if longer else 'shorter'}",
                source="steps.minutes_likely", value=end - begin, limit=block.minutes_likely, margin=-over)
