"""Which minutes of a plan are worth a still, the key moments, and each as a picture with its words."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import gmt_label, measure, moment_at, pet_label
from planning_kit.plan.activities import TRAVEL, WORK
from planning_kit.plan.moments import moment_of
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.moment_words import moment_lines
from planning_kit.show.pack import content
from planning_kit.show.palette import LIGHT, crew_inks
from planning_kit.show.still import still_picture
from planning_kit.show.still_view import HEIGHT, WIDTH
from planning_kit.show.wording import Names, least, signed

_TOGETHER_MIN = 1.5  # moments nearer than this are one picture


@dataclass(frozen=True)
class KeyMoment:
    """A minute of PET and why it is shown."""

    at_min: float
    why: str


def key_moments(plan: TimedPlan) -> list[KeyMoment]:
    """By time: out at work, the first work in night and by day, hand to hand, worst margins, a way home.

    Each only where the plan has it; two that are hardly apart are one, at the earlier minute.
    """
    found = [*_out_at_work(plan), *_lit(plan), *_hand_to_hand(plan), *_worst_margins(plan),
             *_longest_way_home(plan)]
    inside = [each for each in found if 0 <= each.at_min <= plan.end_min]
    kept: list[KeyMoment] = []
    for each in sorted(inside, key=lambda each: each.at_min):
        if kept and each.at_min - kept[-1].at_min < _TOGETHER_MIN:
            kept[-1] = replace(kept[-1], why=f"{kept[-1].why}; {each.why}")
        else:
            kept.append(each)
    return kept


def _out_at_work(plan: TimedPlan) -> Iterator[KeyMoment]:
    """Both away from the airlock: when the later of the two begins to work there."""
    airlock = plan.scenario.settings.airlock_place
    first = [next((each for each in plan.lanes[crew] if each.kind == WORK and each.place != airlock), None)
             for crew in plan.travels]
    last = max(filter(None, first), key=lambda each: each.start_min, default=None)
    if last is not None:
        yield KeyMoment(last.start_min, f"out at work: {last.crew} begins {last.step}")


def _lit(plan: TimedPlan) -> Iterator[KeyMoment]:
    for light, word in (("night", "in night"), ("day", "by day")):
        steps = [(float(plan.starts[i]), float(plan.finishes[i]), step.step)
                 for i, step in enumerate(plan.steps) if step.light == light]
        if steps:
            start, finish, name = min(steps)
            yield KeyMoment((start + finish) / 2, f"{word}: {name}")


def _hand_to_hand(plan: TimedPlan) -> Iterator[KeyMoment]:
    """Just before the end of the first step in which something passes from hand to hand, both being there."""
    steps = [(float(plan.finishes[i]) - 0.01, step.step) for i, step in enumerate(plan.steps)
             if any(move.into in plan.travels for move in step.leaves)]
    for at_min, name in sorted(steps):
        if len({(person.place, person.to_place) for person in moment_of(plan, at_min).people}) == 1:
            yield KeyMoment(at_min, f"hand to hand: {name}")
            return


def _worst_margins(plan: TimedPlan) -> Iterator[KeyMoment]:
    way, reach = least(plan.return_summary, "margin_min"), least(plan.tethers, "margin_m")
    if way:
        yield KeyMoment(float(way["at_min"]), f"least return margin: {way['crew']}, {way['case']}, "
                                              f"{signed(way['margin_min'])}")
    if reach:
        # Reach and margin are those of the stretch's farther end: there the picture is drawn.
        at = reach["until_min"] if reach["to_place"] else reach["from_min"]
        left_m = reach["margin_m"]
        told = measure(left_m, "m", plan.scenario.settings, "down", signed(left_m, "").rstrip())
        yield KeyMoment(float(at), f"least tether margin: {reach['crew']}, {told}")


def _longest_way_home(plan: TimedPlan) -> Iterator[KeyMoment]:
    """Half way along the longest way to the airlock."""
    airlock, names = plan.scenario.settings.airlock_place, Names(plan)
    homeward = [each for crew in plan.travels for each in plan.lanes[crew]
                if each.kind == TRAVEL and each.to_place == airlock]
    if homeward:
        longest = max(homeward, key=lambda each: each.minutes)
        yield KeyMoment((longest.start_min + longest.finish_min) / 2,
                        f"longest way to the airlock: {longest.crew} from {names.title(longest.place)}, "
                        f"there at {pet_label(longest.finish_min)}")


_LINE_CHARS, _BOLD_CHARS, _MOST_LINES, _LONGEST = 66, 58, 34, 130
_SIZE, _LEAD, _TOP, _WORDS_WIDTH = 6.4, 8.0, 16.0, 250.0

_WORDS = (
    "Everybody as the camera of the film sees them from one side, the nearer over the farther. EV1 has wide "
    "bands, EV2 thin rings; lines in their colour are their tethers. A dark ground is night. Bodies "
    "are drawn, not measured.")


def map_section(plan: TimedPlan) -> content.Section:
    """The station at the key minutes of ``plan``."""
    return content.Section("map", "The station at key minutes", (_WORDS,),
                           tuple(key_picture(plan, each) for each in key_moments(plan)))


def key_picture(plan: TimedPlan, key: KeyMoment) -> content.Picture:
    """The still of one minute, with what it shows in words beside it."""
    moment, inks = moment_of(plan, key.at_min), {"": LIGHT.ink, **crew_inks(plan.travels, LIGHT)}
    lines = [(line, inks[crew]) for line, crew in moment_lines(plan, moment)]
    clock = (f"PET {pet_label(moment.at_min)} · GMT {gmt_label(moment_at(moment.at_min, plan.pet_zero))} · "
             f"{one_line(key.why)}")
    still = still_picture(plan, moment.at_min, "both", top=_TOP)
    head = content.Label(2, 10, clock[:150], 8.6, LIGHT.ink, is_bold=True)
    alt = f"Station, {clock}. {' '.join(text for text, _ in lines)}"
    return content.Picture(WIDTH + _WORDS_WIDTH, HEIGHT + _TOP, (head, *still.shapes, *_text(lines)), alt)


def _text(lines: Sequence[tuple[str, str]]) -> Iterator[content.Label]:
    left = WIDTH + 8
    wrapped = [(part, ink) for text, ink in lines
               for part in textwrap.wrap(
                   shortened(text, _LONGEST), _LINE_CHARS if ink == LIGHT.ink else _BOLD_CHARS)]
    if len(wrapped) > _MOST_LINES:
        wrapped = [*wrapped[:_MOST_LINES - 1], ("… (the rest is in the procedure)", LIGHT.ink)]
    for number, (text, ink) in enumerate(wrapped):
        yield content.Label(left, _TOP + 7 + number * _LEAD, text, _SIZE, ink, is_bold=ink != LIGHT.ink)
