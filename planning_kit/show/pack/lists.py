"""The lists of the pack: light and links, hardware, footholds, tethers, inhibits, margins, findings."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from planning_kit.inputs.shown_text import shortened
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.pack.content import Cell, Column, Section, Table, cell_of
from planning_kit.show.wording import Names, OpenFindings
from planning_kit.sky.orbit import Orbit, elements_age_note

_LONGEST_ABOUT = 24  # the finding itself names them all


def sky_section(plan: TimedPlan) -> Section:
    """When it is night and day, when each relay is in view, the periods from others, and the link needs."""
    note = elements_age_note(Orbit(plan.scenario.elements), plan.egress)
    columns = (Column("Window", share=1.2), Column("Begins PET", share=0.8), Column("Begins GMT"),
               Column("Ends PET", share=0.8), Column("Ends GMT"), Column("Minutes", 1, 0.7))
    kinds = [("night", plan.light.night), ("day", plan.light.day)]
    light = _windows(plan, [(f"{name} {number}", begin, end) for name, windows in kinds
                            for number, (begin, end) in enumerate(windows, start=1)])
    links = _windows(plan, [(relay, begin, end) for relay, windows in plan.relays.items()
                            for begin, end in windows])
    named = _windows(plan, [(name, begin, end) for name, windows in plan.named_windows.items()
                            for begin, end in windows])
    needs = [(row["step"], row["crew"], pet_label(row["start_min"]), 100 * row["share"], row["gaps"],
              pet_label(row["next_cover_min"])) for row in plan.links.to_dict("records")]
    need_columns = (Column("Step"), Column("Crew"), Column("Start PET"), Column("Covered, %", 0),
                    Column("Without a link", share=2), Column("Next full cover PET"))
    return Section("sky", "Light and links", (note,), (
        Table("Light", "Night and day, to a little after the outing", columns, light),
        Table("Links", "Relays in view", columns, links, "No relays are given."),
        Table("Periods", "Periods from others", columns, named, "None are given."),
        Table("Link needs", "Steps that need a link", need_columns, tuple(needs)),
    ))


def _windows(plan: TimedPlan, rows: list[tuple[str, float, float]]) -> tuple[tuple[Cell, ...], ...]:
    """By time; what begins within a revolution or so after the outing is still shown."""
    until = plan.end_min + 60
    return tuple(
        (name, pet_label(begin), gmt_label(moment_at(float(begin), plan.egress)), pet_label(end),
         gmt_label(moment_at(float(end), plan.egress)), float(end - begin))
        for name, begin, end in sorted(rows, key=lambda row: row[1]) if begin < until)


def hardware_section(plan: TimedPlan) -> Section:
    """Hardware by person and by bag, out and home; then every stay of every item."""
    names, kit = Names(plan), plan.kit_list
    item = (Column("Item", share=1), Column("Title", share=2.2), Column("Kind", share=0.8))
    people = [(crew, way, row["item"], row["title"], row["kind"], row["in_bag"] if way == "out" else "",
               _pet(row[f"{way}_min"]), row[f"{way}_step"])
              for crew in plan.travels
              for way, column in (("out", "goes_out_with"), ("home", "comes_back_with"))
              for row in kit[kit[column] == crew].to_dict("records")]
    ends = [(row["item"], row["title"], row["kind"], row["goes_out_with"], names.where(row["ends"]),
             row["comes_back_with"]) for row in kit.to_dict("records")]
    stays = [(row["item"], row["title"], names.where(row["holder"]), row["in_bag"],
              pet_label(row["from_min"]), pet_label(row["until_min"]), row["by_step"])
             for row in plan.custody.to_dict("records")]
    return Section("hardware", "Hardware", (), (
        Table("By person", "What each takes out and brings home",
              (Column("Crew", share=0.5), Column("Way", share=0.6), *item, Column("In bag"),
               Column("Out from, home until PET", share=1), Column("By step", share=0.7)), tuple(people)),
        Table("By bag", "What is in each bag at PET 0 and at the end",
              (Column("Bag"), Column("Title", share=2), Column("When", share=0.8), *item), _bags(plan)),
        Table("Ends", "Where each item ends",
              (*item, Column("Goes out with"), Column("Ends", share=2), Column("Comes home with")),
              tuple(ends)),
        Table("Custody", "Who or what holds each item, over time",
              (Column("Item", share=1), Column("Title", share=2), Column("Where", share=2), Column("In bag"),
               Column("From PET", share=0.7), Column("Until PET", share=0.7), Column("By step", share=0.7)),
              tuple(stays)),
    ))


def _bags(plan: TimedPlan) -> tuple[tuple[Cell, ...], ...]:
    custody, rows = plan.custody, []
    titles = {item.item: item.title for item in plan.scenario.records.hardware}
    by_item = custody.groupby("item", sort=False)
    for bag in (item.item for item in plan.scenario.records.hardware if item.kind == "bag"):
        for when, stays in (("at PET 0", by_item.head(1)), ("at the end", by_item.tail(1))):
            inside = stays[stays["in_bag"] == bag].to_dict("records")
            rows += [(bag, titles[bag], when, row["item"], row["title"], row["kind"]) for row in inside]
            if not inside:
                rows.append((bag, titles[bag], when, "", "empty", ""))
    return tuple(rows)


def holds_section(plan: TimedPlan) -> Section:
    """Footholds, tethers, inhibits, clocks, and the cautions of places and routes."""
    return Section("holds", "Footholds, tethers, inhibits, clocks", (), (
        _footholds(plan), _tethers(plan), _inhibits(plan), _clocks(plan), _cautions(plan)))


def _footholds(plan: TimedPlan) -> Table:
    names = Names(plan)
    used: dict[tuple[str, str], list[str]] = {}
    for step in plan.steps:
        if step.foothold:
            used.setdefault((step.foothold, step.place), []).append(step.step)
    stays = plan.custody[plan.custody["kind"] == "foothold"].to_dict("records")
    rows = tuple((row["item"], row["title"], names.where(row["holder"]), pet_label(row["from_min"]),
                  pet_label(row["until_min"]), row["by_step"],
                  " ".join(used.get((row["item"], row["holder"]), []))) for row in stays)
    columns = (Column("Foothold"), Column("Title", share=2), Column("Where", share=2),
               Column("From PET", share=0.7), Column("Until PET", share=0.7), Column("By step", share=0.7),
               Column("Steps in it there", share=2))
    return Table("Footholds", "Where each foothold is", columns, rows)


def _tethers(plan: TimedPlan) -> Table:
    """A row a hook: how long it holds, and the greatest reach meanwhile."""
    names, rows = Names(plan), []
    for crew in plan.travels:
        own = plan.tethers[plan.tethers["crew"] == crew]
        for _, stay in own.groupby((own["hook"] != own["hook"].shift()).cumsum()):
            worst = stay.loc[[stay["reach_m"].idxmax()]].to_dict("records")[0]
            place = worst["to_place"] or worst["place"]
            rows.append((float(stay["from_min"].iloc[0]), (
                crew, names.title(worst["hook"]), pet_label(stay["from_min"].iloc[0]),
                pet_label(stay["until_min"].iloc[-1]), cell_of(worst["reach_m"]), names.title(place),
                cell_of(worst["tether_m"]), cell_of(worst["margin_m"]))))
    columns = (Column("Crew", share=0.5), Column("Hook at", share=2), Column("From PET", share=0.8),
               Column("Until PET", share=0.8), Column("Greatest reach, m", 1), Column("At", share=2),
               Column("Tether, m", 1), Column("Margin, m", 1))
    return Table("Tethers", "Where each tether is hooked, and its greatest reach", columns,
                 tuple(row for _, row in sorted(rows, key=lambda entry: (entry[0], entry[1][0]))))


def _inhibits(plan: TimedPlan) -> Table:
    rows = tuple((row["inhibit"], row["title"], row["owner"], row["set_by"], row["set_by_gmt"],
                  row["lift_after"], row["lift_after_gmt"], row["hold_min"], row["overlaps"], row["reason"])
                 for row in plan.inhibits.to_dict("records"))
    columns = (Column("Inhibit", share=0.8), Column("Title", share=1.8), Column("Owner", share=1.3),
               Column("Set by PET", share=0.7), Column("Set by GMT"), Column("Lift after PET", share=0.7),
               Column("Lift after GMT"), Column("Held, min", 0, 0.6), Column("Overlaps", share=0.9),
               Column("Reason", share=2))
    return Table("Inhibits", "Inhibits, by when they must be in force", columns, rows)


def _clocks(plan: TimedPlan) -> Table:
    rows = tuple((row["first_step"], row["first_at"], row["then_step"], row["then_at"],
                  cell_of(row["max_gap"]), cell_of(row["actual"]), cell_of(row["left"]), row["reason"])
                 for row in plan.clocks.to_dict("records"))
    columns = (Column("From step"), Column("Its"), Column("To step"), Column("Its "),
               Column("At most, min", 1), Column("Planned, min", 1), Column("Left, min", 1),
               Column("Reason", share=4))
    return Table("Clocks", "Greatest gaps", columns, rows)


def _cautions(plan: TimedPlan) -> Table:
    names = Names(plan)
    rows = tuple((pet_label(row["at_min"]), row["crew"], names.title(row["place"]),
                  names.title(row["to_place"]) if row["to_place"] else "", row["step"], row["caution"])
                 for row in plan.cautions_on_the_way.to_dict("records"))
    columns = (Column("PET", share=0.5), Column("Crew", share=0.5), Column("At or from", share=1.6),
               Column("To", share=1.6), Column("Step", share=0.6), Column("Caution", share=4))
    return Table("Cautions", "Cautions of places and routes, as the crew meets them", columns, rows)


def margins_section(plan: TimedPlan) -> Section:
    """What is left in each suit at the end, and the worst point of each way back."""
    names = Names(plan)
    suits = tuple((row["crew"], WORDS[row["consumable"]], row["unit"],
                   *(cell_of(row[name]) for name in ("usable", "used", "left", "reserve", "margin")),
                   pet_label(row["runs_out_min"]), "first" if row["first"] else "")
                  for row in plan.suit_summary.to_dict("records"))
    ways = tuple((row["crew"], row["case"], cell_of(row["margin_min"]), pet_label(row["at_min"]),
                  names.title(row["place"]), cell_of(row["time_back_min"]),
                  pet_label(row["turn_back_by_min"]), cell_of(row["stay_min"]))
                 for row in plan.return_summary.to_dict("records"))
    return Section("margins", "Suit and return margins", (), (
        Table("Suits", "Consumables at the end of the outing",
              (Column("Crew", share=0.6), Column("Consumable", share=1.4), Column("Unit", share=0.6),
               *(Column(label, 1) for label in ("Usable", "Used", "Left", "Reserve", "Over reserve")),
               Column("Runs out PET"), Column("Runs out", share=0.8)), suits),
        Table("Ways back", "The worst point of each way back",
              (Column("Crew", share=0.6), Column("Case", share=2.2), Column("Least margin, min", 1),
               Column("At PET", share=0.8), Column("Place", share=1.8), Column("Time back, min", 1),
               Column("Turn back by PET"), Column("Could stay, min", 1)), ways),
    ))


def findings_section(plan: TimedPlan) -> Section:
    """Every finding with its source; what is open must be accepted by someone or planned away."""
    found = OpenFindings(plan)
    words = (f"Open: {found.counted}. A stop cannot be flown so; a concern someone must accept; a remark is "
             "to be known. The procedure and the pocket sheets point to stops and concerns by their number.",)
    rows = tuple((row["severity"], number, row["check"], row["crew"], row["step"], row["rule"],
                  shortened(row["about"], _LONGEST_ABOUT), _pet(row["start_min"]), row["message"],
                  row["source"], "")
                 for number, row in enumerate(found.rows, start=1))
    columns = (Column("Severity", share=0.7), Column("No.", 0, 0.4), Column("Check", share=0.8),
               Column("Crew", share=0.6), Column("Step", share=0.5), Column("Rule", share=0.8),
               Column("About", share=0.8), Column("PET", share=0.5), Column("Finding", share=5),
               Column("Source", share=1.2), Column("Accepted by", share=1))
    return Section("findings", "Findings and open concerns", words, (
        Table("Findings", "Findings, worst first", columns, rows, "No check found anything."),))


def _pet(value: float) -> str:
    return "" if pd.isna(value) else pet_label(value)


def all_lists(plan: TimedPlan) -> Iterator[Section]:
    """The sections of this module, in the order of the pack."""
    yield sky_section(plan)
    yield hardware_section(plan)
    yield holds_section(plan)
    yield margins_section(plan)
    yield findings_section(plan)
