"""Checks of blocks: what is not known of a step without a place, and blocks beside the steps of their own.

``blocks``: rules ``place-not-known`` (about the steps), ``longer-than-block`` and ``shorter-than-block``
(about the block).
"""

from collections.abc import Iterator, Sequence

from planning_kit.inputs.records import Step
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.build import placeless
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

CHECK = "blocks"


def check_places_known(plan: TimedPlan) -> Iterator[Finding]:
    """A stretch in which it is not known where somebody is (concern): nothing that hangs on it is judged."""
    lost = {*placeless(plan.steps)}
    for crew, passages in plan.passages.items():
        spell: list[tuple[str, float, float]] = []
        for each in passages:
            if not each.is_known:
                spell.append((each.step, each.start_min, each.finish_min))
            if spell and (each.is_known or each is passages[-1]):
                steps = [name for name in dict.fromkeys(step for step, _, _ in spell) if name in lost]
                begin, end = spell[0][1], spell[-1][2]
                yield Finding(
                    CONCERN, CHECK, "place-not-known", about=" ".join(steps), crew=crew, step=steps[0],
                    start_min=begin,
                    message=f"where {crew} is from {pet_spans((begin, end))} is not known "
                            f"({', '.join(steps)} without a place): the way home is not known, so that "
                            f"there is no return margin and no time to turn back by for {crew}; room, "
                            "crossings and hazards are not judged then, nor the tether until its hook next "
                            "moves. Travel counts from the last place known. Name the place, or detail the "
                            "block")
                spell = []


def check_blocks(plan: TimedPlan) -> Iterator[Finding]:
    """The steps of a block against its minutes: longer (concern) or shorter (remark).

    Compared is the span from setting out for the first of them to the last finish: work, travel and waits, as
    a block on a sheet of times has its own way in it.
    """
    blocks = {block.step: block for block in plan.scenario.records.blocks}
    own: dict[str, list[Step]] = {name: [] for name in blocks}
    for step in plan.steps:
        above = step.block
        while above in blocks:
            own[above].append(step)
            above = blocks[above].block
    for name, steps in own.items():
        if steps:
            begin = min(_sets_out(plan, step) for step in steps)
            yield from _differs(blocks[name], steps, begin, max(plan.span(step.step)[1] for step in steps))


def _sets_out(plan: TimedPlan, step: Step) -> float:
    """When the first one sets out for a step; its start where nobody has a way to it."""
    ways = (each.start_min for who in step.people for each in plan.lanes[who]
            if each.kind == TRAVEL and each.step == step.step)
    return min([plan.span(step.step)[0], *ways])


def _differs(block: Step, steps: Sequence[Step], begin: float, end: float) -> Iterator[Finding]:
    over = end - begin - block.minutes_likely
    if abs(over) > ROUNDING_MIN:
        names, title = " ".join(step.step for step in steps), f" ({block.title})" if block.title else ""
        yield Finding(
            CONCERN if over > 0 else REMARK, CHECK, f"{'longer' if over > 0 else 'shorter'}-than-block",
            about=block.step, crew=block.crew, step=steps[0].step, start_min=begin,
            message=f"block {block.step}{title} was to take {pet_label(block.minutes_likely)}; "
                    f"its steps ({names}) take {pet_label(end - begin)} with travel and waits, from "
                    f"{pet_spans((begin, end))}: {number_label(abs(over), 'up')} min "
                    f"{'longer' if over > 0 else 'shorter'}",
            source="steps.minutes_likely", value=end - begin, limit=block.minutes_likely, margin=-over)
