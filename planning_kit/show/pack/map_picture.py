"""Still pictures of the station, drawn without a browser, and which minutes are worth one: the key moments.

A picture has two flat views and the words: what `planning_kit.plan.moments` says of the minute, in the views
and signs of the station map.
"""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import gmt_label, measure, moment_at, pet_label
from planning_kit.plan.activities import TRAVEL, WORK
from planning_kit.plan.moments import Moment, moment_of
from planning_kit.plan.timed import TimedPlan
from planning_kit.show import station_map_views as flat
from planning_kit.show.pack import content
from planning_kit.show.palette import LIGHT, crew_inks
from planning_kit.show.station_map_moving import light_words, person_lines, sky_lines
from planning_kit.show.wording import Names, exceptions_at, least, signed

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


WIDTH, HEIGHT = 780.0, 212.0
_TOP, _VIEW_WIDTH, _GAP = 16.0, 262.0, 8.0
_INSET = 16.0  # around the places inside a view
_SIZE, _LEAD = 6.4, 8.0
_PX_PER_PT = 1.75  # names are placed by the station map's rule, whose letters are so much larger
_LINE_CHARS, _MOST_LINES, _LONGEST = 66, 23, 130
_GROUND = {"night": "#DFE2EC", "penumbra": "#F0F1F4"}
_ROUTES: dict[str, tuple[str, float, tuple[float, ...]]] = {
    "route": (LIGHT.quiet_ink, 0.8, ()), "tight route": (LIGHT.ink, 2.2, (3.0,)),
    "snag route": (LIGHT.concern, 2.2, (1.2,)), "tight and snag route": (LIGHT.concern, 2.2, (4.0,))}
_SIGNS = {"foothold": ("triangle", -5.0), "bag": ("square", 5.0)}

_WORDS = (
    "From the side and from above, to one scale, z downward. Discs and diamonds in colour are the crew, "
    "lines in their colour their tethers, open squares the hooks; small triangles footholds, small squares "
    "bags. Routes: broken thick is tight, dotted thick a snag hazard. Grey ground: shadow. Between places "
    "everybody is drawn on the straight line.")


def map_section(plan: TimedPlan) -> content.Section:
    """The station at the key minutes of ``plan``."""
    return content.Section("map", "Station map at key minutes", (_WORDS,),
                           tuple(map_picture(plan, each) for each in key_moments(plan)))


def map_picture(plan: TimedPlan, key: KeyMoment) -> content.Picture:
    """The station at one minute."""
    moment = moment_of(plan, key.at_min)
    views = flat.views_of(plan.scenario.records.places, "+z")
    inks, lines = crew_inks(plan.travels, LIGHT), _words(plan, moment)
    clock = (f"PET {pet_label(moment.at_min)} · GMT {gmt_label(moment_at(moment.at_min, plan.pet_zero))} · "
             f"{one_line(key.why)}")
    shapes: list[content.Shape] = [content.Label(2, 10, clock[:150], 8.6, LIGHT.ink, is_bold=True)]
    for number, view in enumerate((views.side, views.above)):
        pane = _Pane(plan, moment, inks, view, views.range_of(view.across), views.range_of(view.up),
                     number * (_VIEW_WIDTH + _GAP))
        shapes += pane.shapes()
    shapes += _text(lines)
    alt = f"Station map, {clock}. {' '.join(text for text, _ in lines)}"
    return content.Picture(WIDTH, HEIGHT, tuple(shapes), alt)


def _words(plan: TimedPlan, moment: Moment) -> list[tuple[str, str]]:
    """What the picture shows, a line each with its ink: light, links, inhibits; then each crew member."""
    titles, names = {p.place: p.title for p in plan.scenario.records.places}, Names(plan)
    inks = crew_inks(plan.travels, LIGHT)
    told = [("".join(light_words(moment)), LIGHT.ink)]
    told += [(line, LIGHT.ink) for line in sky_lines(moment, bool(plan.relays))]
    for person in moment.people:
        told.append((f"{person.crew}, {person.doing.kind} until {pet_label(person.doing.finish_min)}:",
                     inks[person.crew]))
        told += [(line, LIGHT.ink) for line in person_lines(person, moment, titles, plan, False)]
        told += [(line, LIGHT.ink) for line in exceptions_at(plan, person.crew, moment.at_min)]
    lying = [f"{names.item(stay.item)} {names.where(stay.holder)}" for stay in moment.stays
             if stay.kind in _SIGNS and stay.holder in titles and not stay.in_bag]
    return [*told, (f"Lying: {'; '.join(lying)}.", LIGHT.ink)] if lying else told


def _text(lines: Sequence[tuple[str, str]]) -> Iterator[content.Label]:
    left = 2 * (_VIEW_WIDTH + _GAP) + 2
    wrapped = [(part, ink) for text, ink in lines
               for part in textwrap.wrap(shortened(text, _LONGEST), _LINE_CHARS)]
    if len(wrapped) > _MOST_LINES:
        wrapped = [*wrapped[:_MOST_LINES - 1], ("… (the rest is in the procedure)", LIGHT.ink)]
    for number, (text, ink) in enumerate(wrapped):
        yield content.Label(left, _TOP + 7 + number * _LEAD, text, _SIZE, ink, is_bold=ink != LIGHT.ink)


_Spot = tuple[float, float]  # in the picture, points from the top left


@dataclass(frozen=True)
class _Pane:
    """One flat view; ``across`` and ``up`` are what it shows, metres, as `Views.range_of` gives them."""

    plan: TimedPlan
    moment: Moment
    inks: Mapping[str, str]
    view: flat.View
    across: tuple[float, float]
    up: tuple[float, float]
    left: float

    def shapes(self) -> Iterator[content.Shape]:
        records, kind = self.plan.scenario.records, self.moment.light.partition(" ")[0]
        yield content.Box(self.left, _TOP, _VIEW_WIDTH, HEIGHT - _TOP, _GROUND.get(kind, "#FFFFFF"),
                          LIGHT.quiet_ink)
        yield content.Label(self.left + 4, HEIGHT - 4, self.view.name, _SIZE, LIGHT.quiet_ink)
        places = {place: self._at(point) for place, point in flat.place_points(records.places).items()}
        for route in records.routes:
            colour, width, dash = _ROUTES[flat.route_kind(route)]
            yield content.Line((places[route.from_place], places[route.to_place]), colour, width, dash)
        end = (self.left + _VIEW_WIDTH - 8, HEIGHT - 8)
        yield content.Line(((end[0] - 5 * self._points_per_m, end[1]), end), LIGHT.quiet_ink, 1)
        yield content.Label(end[0], end[1] - 3, "5 m", _SIZE, LIGHT.quiet_ink, "end")
        yield from self._tethers(places)
        for place in records.places:
            shape, size = ("diamond", 2.6) if place.socket else ("disc", 2.0)
            yield content.Mark(*places[place.place], size, shape,
                               LIGHT.ink if place.anchor else LIGHT.paper, LIGHT.ink)
        lying = list(self._lying(places))
        yield from lying
        for number, person in enumerate(self.moment.people):
            yield content.Mark(*self._at(person.point_m), (5.4, 4.2)[number % 2],
                               ("disc", "diamond")[number % 2], self.inks[person.crew], LIGHT.paper)
        yield from self._names(places, lying)

    def _at(self, point: flat.Point) -> _Spot:
        """Where a point of the frame is in the picture; the places in the middle of the pane."""
        at = self.view.coordinates([point])
        scale = self._points_per_m
        (left, right), (low, high) = self.across, self.up
        x = (at["x"][0] - (left + right) / 2) * (1 if right > left else -1)
        y = (at["y"][0] - (low + high) / 2) * (1 if high > low else -1)
        return (round(self.left + _VIEW_WIDTH / 2 + x * scale, 2),
                round(_TOP + (HEIGHT - _TOP) / 2 - y * scale, 2))

    @property
    def _points_per_m(self) -> float:
        wide, high = abs(self.across[1] - self.across[0]), abs(self.up[1] - self.up[0])
        return min((_VIEW_WIDTH - 2 * _INSET) / wide, (HEIGHT - _TOP - 2 * _INSET) / high)

    def _tethers(self, places: Mapping[str, _Spot]) -> Iterator[content.Shape]:
        for number, person in enumerate(self.moment.people):
            line = (*(places[place] for place in person.line), self._at(person.point_m))
            if len(line) > 1:
                yield content.Line(line, self.inks[person.crew], (3.6, 1.6)[number % 2])
        for number, person in enumerate(self.moment.people):
            size = (6.4, 4.6)[number % 2]
            yield content.Mark(*places[person.hook], size, "square", "", self.inks[person.crew])

    def _lying(self, places: Mapping[str, _Spot]) -> Iterator[content.Mark]:
        for stay in self.moment.stays:
            if stay.kind in _SIGNS and stay.holder in places and not stay.in_bag:
                shape, aside = _SIGNS[stay.kind]
                x, y = places[stay.holder]
                yield content.Mark(x + aside, y + 5, 2.2, shape, LIGHT.ink, LIGHT.paper)

    def _names(self, places: Mapping[str, _Spot], lying: Sequence[content.Mark]) -> Iterator[content.Label]:
        """The crew's names first, then those of the places, of which one that fits nowhere is left out."""
        people = [(one_line(p.crew), self._at(p.point_m), self.inks[p.crew]) for p in self.moment.people]
        named = [*people, *((one_line(place)[:flat.LONGEST_PLACE_ID], at, LIGHT.ink)
                            for place, at in places.items()),
                 *(("", (mark.x, mark.y), "") for mark in lying)]  # no names, but in the way
        spots = flat.name_spots([(x * _PX_PER_PT, -y * _PX_PER_PT) for _, (x, y), _ in named],
                                [len(text) * flat.NAME_CHAR_PX for text, _, _ in named])
        sides = {spot: (right, above) for spot, right, above in flat.NAME_SPOTS}
        for number, ((text, (x, y), ink), spot) in enumerate(zip(named, spots, strict=True)):
            is_crew = number < len(people)
            if (spot or is_crew) and text:  # a name of the crew stands there even over another sign
                right, above = sides[spot or ("top left", "bottom left")[number % 2]]
                gap = 5.5 if is_crew else 3.4
                yield content.Label(x + right * gap, y + 2.2 - above * (gap + 1.2), text,
                                    _SIZE + 1 if is_crew else _SIZE - 0.6, ink,
                                    {1: "start", -1: "end", 0: "middle"}[right], is_bold=is_crew)
