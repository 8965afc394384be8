"""Check: hardware. Who takes, leaves and uses what is not there, too much in hand, things left outside.

Rules of takes, leaves and uses, about the item: ``not-there``, ``early``, ``has-it``, ``not-in-bag``,
``in-bag``, ``bag-away``, ``not-held``, ``partner-away``, ``used-away``. ``overloaded`` (about the bag; ""
for hands), ``no-slots`` (about the items). At the end, about the item: ``not-inside``, ``not-in-place``,
``stays-outside``, ``other-end-loose``.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from operator import itemgetter
from typing import NamedTuple

from planning_kit.inputs.records import INSIDE, Item
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan import custody_state as kinds
from planning_kit.plan.custody import is_at_end, is_in, other_end
from planning_kit.plan.custody_state import Holding, Mishap, Overload
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import TimedPlan

CHECK = "custody"
AT_END = frozenset({(CHECK, "not-inside"), (CHECK, "not-in-place"), (CHECK, "stays-outside"),
                    (CHECK, "other-end-loose"), ("states", "not-at-end")})
_MEANT = (kinds.NOT_THERE, kinds.EARLY, kinds.BAG_AWAY, kinds.NOT_HELD, kinds.PARTNER_AWAY)


class _Words(NamedTuple):
    """Severity, what is wrong, and what mends it; in braces the fields of `_fields`."""

    severity: str
    wrong: str
    mend: str
    source: str = "steps.takes"


_WORDS = {
    kinds.NOT_THERE: _Words(STOP, "{crew} takes {item} {at_place}, but {was}",
                            "take it where it is, or let it be left here before {step}"),
    kinds.EARLY: _Words(STOP, "{crew} takes {item} {at_place}, but {was}; {later} leaves it only at "
                        "{later_at}, {late} min later", "add {later} to the after of {step}"),
    kinds.HAS_IT: _Words(CONCERN, "{crew} takes {item} {at_place}, but {was} already",
                         "delete it from takes, or say where it was left before"),
    kinds.NOT_IN_BAG: _Words(STOP, "{crew} takes {item} out of {other} {at_place}, but {was}",
                             "write {item} without <{other}, or put it in before"),
    kinds.IN_BAG: _Words(STOP, "{crew} takes {item} {at_place}, but {was}", "write {item}<{other}"),
    kinds.BAG_AWAY: _Words(STOP, "{crew} {at_place} needs {bag} for {item}, but {was}",
                           "bring {bag} here before {step}", "steps.takes, steps.leaves"),
    kinds.NOT_HELD: _Words(STOP, "{crew} leaves {item} {at_place}, but {was}",
                           "take it before {step} (takes), or name who leaves it", "steps.leaves"),
    kinds.PARTNER_AWAY: _Words(STOP, "{crew} hands {item} to {other} {at_place}, but {other} is {partner}",
                               "let {other} wait there (a step of both), or leave it for them to take",
                               "steps.leaves"),
    kinds.USED_AWAY: _Words(STOP, "{step} {at_place} uses {item}, but {was}",
                            "let {crew} take it before, or bring it here", "steps.uses"),
}


def check_custody(plan: TimedPlan) -> Iterator[Finding]:
    """Every take, leave and use that cannot be done as written (stop), one finding each."""
    for mishap in plan.tracked_custody.mishaps:
        if words := _WORDS.get(mishap.kind):
            named = _fields(plan, mishap)
            late = mishap.later_min - mishap.at_min
            yield Finding(
                words.severity, CHECK, mishap.kind.replace(" ", "-"), about=mishap.item, crew=mishap.crew,
                step=mishap.step, start_min=mishap.at_min,
                message=f"at {pet_label(mishap.at_min)} {words.wrong.format(**named)}: "
                        f"{words.mend.format(**named)}",
                source=words.source, value=late, limit=0.0 if late == late else late, margin=-late)


def _fields(plan: TimedPlan, mishap: Mishap) -> dict[str, object]:
    partner = ""
    if mishap.kind == kinds.PARTNER_AWAY:
        passages = plan.passages[mishap.other]
        spot = next((p for p in passages if p.start_min <= mishap.at_min <= p.finish_min), passages[-1])
        partner = at_words(plan, spot.place, spot.to_place)
    return {
        "crew": mishap.crew, "item": mishap.item, "at_place": at_words(plan, mishap.place),
        "step": mishap.step, "other": mishap.other, "bag": mishap.was.item, "partner": partner,
        "was": held_words(plan, mishap.was), "later": mishap.later_step,
        "later_at": pet_label(mishap.later_min), "late": number_label(mishap.later_min - mishap.at_min, "up"),
    }


def held_words(plan: TimedPlan, holding: Holding) -> str:
    """Where an item is, in words that go after "but": who has it, where it lies, since which step."""
    holder = holding.holder
    since = f" since {holding.by_step}" if holding.by_step else " since the start"
    if holder == INSIDE:
        where = "is inside"
    elif holder in {place.place for place in plan.scenario.records.places}:
        where = f"lies at {plan.place_title(holder)}"
    else:
        where = ""
    if holding.in_bag:
        return f"it is in {holding.in_bag}{since}, which {where or f'{holder} has'}"
    return f"it {where}{since}" if where else f"{holder} has it{since}"


def at_words(plan: TimedPlan, place: str, to_place: str = "") -> str:
    """Where in words: at the title of a place, or between two; an actor's step without a place is inside."""
    if to_place:
        return f"between {plan.place_title(place)} and {plan.place_title(to_place)}"
    return INSIDE if place == INSIDE else f"at {plan.place_title(place)}"


def check_carrying(plan: TimedPlan) -> Iterator[Finding]:
    """More slots in hands than ``carry_slots``, or in a bag than it ``holds`` (stop), one a spell."""
    mishaps = enumerate(plan.tracked_custody.mishaps)
    meant = grouped((each.item, (number, each)) for number, each in mishaps if each.kind in _MEANT)
    slots = {item.item: item.slots or 0.0 for item in plan.scenario.records.hardware}
    for spell in plan.tracked_custody.overloads:
        # In the order of the plan again: of several about one item the last is named.
        found = sorted((each for item in spell.items for each in meant.get(item, ())), key=itemgetter(0))
        yield _overload(plan, spell, _because(spell, [mishap for _, mishap in found], slots))


def _overload(plan: TimedPlan, spell: Overload, because: str) -> Finding:
    is_crew = spell.holder in plan.travels
    what = f"{spell.holder} has {spell.slots:g} slots in hand" if is_crew else (
        f"the bag {spell.holder} holds {spell.slots:g} slots")
    mend = "leave, bag or hand over something before" if is_crew else "use a larger bag, or put less in"
    crew = spell.holder if is_crew else ""
    return Finding(
        STOP, CHECK, "overloaded", about="" if is_crew else spell.holder, crew=crew, step=spell.step,
        start_min=spell.from_min,
        message=f"{what} of {spell.limit:g} from {pet_label(spell.from_min)} to "
                f"{pet_label(spell.until_min)} ({', '.join(spell.items)}){because}: {mend}",
        source="crew.carry_slots" if is_crew else "hardware.holds", value=spell.slots, limit=spell.limit,
        margin=spell.limit - spell.slots)


def _because(spell: Overload, mishaps: Sequence[Mishap], slots: Mapping[str, float]) -> str:
    """The fault that an overload comes of: without what is only meant to be there it would not be one.

    ``mishaps`` are those that make one of its items only meant to be somewhere, ``slots`` those of each item.
    """
    meant = {mishap.item: mishap for mishap in mishaps
             if spell.holder in (mishap.crew, mishap.other) and mishap.at_min <= spell.until_min}
    if not meant or sum(slots[item] for item in spell.items if item not in meant) > spell.limit:
        return ""
    items = ", ".join(f"{item} since {mishap.step}" for item, mishap in meant.items())
    return f", of which {spell.holder} is only meant to have {items} (see there)"


def check_carrying_data(plan: TimedPlan) -> Iterator[Finding]:
    """One remark that names everything handled whose slots are not given."""
    if missing := plan.tracked_custody.unweighed:
        yield Finding(
            REMARK, CHECK, "no-slots", about=" ".join(missing),
            message=f"no slots are given for {', '.join(missing)}: what hands and bags can hold is not "
                    "checked for them (crew.carry_slots, hardware.slots, hardware.holds)")


def as_untouched(finding: Finding, items: Collection[str]) -> Finding:
    """The finding as a concern where it says of one of ``items`` that it does not end where it should.

    Meant for items, and states, that only skipped work would have touched: they are as they were before the
    outing, and that they are is what was decided.
    """
    if finding.severity != STOP or finding.about not in items or (
            finding.check, finding.rule) not in AT_END:
        return finding
    return replace(finding, severity=CONCERN,
                   message=f"{finding.message}. All work on it is skipped: it lies as before the outing")


def check_endings(plan: TimedPlan) -> Iterator[Finding]:
    """Items that are not where ``end_at`` says (stop), cables without their other end, items left outside."""
    items = {item.item: item for item in plan.scenario.records.hardware}
    for item in items.values():
        endings = plan.tracked_custody.endings[item.item]
        if item.end_at:
            yield from _at_end(plan, item, endings)
        elif is_in(plan.scenario.records, _first_where(item, items)) and not any(
                is_in(plan.scenario.records, ending.holder) for ending in endings):
            yield _ending(plan, item, endings, CONCERN, "stays-outside", "was brought out and stays outside:",
                          "take it home, or give it an end_at if it is meant to stay")
        if other_end(plan.scenario.records, plan.steps, item) != item.end2_at:
            yield Finding(
                STOP, CHECK, "other-end-loose", about=item.item, start_min=plan.end_min,
                message=f"the other end of {item.item} must be {at_words(plan, item.end2_at)}, but no step "
                        "there takes, leaves or uses it: add it to the step that fixes this end",
                source="hardware.end2_at")


def _at_end(plan: TimedPlan, item: Item, endings: Sequence[Holding]) -> Iterator[Finding]:
    if is_at_end(plan.scenario.records, item, endings):
        return
    if item.end_at == INSIDE:
        yield _ending(plan, item, endings, STOP, "not-inside", "must be inside at the end, but",
                      "let someone take it and bring it home")
    else:
        is_there = any(ending.holder == item.end_at for ending in endings)
        yield _ending(plan, item, endings, CONCERN if is_there else STOP, "not-in-place",
                      f"must be at {plan.place_title(item.end_at)} at the end, but",
                      "take it out, unless it is meant to stay in the bag" if is_there else
                      "let a step there leave it")


def _ending(plan: TimedPlan, item: Item, endings: Sequence[Holding], severity: str, rule: str,
            wrong: str, mend: str) -> Finding:
    last = endings[-1]
    crew = last.holder if last.holder in plan.travels else ""
    return Finding(
        severity, CHECK, rule, about=item.item, crew=crew, step=last.by_step, start_min=plan.end_min,
        message=f"{item.item} {wrong} {held_words(plan, last)}: {mend}", source="hardware.end_at")


def _first_where(item: Item, items: Mapping[str, Item]) -> str:
    return _first_where(items[item.at], items) if item.at in items else item.at
