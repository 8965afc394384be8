"""What moves on the station map: the crew, their tethers, footholds and bags, the light, the line of now.

One function makes the traces of a moment; a film takes the moving attributes of the same traces, so that a
still picture and a frame of the film cannot differ.

Here is also what the map says of a moment in words: the clock, the light, and each crew member.
"""

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, isnan

from planning_kit.inputs.shown_text import one_line, plotly_text, shortened
from planning_kit.inputs.times import gmt_label, measure, moment_at, number_label, pet_label
from planning_kit.judge.findings import Finding
from planning_kit.plan.exposures import Exposure
from planning_kit.plan.moments import Moment, Person, Stay
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.chart import CLEAR, axis_ms, scatter
from planning_kit.show.chart_rows import finding_lanes, finding_minute
from planning_kit.show.hazard_wording import caution_words, class_rank, hazard_line
from planning_kit.show.palette import Theme
from planning_kit.show.station_map_views import Point, View, Views, route_kind
from planning_kit.show.swimlane_bars import Trace
from planning_kit.show.swimlane_scene import Scene
from planning_kit.show.wording import counted, exceptions_at

GLYPHS = {"foothold": "▲", "bag": "■"}
LONGEST_ITEM_ID = 16
LINE_CHARS, MOST_LINES = 41, 9
_SKY_WORDS = {"night": "Shadow", "day": "Sun", "penumbra": "Penumbra"}
_LONGEST_FINDING = 120


@dataclass(frozen=True)
class Stage:
    """All that stays the same from moment to moment; cautions are by place and step, findings by step."""

    scene: Scene
    views: Views
    points: Mapping[str, Point]
    crew_inks: Mapping[str, str]
    cautions: Mapping[str, str]
    found: Mapping[str, Sequence[Finding]]


def sky_words(moment: Moment, plan: TimedPlan) -> str:
    """The first column: PET and GMT, light, links, inhibits in force, what others do; safe to show."""
    clock = (f'<b><span style="font-size:20px">PET {pet_label(moment.at_min)}</span></b>  '
             f"GMT {gmt_label(moment_at(moment.at_min, plan.pet_zero))}")
    kind, rest = light_words(moment)
    lines = _wrapped(sky_lines(moment, bool(plan.relays)), MOST_LINES - 2)
    return "<br>".join([clock, f"<b>{kind}</b>{rest}", *lines])


def sky_lines(moment: Moment, has_links: bool) -> list[str]:
    """Links, inhibits in force and what others do, a line each, as plain text."""
    lines = []
    if has_links:
        lines.append(f"In view: {', '.join(moment.in_view)}." if moment.in_view else "No relay in view.")
    lines += [f"{one_line(other.crew)}: {one_line(other.step)} {one_line(other.title)}."
              for other in moment.others]
    for hold in moment.inhibits:
        owner = f", {one_line(hold.owner)}" if hold.owner else ""
        lines.append(f"{one_line(hold.inhibit)} in force until {pet_label(hold.lift_after_min, 'up')}: "
                     f"{one_line(hold.title)}{owner}.")
    if not moment.inhibits:
        lines.append("No inhibit in force.")
    return lines


def light_words(moment: Moment) -> tuple[str, str]:
    """The light in one word, and which night or day it is until when, as plain text."""
    kind = moment.light.partition(" ")[0]
    if not kind:
        return "Light not known", "."
    until = f" until {pet_label(moment.light_until_min, 'down')}" if isfinite(moment.light_until_min) else ""
    name = "" if kind == "penumbra" else f" ({moment.light})"
    return _SKY_WORDS[kind], f"{name}{until}."


def person_words(person: Person, moment: Moment, stage: Stage) -> str:
    """A crew member's column: what they do and where, hands, tether, what to mind; safe to show."""
    doing = person.doing
    head = (f'<b><span style="font-size:14px;color:{stage.crew_inks[person.crew]}">'
            f'{plotly_text(person.crew, 8)}</span></b>  '
            f"{doing.kind} until {pet_label(doing.finish_min)}")
    found = [finding for finding in stage.found.get(doing.step, ())
             if _is_on(finding, person.crew, moment.at_min, stage.scene)]
    if len(found) > 1:  # the column may not have room for all of them
        head += f" · {counted(found)}"
    lines = person_lines(person, moment, stage.scene.words.places, stage.scene.plan)
    minded = [stage.cautions.get(person.place, "") if person.route is None else
              caution_words(person.route.caution_class, person.route.caution)]
    minded += [stage.cautions.get(doing.step, "") if doing.kind == "work" else ""]
    inside = [each for each in stage.scene.plan.tracked_exposures
              if each.crew == person.crew and each.from_min <= moment.at_min <= each.until_min]
    # First what the column must not cut off.
    lines += dict.fromkeys(_inside(each, moment.at_min)
                           for each in sorted(inside, key=lambda each: class_rank(each.hazard.class_)))
    lines += exceptions_at(stage.scene.plan, person.crew, moment.at_min)
    lines += [text for text in dict.fromkeys(minded) if text]
    lines += [f"{finding.severity.upper()} {finding.check}: {shortened(finding.words, _LONGEST_FINDING)}"
              for finding in found]
    return "<br>".join([head, *_wrapped(lines, MOST_LINES - 1)])


def _inside(exposure: Exposure, at_min: float) -> str:
    is_open = exposure.hazard.controls and any(begin <= at_min <= end for begin, end in exposure.open_spans)
    without = " WITHOUT A CONTROL" if is_open else ""
    return f"Inside{without}, {exposure.hazard.class_.upper()}: {hazard_line(exposure.hazard)}."


def _is_on(finding: Finding, crew: str, minute: float, scene: Scene) -> bool:
    """Whether a finding of the step under way is about this crew member; told once its time has come."""
    starts = finding_minute(finding, scene.work)
    return (crew in finding_lanes(finding, scene.work, scene.lanes.people)
            and isfinite(starts) and starts <= minute + 0.5)


def person_lines(person: Person, moment: Moment, titles: Mapping[str, str], plan: TimedPlan,
                 with_signs: bool = True) -> list[str]:
    """What a crew member does and where, hands and tether, a line each, as plain text."""
    doing = person.doing
    name = " ".join(part for part in (doing.step, one_line(doing.title)) if part)
    whole = "" if person.tether_m is None else f" of {person.tether_m:g}"
    reach = f"{number_label(person.reach_m, 'up')}{whole}"
    return [f"{name}.", _where(person, titles), _hands(moment.held_by(person.crew), with_signs),
            f"Tether hooked at {person.hook}, " + (
                "how far out is not known." if isnan(person.reach_m) else
                f"{measure(person.reach_m, 'm', plan.scenario.settings, 'up', reach)} out.")]


def _where(person: Person, titles: Mapping[str, str]) -> str:
    place = titles.get(person.place) or person.place
    if not person.is_known:
        return f"Place not known, drawn as if from {place}."
    if person.route is None:
        return f"At {place} ({person.place})."
    kind = route_kind(person.route)
    return (f"From {place} to {titles.get(person.to_place) or person.to_place}"
            f"{'' if kind == 'route' else f', {kind}'}.")


def _hands(stays: Sequence[Stay], with_signs: bool) -> str:
    """What is in hand, contents of bags in brackets, with the signs that the map has for bags."""
    held = []
    for stay in (stay for stay in stays if not stay.in_bag):
        inside = [one_line(other.item) for other in stays if other.in_bag == stay.item]
        sign = f"{GLYPHS[stay.kind]} " if with_signs and stay.kind in GLYPHS else ""
        held.append(f"{sign}{one_line(stay.item)}" + (f" [{', '.join(inside)}]" if inside else ""))
    return f"Holds {', '.join(held)}." if held else "Hands empty."


def _wrapped(lines: Sequence[str], most: int) -> list[str]:
    """Lines that fit their column, each shown literally; an ellipsis says that there was more."""
    parts = [part for line in lines for part in textwrap.wrap(one_line(line), LINE_CHARS)]
    if len(parts) > most:
        parts = [*parts[: most - 1], shortened(parts[most - 1], LINE_CHARS - 2).rstrip("…") + " …"]
    return [plotly_text(part) for part in parts]


# Along one route the narrow tether runs inside the broad one; at one place the diamond lies on the disc.
_TETHER_PX, _PERSON_PX = (8, 3.5), (19, 12)
_SPACE_PERSON_PX = (11, 7)
_HOOK_PX, _SPACE_HOOK_PX = (18, 13), (12, 8)
_PERSON_SYMBOLS = ("circle", "diamond")
_PERSON_LABELS = ("top left", "bottom left")
_OFFSETS = {"foothold": (-1, -1), "bag": (1, -1)}  # beside the place, in shares of the view's height
_OFFSET_SHARE = 0.055
_MOST_MARKS = 8
_MOVING = ("fillcolor", "hovertext", "text", "x", "y", "z")


def moving_traces(moments: Iterable[Moment], stage: Stage) -> Iterator[tuple[Moment, list[Trace]]]:
    """Each moment with all its traces: for every moment of a plan the same ones in the same order."""
    stays: Sequence[Stay] | None = None
    for moment in moments:
        if moment.stays is not stays:  # what lies at places is drawn anew only when something was moved
            stays = moment.stays
            lying = {view: [_lying(stays, kind, view, stage) for kind in GLYPHS] for view in stage.views.all}
        people = list(enumerate(moment.people))
        now, lanes = axis_ms(moment.at_min), stage.scene.lanes
        traces = [_ground(moment, stage.scene.theme),
                  scatter("now", [now, now], [lanes.light.top, lanes.work_bottom], mode="lines",
                          line={"color": stage.scene.theme.stop, "width": 2.5})]
        for view in stage.views.all:
            traces += [view.trace(  # from the hook
                [*(stage.points[place] for place in person.line), person.point_m], mode="lines",
                name=f"tether {person.crew}",
                line={"color": stage.crew_inks[person.crew], "width": _TETHER_PX[number % 2]})
                for number, person in people]
            traces += [_hooks(moment, view, stage), *lying[view]]
            traces += [_person(person, number, moment, view, stage) for number, person in people]
        yield moment, traces


def frames(film: Sequence[Sequence[Trace]], places: Sequence[int], names: Sequence[str]) -> list[Trace]:
    """Plotly's frames: of the traces of each moment, at ``places`` in the figure, what changes in the film.

    Every frame has all of it, so that each can be jumped to from any other.
    """
    changing = [[part for part in _MOVING
                 if part in first and any(now[n][part] != first[part] for now in film)]
                for n, first in enumerate(film[0])]
    moved = [place for place, parts in zip(places, changing, strict=True) if parts]
    return [{"data": [{part: trace[part] for part in parts} | {"type": trace["type"]}
                      for trace, parts in zip(now, changing, strict=True) if parts],
             "name": name, "traces": moved}
            for name, now in zip(names, film, strict=True)]


def primer(film: Sequence[Sequence[Trace]], view: View, point: Point) -> Trace:
    """An unseen trace of every text that the film writes into the view in space.

    plotly.js 3 draws a text at half its size there when it was first seen in a change of the chart and not in
    its first drawing.
    """
    texts = {text for now in film for trace in now if trace["type"] == "scatter3d"
             for text in trace.get("text", ())}
    return view.trace([point] * len(texts), mode="text", name="primer", text=sorted(texts), opacity=0,
                      textfont={"size": 6})


def _ground(moment: Moment, theme: Theme) -> Trace:
    """The ground of all views, darker in the shadow."""
    fills = {"night": theme.night_shade, "penumbra": theme.lane}
    return scatter("ground", [0, 1, 1, 0], [0, 0, 1, 1], xaxis="x3", yaxis="y3", mode="lines", fill="toself",
                   line={"width": 0}, fillcolor=fills.get(moment.light.partition(" ")[0], CLEAR))


def _hooks(moment: Moment, view: View, stage: Stage) -> Trace:
    """A frame around the place of each hook, the second inside the first."""
    inks = [stage.crew_inks[person.crew] for person in moment.people]
    sizes = [(_SPACE_HOOK_PX if view.is_space else _HOOK_PX)[n % 2] for n in range(len(inks))]
    return view.trace([stage.points[person.hook] for person in moment.people], mode="markers", name="hooks",
                      marker={"symbol": "square-open", "size": sizes, "color": inks, "opacity": 1,
                              "line": {"width": 2, "color": inks}})


def _lying(stays: Sequence[Stay], kind: str, view: View, stage: Stage) -> Trace:
    """Bags or footholds that lie at places: marks beside the place, with names in the view in space.

    Marks at one place lie on each other: of many only the uppermost are drawn.
    """
    found = [stay for stay in stays if stay.kind == kind and stay.holder in stage.points and not stay.in_bag]
    look = {"mode": "text" if view.is_space else "markers", "name": f"{kind}s"}
    if view.is_space:
        firsts = list({stay.holder: stay for stay in reversed(found)}.values())
        count = Counter(stay.holder for stay in found)
        return view.trace([stage.points[stay.holder] for stay in firsts], **look,
                          text=[f"{GLYPHS[kind]} {plotly_text(stay.item, LONGEST_ITEM_ID)}"
                                + (f" +{count[stay.holder] - 1}" if count[stay.holder] > 1 else "")
                                for stay in firsts],
                          textposition="bottom right" if kind == "foothold" else "middle right",
                          textfont={"size": 11, "color": stage.scene.theme.ink})
    low, high = stage.views.range_of(view.up)
    step = abs(high - low) * _OFFSET_SHARE
    across, up = _OFFSETS[kind]
    found = _uppermost(found)
    return view.trace(
        [view.moved(stage.points[stay.holder], across * step, up * step) for stay in found], **look,
        hoverinfo="text", hovertext=[plotly_text(f"{stay.title} at {stay.holder}", 80) for stay in found],
        marker={"symbol": "triangle-up" if kind == "foothold" else "square", "size": 9, "opacity": 1,
                "color": stage.scene.theme.ink, "line": {"color": stage.scene.theme.paper, "width": 1}})


def _uppermost(found: Sequence[Stay]) -> list[Stay]:
    below = Counter(stay.holder for stay in found)
    kept = []
    for stay in found:
        below[stay.holder] -= 1
        if below[stay.holder] < _MOST_MARKS:
            kept.append(stay)
    return kept


def _person(person: Person, number: int, moment: Moment, view: View, stage: Stage) -> Trace:
    ink, name = stage.crew_inks[person.crew], plotly_text(person.crew, 8)
    carried = "".join(GLYPHS[stay.kind] for stay in moment.held_by(person.crew)
                      if stay.kind in GLYPHS and not stay.in_bag)
    return view.trace(
        [person.point_m], mode="markers+text", name=name,
        showlegend=view.is_keyed, text=[f"<b>{name}</b>" + (f" {carried}" if carried else "")],
        textposition=_PERSON_LABELS[number % 2],
        textfont={"size": 14 if view.is_space else 12, "color": ink},
        marker={"symbol": _PERSON_SYMBOLS[number % 2], "color": ink, "opacity": 1,
                "size": (_SPACE_PERSON_PX if view.is_space else _PERSON_PX)[number % 2],
                "line": {"color": stage.scene.theme.paper, "width": 1.5}})
