"""Warnings, cautions and notes by class and place: hazards, and what the tables say of places and steps."""

from __future__ import annotations

from collections.abc import Iterator

from planning_kit.inputs.records import Hazard
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import pet_spans
from planning_kit.plan.legs import route_caution
from planning_kit.plan.network import joined
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.hazard_wording import HazardWords, class_rank, controls_words, limit_words, title_of
from planning_kit.show.pack.content import Column, Row, Section, Table, table_of
from planning_kit.show.wording import Names

_WORDS = ("A warning is about what can injure, a caution about what can damage hardware, a note is to be "
          "known. What no table says is not here.")


def cautions_section(plan: TimedPlan) -> Section:
    """Warnings first, then cautions, then notes: hazards, then the texts of places, routes and steps."""
    return Section("warnings", "Warnings, cautions, notes", (_WORDS,), (_hazards(plan), _texts(plan)))


def _hazards(plan: TimedPlan) -> Table:
    records = plan.scenario.records
    words = HazardWords(records)
    rows = [{"class": each.class_.upper(), "hazard": each.hazard, "title": title_of(each),
             "where": words.where(each), "when": words.when(each), "limit": limit_words(each),
             "kind": one_line(each.kind), "controls": controls_words(each) or "none",
             "inside": _inside(plan, each), "source": each.source}
            for each in sorted(records.hazards, key=lambda each: class_rank(each.class_))]
    return table_of(
        rows, "Hazards", "Hazards, and when the crew is inside while they are there",
        Column("Class", "class", 0.8), Column("Hazard", "hazard", 0.7), Column("Title", "title", 1.6),
        Column("Where", "where", 1.6), Column("There", "when", 1.5), Column("Limit", "limit", 1.1),
        Column("Controlled by", "controls", 1.1), Column("Inside, PET", "inside", 1.3),
        Column("Source", "source", 1.2), empty="No hazard is given: that is not to say that there is none.")


def _inside(plan: TimedPlan, hazard: Hazard) -> str:
    """Of each crew member the stretches inside, and those without a control, none shorter than it is."""
    told = []
    for crew in plan.travels:
        met = [each for each in plan.tracked_exposures  # by minute
               if (each.hazard.hazard, each.crew) == (hazard.hazard, crew)]
        if met:
            words = f"{crew} {pet_spans(*joined((each.from_min, each.until_min) for each in met))}"
            opened = [span for each in met for span in each.open_spans]
            if hazard.controls and opened:
                words += f", WITHOUT A CONTROL {pet_spans(*joined(opened))}"
            told.append(words)
    return "; ".join(told) or "nobody"


def _texts(plan: TimedPlan) -> Table:
    rows = sorted(_rows(plan), key=lambda row: (class_rank(row["class"]), row["place"]))
    return table_of(
        [{**row, "class": row["class"].upper()} for row in rows if row["words"]], "Warnings",
        "Warnings, cautions and notes of places, routes and steps, by class and place",
        Column("Class", "class", 0.8), Column("Place", "title", 1.8), Column("Of", "of", 2.2),
        Column("What it says", "words", 5))


def _rows(plan: TimedPlan) -> Iterator[Row]:
    """Every text with its class, its place by number, and what it is of."""
    records, names = plan.scenario.records, Names(plan)
    number = {place.place: position for position, place in enumerate(records.places)} | {"": -1}

    def row(class_: str, place: str, of: str, words: str) -> Row:
        return {"class": class_, "place": number[place], "title": names.title(place), "of": of,
                "words": words}

    for place in records.places:
        yield row(place.caution_class, place.place, "the place", place.caution)
    for route in records.routes:
        yield row(route.caution_class, route.from_place, f"the way to {names.title(route.to_place)}",
                  route_caution(route))
    for step in records.steps:
        yield row(step.caution_class, step.place, f"step {names.step(step.step)}", step.caution)
