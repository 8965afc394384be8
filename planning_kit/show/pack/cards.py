"""What hangs where before anybody goes out, and what is done when something goes wrong."""

from collections.abc import Iterator
from typing import Any

from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.pack.content import Column, Rich, Row, Section, Table, table_of
from planning_kit.show.procedure_words import response_lines
from planning_kit.show.wording import Names

_NAMES = {"call": "CALL", "first": "First", "partner": "Partner", "decide": "Decide", "takes": "Takes",
          "leaves": "Leaves", "source": "Source"}


def responses_section(plan: TimedPlan) -> Section:
    """Every response: its trigger, the call, first actions, who goes with whom. The words are the scenario's."""
    rows = []
    for each in plan.scenario.records.responses:
        users = [action.name for action in plan.scenario.records.actions if action.if_not == each.response]
        named = [*([one_line(each.trigger).capitalize()] if each.trigger else []),
                 *([f"at {', '.join(users)}"] if users else [])]
        told = [(name, words) for name, words in response_lines(each) if words]
        rows.append((Rich((*named, each.response) if named else (each.response,)),
                     Rich(tuple(f"{_NAMES[name]}: {words}" for name, words in told),
                          tuple("strong" if name == "call" else "" for name, _ in told))))
    return Section("responses", "Responses", (
        "What is called and done first when something goes wrong; each is the scenario's, with its source.",), (
            Table("Responses", "Responses, by what sets them off",
                  (Column("What", share=2), Column("Response", share=5)), tuple(rows),
                  empty="No response is given: that is not to say that none is needed.", size=8),))


def configuration_section(plan: TimedPlan) -> Section:
    """For each person and bag: what hangs where, its setting, the order through the hatch, what comes home."""
    names, kit = Names(plan), plan.kit_list.to_dict("records")
    items = {each.item: each for each in plan.scenario.records.hardware}
    settings = _settings(plan)

    def told(row: Row) -> dict[str, Any]:
        item = items[row["item"]]
        return {**row, "slots": item.slots, "mass": item.mass_kg, "setting": settings.get(item.item, ""),
                "tick": Rich(("",), ("tick",))}

    item = (Column("Item", "item"), Column("Title", "title", 2.2), Column("Slots", "slots", 0.5, 0, "up"),
            Column("Mass, kg", "mass", 0.6, 1, "up"), Column("Setting", "setting", 1.3), Column("There", "tick", 0.4))
    tables = []
    for crew in plan.travels:
        out = sorted((row for row in kit if row["goes_out_with"] == crew), key=lambda row: row["out_min"])
        home = [names.item(row["item"]) for row in kit if row["comes_back_with"] == crew]
        tables.append(table_of(
            [{**told(row), "order": number, "hangs": names.item(row["in_bag"]) if row["in_bag"] else f"on {crew}",
              "pet": pet_label(row["out_min"])} for number, row in enumerate(out, start=1)],
            f"{crew} takes", f"{crew}: through the hatch in this order; comes home with: "
            f"{'; '.join(home) or 'nothing'}",
            Column("Order", "order", 0.5, 0), Column("PET", "pet", 0.5), Column("Hangs", "hangs", 1.6), *item,
            empty="Takes nothing out."))
    for bag in (each for each in plan.scenario.records.hardware if each.kind == "bag"):
        inside = [told(row) | {"when": when} for when, row in _in_bag(plan, bag.item)]
        tables.append(table_of(inside, f"In {bag.item}", f"{names.item(bag.item)}: in it at PET 0 and at the end",
                               Column("When", "when", 0.8), *item, empty="Empty at PET 0 and at the end."))
    order = [f"{crew} {pet_label(at)}" for at, crew in sorted(_first_hooks(plan))]
    words = [f"Through the hatch, by when their own tethers are hooked outside: {', then '.join(order)}."
             ] if order else []
    return Section("configuration", "Configuration of persons and bags", (
        *words, "A setting is the first that an action needs; what a tool is set to at PET 0 is not known: set it "
        "inside."), tuple(tables))


def _in_bag(plan: TimedPlan, bag: str) -> Iterator[tuple[str, Row]]:
    by_item = plan.custody.groupby("item", sort=False)
    for when, stays in (("at PET 0", by_item.head(1)), ("at the end", by_item.tail(1))):
        for row in stays[stays["in_bag"] == bag].to_dict("records"):
            yield when, row


def _settings(plan: TimedPlan) -> dict[str, str]:
    """Tool to the first setting that an action of the plan needs, or sets it to."""
    found: dict[str, str] = {}
    starts = {step.step: start for step, start, _ in plan.each_step()}
    for action in sorted(plan.scenario.records.actions, key=lambda each: (starts.get(each.step, 0.0), each.number)):
        tool, setting = action.setting
        if setting and action.step in starts:
            found.setdefault(tool, f"{one_line(setting)} ({action.name})")
    return found


def _first_hooks(plan: TimedPlan) -> Iterator[tuple[float, str]]:
    """When each first hooks the own tether."""
    for crew in plan.travels:
        hooked = [finish for step, _, finish in plan.each_step() if crew in step.hooks]
        if hooked:
            yield min(hooked), crew
