"""One minute in words beside its picture: light, links, inhibits, and what each does, holds and must mind."""

from collections.abc import Iterator, Mapping, Sequence
from math import isfinite, isnan

from planning_kit.inputs.records import Route
from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.station_records import MODEL
from planning_kit.inputs.times import measure, number_label, pet_label
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.findings import Finding, findings_in
from planning_kit.plan.activities import WORK
from planning_kit.plan.moments import Moment, Person, Stay
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.chart_rows import finding_lanes, finding_minute, rows_of, work_by_step
from planning_kit.show.hazard_wording import caution_words, class_rank, hazard_line
from planning_kit.show.wording import Names, counted, exceptions_at

_SKY_WORDS = {"night": "Shadow", "day": "Sun", "penumbra": "Penumbra"}
_LYING = ("foothold", "bag")
_LONGEST_FINDING = 120


def moment_lines(plan: TimedPlan, moment: Moment) -> list[tuple[str, str]]:
    """All of it, a line each as plain text, with the crew member that it is about ("" for everybody).

    Of a crew member what must not be cut off comes first after what they do.
    """
    records, names = plan.scenario.records, Names(plan)
    titles = {place.place: place.title for place in records.places}
    told = [(line, "") for line in _sky_lines(plan, moment)]
    for person in moment.people:
        told += [(line, person.crew) for line in _person_lines(plan, person, moment, titles)]
    lying = [f"{names.item(stay.item)} {names.where(stay.holder)}" for stay in moment.stays
             if stay.kind in _LYING and stay.holder in titles and not stay.in_bag]
    told += [(f"Lying: {'; '.join(lying)}.", "")] if lying else []
    return [*told, *((line, "") for line in drawn_as_boxes(plan))]


def drawn_as_boxes(plan: TimedPlan) -> list[str]:
    """What is told of bodies that a picture without a browser draws otherwise than they are."""
    bodies = plan.scenario.records.bodies
    models = [one_line(body.title or body.body) for body in bodies if body.kind == MODEL]
    return [f"Drawn as the box around it: {', '.join(models)}."] if models else []


def _sky_lines(plan: TimedPlan, moment: Moment) -> Iterator[str]:
    """The light and until when, links, what others do, inhibits in force."""
    kind = moment.light.partition(" ")[0]
    until = f" until {pet_label(moment.light_until_min, 'down')}" if isfinite(moment.light_until_min) else ""
    name = "" if kind == "penumbra" else f" ({moment.light})"
    yield f"{_SKY_WORDS[kind]}{name}{until}." if kind else "Light not known."
    if plan.relays:
        yield f"In view: {', '.join(moment.in_view)}." if moment.in_view else "No relay in view."
    yield from (f"{one_line(other.crew)}: {one_line(other.step)} {one_line(other.title)}."
                for other in moment.others)
    for hold in moment.inhibits:
        owner = f", {one_line(hold.owner)}" if hold.owner else ""
        yield (f"{one_line(hold.inhibit)} in force until {pet_label(hold.lift_after_min, 'up')}: "
               f"{one_line(hold.title)}{owner}.")
    if not moment.inhibits:
        yield "No inhibit in force."


def _person_lines(plan: TimedPlan, person: Person, moment: Moment,
                  titles: Mapping[str, str]) -> Iterator[str]:
    doing, at_min = person.doing, moment.at_min
    found = _findings_now(plan, person, at_min)
    yield (f"{person.crew}, {doing.kind} until {pet_label(doing.finish_min)}"
           f"{f', {counted(found)}' if found else ''}:")
    yield f"{' '.join(part for part in (doing.step, one_line(doing.title)) if part)}."
    yield _where(person, titles)
    yield _hands(moment.held_by(person.crew))
    whole = "" if person.tether_m is None else f" of {person.tether_m:g}"
    reach = f"{number_label(person.reach_m, 'up')}{whole}"
    yield f"Tether hooked at {person.hook}, " + (
        "how far out is not known." if isnan(person.reach_m) else
        f"{measure(person.reach_m, 'm', plan.scenario.settings, 'up', reach)} out.")
    yield from _to_mind(plan, person, at_min)
    yield from (f"{finding.severity.upper()} {finding.check}: {shortened(finding.words, _LONGEST_FINDING)}"
                for finding in found)


def _where(person: Person, titles: Mapping[str, str]) -> str:
    place = titles.get(person.place) or person.place
    if not person.is_known:
        return f"Place not known, drawn as if from {place}."
    if person.route is None:
        return f"At {place} ({person.place})."
    kind = route_kind(person.route)
    return (f"From {place} to {titles.get(person.to_place) or person.to_place}"
            f"{f', {kind} route' if kind else ''}.")


def route_kind(route: Route) -> str:
    """``tight``, ``snag``, ``tight and snag``, or "" for neither."""
    return " and ".join(word for word, is_set in (("tight", route.tight), ("snag", route.snag)) if is_set)


def _hands(stays: Sequence[Stay]) -> str:
    """What is in hand, contents of bags in brackets."""
    held = []
    for stay in (stay for stay in stays if not stay.in_bag):
        inside = [one_line(other.item) for other in stays if other.in_bag == stay.item]
        held.append(one_line(stay.item) + (f" [{', '.join(inside)}]" if inside else ""))
    return f"Holds {', '.join(held)}." if held else "Hands empty."


def _to_mind(plan: TimedPlan, person: Person, at_min: float) -> Iterator[str]:
    """Hazards that somebody is inside, worst first, missing ways home, cautions of place, way and step."""
    inside = [each for each in plan.tracked_exposures
              if each.crew == person.crew and each.from_min <= at_min <= each.until_min]
    told = []
    for each in sorted(inside, key=lambda each: class_rank(each.hazard.class_)):
        is_open = each.hazard.controls and any(begin <= at_min <= end for begin, end in each.open_spans)
        told.append(f"Inside{' WITHOUT A CONTROL' if is_open else ''}, {each.hazard.class_.upper()}: "
                    f"{hazard_line(each.hazard)}.")
    yield from dict.fromkeys(told)
    yield from exceptions_at(plan, person.crew, at_min)
    records, route = plan.scenario.records, person.route
    minded = [(place.caution_class, place.caution) for place in records.places
              if place.place == person.place and route is None]
    minded += [(route.caution_class, route.caution)] if route else []
    minded += [(step.caution_class, step.caution) for step in records.steps
               if step.step == person.doing.step and person.doing.kind == WORK]
    yield from dict.fromkeys(filter(None, (caution_words(*each) for each in minded)))


def _findings_now(plan: TimedPlan, person: Person, at_min: float) -> list[Finding]:
    """Those of the step under way that are about this crew member; told once their time has come."""
    work = work_by_step(rows_of(plan))
    return [each for each in findings_in(told_findings(plan))
            if each.step and each.step == person.doing.step
            and person.crew in finding_lanes(each, work, plan.lanes)
            and finding_minute(each, work) <= at_min + 0.5]
