"""The lists of the pack: warnings, light, links, hardware, tethers, inhibits, margins, findings."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from planning_kit.explore.tightest import tightest_margins
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Hazard
from planning_kit.inputs.setting_records import SI
from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import Side, converted, gmt_label, moment_at, pet_label, pet_spans
from planning_kit.judge.acceptances import rulings_of
from planning_kit.plan.legs import route_caution
from planning_kit.plan.network import joined
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.hazard_wording import HazardWords, class_rank, controls_words, limit_words, title_of
from planning_kit.show.pack.content import Column, Row, Section, Table, percent, pet, table_of
from planning_kit.show.wording import NO_WAY, NOT_KNOWN, Names, OpenFindings, exceptions
from planning_kit.sky.orbit import Orbit, elements_age_note

_LONGEST_ABOUT = 24  # the finding itself names them all


def sky_section(plan: TimedPlan) -> Section:
    """When it is night and day, when each relay is in view, the periods from others, and the link needs."""
    note = elements_age_note(Orbit(plan.scenario.elements), plan.pet_zero)
    light = {f"{kind} {number}": [window] for kind in ("night", "day")
             for number, window in enumerate(getattr(plan.light, kind), start=1)}
    return Section("sky", "Light and links", (note,), (
        _windows(plan, light, "Light", "Night and day, to a little after the outing"),
        _windows(plan, plan.relays, "Links", "Relays in view", "No relays are given."),
        _windows(plan, plan.named_windows, "Periods", "Periods from others", "None are given."),
        table_of(plan.links, "Link needs", "Steps that need a link",
                 Column("Step", "step"), Column("Crew", "crew"), Column("Start PET", pet("start_min")),
                 Column("Covered, %", percent("share"), digits=0, side="down"),
                 Column("Without a link", "gaps", 2),
                 Column("Next full cover PET", pet("next_cover_min", "up"))),
    ))


def _windows(plan: TimedPlan, named: Mapping[str, Iterable[Sequence[float]]], sheet: str, caption: str,
             empty: str = "None.") -> Table:
    """By time; what begins within a revolution or so after the outing is still shown."""
    rows = [{"name": name, "begin_min": float(begin), "end_min": float(end)}
            for name, windows in named.items() for begin, end in windows if begin < plan.end_min + 60]

    def gmt(row: Row, name: str, side: Side) -> str:
        return gmt_label(moment_at(row[name], plan.pet_zero), side)

    return table_of(
        sorted(rows, key=lambda row: row["begin_min"]), sheet, caption, Column("Window", "name", 1.2),
        Column("Begins PET", pet("begin_min", "up"), 0.8),
        Column("Begins GMT", lambda row: gmt(row, "begin_min", "up")),
        Column("Ends PET", pet("end_min", "down"), 0.8),
        Column("Ends GMT", lambda row: gmt(row, "end_min", "down")),
        Column("Minutes", lambda row: row["end_min"] - row["begin_min"], 0.7, 1, "down"), empty=empty)


def hardware_section(plan: TimedPlan) -> Section:
    """Where each item ends, and every stay of every item."""
    names, kit = Names(plan), plan.kit_list
    item = (Column("Item", "item"), Column("Title", "title", 2.2), Column("Kind", "kind", 0.8))
    return Section("hardware", "Hardware", (), (
        table_of(kit, "Ends", "Where each item ends", *item, Column("Goes out with", "goes_out_with"),
                 Column("Ends", lambda row: names.where(row["ends"]), 2),
                 Column("Comes home with", "comes_back_with")),
        table_of(plan.custody, "Custody", "Who or what holds each item, over time", Column("Item", "item"),
                 Column("Title", "title", 2), _where(names), Column("In bag", "in_bag"), *_STAY),
    ))


_STAY = (Column("From PET", pet("from_min"), 0.7), Column("Until PET", pet("until_min"), 0.7),
         Column("By step", "by_step", 0.7))


def _where(names: Names) -> Column:
    return Column("Where", lambda row: names.where(row["holder"]), 2)


def holds_section(plan: TimedPlan) -> Section:
    """Tethers, inhibits and clocks."""
    clocks = table_of(
        plan.clocks, "Clocks", "Greatest gaps", Column("From step", "first_step"), Column("Its", "first_at"),
        Column("To step", "then_step"), Column("Its ", "then_at"),
        Column("At most, min", "max_gap", digits=1, side="down"),
        Column("Planned, min", "actual", digits=1, side="up"),
        Column("Left, min", "left", digits=1, side="down"),
        Column("Reason", "reason", 4))
    return Section("holds", "Tethers, inhibits, clocks", (), (_tethers(plan), _inhibits(plan), clocks))


def _inhibits(plan: TimedPlan) -> Table:
    """The list for the owners; a column in which nothing stands is left out."""
    rows = plan.inhibits

    def confirmed(row: Row) -> str:
        return f"{row['confirmed_by']}, {row['confirmed']}" if row["confirmed_by"] else ""

    def filled(*columns: tuple[str, str, float]) -> list[Column]:
        return [Column(label, confirmed if name == "confirmed_by" else name, share)
                for label, name, share in columns if rows[name].any()]

    ends = [(f"{crew} {end} PET", f"{crew}_{end}", 0.6)
            for crew in plan.travels for end in ("enters", "leaves")]
    return table_of(
        rows, "Inhibits", "Inhibits, by when they must be in force",
        Column("Inhibit", "inhibit", 0.8), Column("Title", "title", 1.8), Column("Owner", "owner", 1.3),
        Column("Set by PET", "set_by", 0.6), Column("Set by GMT", "set_by_gmt", 0.9),
        *filled(("Safe from PET", "safe_from", 0.6), ("Confirmed by, PET", "confirmed_by", 0.9), *ends),
        Column("Lift after PET", "lift_after", 0.6), Column("Lift after GMT", "lift_after_gmt", 0.9),
        *filled(("Back from PET", "restored", 0.6)), Column("Held, min", "hold_min", 0.5, 0, "up"),
        Column("Overlaps", "overlaps", 0.9), Column("Reason", "reason", 2))


def _tethers(plan: TimedPlan) -> Table:
    """A row a hook: how long it holds, and the greatest reach meanwhile."""
    names, rows = Names(plan), []
    for crew in plan.travels:
        own = plan.tethers[plan.tethers["crew"] == crew]
        for _, stay in own.groupby((own["hook"] != own["hook"].shift()).cumsum()):
            # With a reach that is not known the greatest is not known: such a row comes first.
            worst = stay.sort_values("reach_m", ascending=False, kind="stable",
                                     na_position="first").to_dict("records")[0]
            rows.append({**worst, "from_min": stay["from_min"].iloc[0],
                         "until_min": stay["until_min"].iloc[-1]})
    return table_of(
        sorted(rows, key=lambda row: (row["from_min"], row["crew"])), "Tethers",
        "Where each tether is hooked, and its greatest reach", Column("Crew", "crew", 0.5),
        Column("Hook at", lambda row: names.title(row["hook"]), 2), Column("From PET", pet("from_min"), 0.8),
        Column("Until PET", pet("until_min"), 0.8),
        Column("Greatest reach, m", "reach_m", digits=1, side="up"),
        Column("At", lambda row: names.title(row["to_place"] or row["place"]), 2),
        Column("Tether, m", "tether_m", digits=1, side="down"),
        Column("Margin, m", "margin_m", digits=1, side="down"),
        *([] if plan.scenario.settings.units == SI else [
            _feet("reach", "up"), _feet("tether", "down"), _feet("margin", "down")]))


def _feet(name: str, side: Side) -> Column:
    return Column(f"{name.title()}, ft", lambda row: row[f"{name}_m"] / converted(1.0, "ft", "m"),
                  digits=1, side=side)


_STORE_SIDES: tuple[tuple[str, Side], ...] = (
    ("usable", "down"), ("used", "up"), ("left", "down"), ("reserve", "up"))


def _or_no_way(column: str) -> Callable[[Row], object]:
    return lambda row: (NOT_KNOWN if math.isnan(row[column]) else
                        NO_WAY if math.isinf(row[column]) else row[column])


def margins_section(plan: TimedPlan) -> Section:
    """What is left in each suit at the end, and the worst point of each way back."""
    names, broken = Names(plan), {(each.crew, each.case) for each in plan.return_breaches}
    words = tuple(f"Exception, no time to turn back by: {crew}, {words}."
                  for crew in plan.travels for words in exceptions(plan, crew))

    def turn_back(row: Row) -> str:
        is_broken = (row["crew"], row["case"]) in broken
        return "exception" if is_broken else (
            NOT_KNOWN if math.isnan(row["turn_back_by_min"]) else pet_label(row["turn_back_by_min"], "down"))

    return Section("margins", "Suit and return margins", words, (
        table_of(plan.suit_summary, "Suits", "Consumables at the end of the outing",
                 Column("Crew", "crew", 0.6), Column("Consumable", lambda row: WORDS[row["consumable"]], 1.4),
                 Column("Unit", "unit", 0.6), *(
                     Column(name.capitalize(), name, digits=1, side=side) for name, side in _STORE_SIDES),
                 Column("Over reserve", "margin", digits=1, side="down"),
                 Column("Runs out PET", pet("runs_out_min", "down")),
                 Column("Runs out", lambda row: "first" if row["first"] else "", 0.8)),
        table_of(plan.return_summary, "Ways back", "The worst point of each way back",
                 Column("Crew", "crew", 0.6), Column("Case", "case", 2.2),
                 Column("Least margin, min", _or_no_way("margin_min"), digits=1, side="down"),
                 Column("At PET", pet("at_min"), 0.8),
                 Column("Place", lambda row: names.title(row["place"]), 1.8),
                 Column("Time back, min", _or_no_way("time_back_min"), digits=1, side="up"),
                 Column("Turn back by PET", turn_back),
                 Column("Could stay, min", "stay_min", digits=1, side="down")),
    ))


_MOST_TIGHTEST = 10


def tightest_section(plan: TimedPlan) -> Section:
    """The margins that are likeliest to be missed, and what is lost by that; the sheet has all of them."""
    names = Names(plan)
    table = table_of(
        [{**vars(each), "lost": each.lost, "is_cliff": each.is_cliff} for each in tightest_margins(plan)],
        "Tightest", f"The {_MOST_TIGHTEST} tightest; the sheet of this name has all",
        Column("Left", "margin", 0.6, 1, "down"), Column("Unit", "unit", 0.4),
        Column("What is lost by missing it", "lost", 4), Column("Step", "step", 0.5),
        Column("Crew", lambda row: names.who(row["crew"]) if row["crew"] else "", 0.8),
        Column("PET", lambda row: _pet(row["at_min"], "down"), 0.5),
        Column("Missed, % of samples", percent("p_missed"), 0.8, 1, "up"),
        Column("Cliff", lambda row: "yes" if row["is_cliff"] else "", 0.5))
    words = ("What is likeliest to be missed in 1,000 samples stands first; where these say nothing the "
             "cell is empty. A cliff: a minute beyond what is left costs more than a minute at the end.",)
    return Section("tightest", "Tightest margins", words, (
        replace(table, rows=table.rows[:_MOST_TIGHTEST], more=table.rows[_MOST_TIGHTEST:]),))


def findings_section(plan: TimedPlan) -> Section:
    """Every finding with its source; what is open must be accepted by someone or planned away."""
    found = OpenFindings(plan)
    words = (f"Open: {found.counted}. A stop cannot be flown so; a concern someone must accept; a remark is "
             "to be known. The procedure and the pocket sheets point to stops and concerns by their number.",)
    return Section("findings", "Findings and open concerns", words, (table_of(
        [{**vars(each), "number": number} for number, each in enumerate(found.findings, start=1)],
        "Findings", "Findings, worst first", Column("Severity", "severity", 0.7),
        Column("No.", "number", 0.4, 0), Column("Check", "check", 0.8), Column("Crew", "crew", 0.6),
        Column("Step", "step", 0.5), Column("Rule", "rule", 0.8),
        Column("About", lambda row: shortened(row["about"], _LONGEST_ABOUT), 0.8),
        Column("PET", lambda row: _pet(row["start_min"], "down"), 0.5), Column("Finding", "message", 5),
        Column("Source", "source", 1.2), Column("Accepted by", "accepted", 1.4),
        empty="No check found anything."),))


def acceptances_section(plan: TimedPlan) -> Section:
    """What has been accepted: by whom, why, when, at which numbers, and whether that holds."""
    try:
        rulings = rulings_of(plan)
    except ScenarioError as error:
        return Section("accepted", "Accepted findings", (f"accepted.csv cannot be read: {error.words}",))
    return Section("accepted", "Accepted findings", (
        "An acceptance holds while the margin is not worse and the limit not looser than the accepted ones; "
        "the severity stays. No signature: a record.",), (table_of(
            [{**vars(each.acceptance), "state": each.state} for each in rulings],
            "Accepted", "What has been accepted beside the scenario", Column("Rule", "rule", 1.6),
            Column("About", lambda row: shortened(row["about"], _LONGEST_ABOUT), 0.8),
            Column("Crew", "crew", 0.6), Column("Step", "step", 0.6), Column("Value", "value", 0.6, 2),
            Column("Limit", "limit", 0.6, 2), Column("By", "by"), Column("Why", "why", 3),
            Column("Date", "date"), Column("State", "state", 2), empty="Nothing has been accepted."),))


def _pet(value: float, side: Side = "nearest") -> str:
    return "" if pd.isna(value) else pet_label(value, side)


_CAUTION_WORDS = (
    "A warning is about what can injure, a caution about what can damage hardware, a note is to be known. "
    "What no table says is not here.")


def cautions_section(plan: TimedPlan) -> Section:
    """Warnings first, then cautions, then notes: hazards, then the texts of places, routes and steps."""
    return Section("warnings", "Warnings, cautions, notes", (_CAUTION_WORDS,), (_hazards(plan), _texts(plan)))


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
    rows = sorted(_caution_texts(plan), key=lambda row: (class_rank(row["class"]), row["place"]))
    return table_of(
        [{**row, "class": row["class"].upper()} for row in rows if row["words"]], "Warnings",
        "Warnings, cautions and notes of places, routes and steps, by class and place",
        Column("Class", "class", 0.8), Column("Place", "title", 1.8), Column("Of", "of", 2.2),
        Column("What it says", "words", 5))


def _caution_texts(plan: TimedPlan) -> Iterator[Row]:
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
    for action in records.actions:
        class_, _, words = action.warning.partition(":")
        if words.strip():
            yield row(class_.strip().lower(), names.steps[action.step].place, f"action {action.name}", words)


def all_lists(plan: TimedPlan) -> tuple[Section, ...]:
    """The sections of this module, in the order of the pack."""
    return (sky_section(plan), hardware_section(plan), holds_section(plan), margins_section(plan),
            findings_section(plan), acceptances_section(plan))
