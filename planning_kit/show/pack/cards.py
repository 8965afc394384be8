"""What hangs where before anybody goes out, and what is done when something goes wrong."""

from typing import Any

from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.pack.content import Column, Rich, Row, Section, Table, table_of
from planning_kit.show.procedure_words import response_lines
from planning_kit.show.wording import Names


def responses_section(plan: TimedPlan) -> Section:
    """Every response: its trigger, the call, who goes with whom, first actions, as the scenario has them."""
    rows = []
    for each in plan.scenario.records.responses:
        steps = dict.fromkeys(
            doing.step.step for doing in plan.doings if doing.action.if_not == each.response)
        named = f"{one_line(each.trigger).capitalize()} ({each.response})" if each.trigger else each.response
        at = (shortened(f"at {' '.join(steps)}", 60),) if steps else ()
        rows.append((Rich((named, *at)), Rich(response_lines(each))))
    return Section("responses", "Responses", (), (Table(
        "Responses", "By what sets them off; the call first, each as the scenario has it",
        (Column("What", share=2), Column("Response", share=5.4)), tuple(rows),
        empty="No response is given: that is not to say that none is needed.", size=8),))


def configuration_section(plan: TimedPlan) -> Section:
    """For each person and bag: what hangs where, its setting, the order through the hatch, what comes home.

    A setting is the first that an action needs: what a tool is set to at PET 0 is not known.
    """
    names, kit = Names(plan), plan.kit_list.to_dict("records")
    items = {each.item: each for each in plan.scenario.records.hardware}
    by_item, settings = plan.custody.groupby("item", sort=False), dict[str, str]()
    for tool, setting, name in ((*doing.action.setting, doing.action.name) for doing in plan.doings):
        if setting:
            settings.setdefault(tool, f"{one_line(setting)} ({name})")

    def told(row: Row) -> dict[str, Any]:
        item = items[row["item"]]
        return {**row, "slots": item.slots, "mass": item.mass_kg, "setting": settings.get(item.item, ""),
                "tick": Rich(("",), ("tick",))}

    item = (Column("Item", "item"), Column("Title", "title", 2.2), Column("Slots", "slots", 0.5, 0, "up"),
            Column("Mass, kg", "mass", 0.6, 1, "up"), Column("Setting", "setting", 1.3),
            Column("There", "tick", 0.4))
    tables = []
    for crew in plan.travels:
        out = sorted((row for row in kit if row["goes_out_with"] == crew), key=lambda row: row["out_min"])
        home = [names.item(row["item"]) for row in kit if row["comes_back_with"] == crew]
        tables.append(table_of(
            [{**told(row), "order": number, "pet": pet_label(row["out_min"]),
              "hangs": names.item(row["in_bag"]) if row["in_bag"] else f"on {crew}"}
             for number, row in enumerate(out, start=1)],
            f"{crew} takes", f"{crew}: through the hatch in this order; comes home with: "
            f"{'; '.join(home) or 'nothing'}",
            Column("Order", "order", 0.5, 0), Column("PET", "pet", 0.5), Column("Hangs", "hangs", 1.6), *item,
            empty="Takes nothing out."))
    for bag in (each for each in plan.scenario.records.hardware if each.kind == "bag"):
        inside = [told(row) | {"when": when} for when, stays in (
            ("at PET 0", by_item.head(1)), ("at the end", by_item.tail(1)))
            for row in stays[stays["in_bag"] == bag.item].to_dict("records")]
        tables.append(table_of(
            inside, f"In {bag.item}", f"{names.item(bag.item)}: in it at PET 0 and at the end",
            Column("When", "when", 0.8), *item, empty="Empty at PET 0 and at the end."))
    hooked = sorted((finish, crew) for step, _, finish in plan.each_step() for crew in step.hooks)
    first = sorted((at, crew) for crew, at in {crew: at for at, crew in reversed(hooked)}.items())
    order = ", then ".join(f"{crew} {pet_label(at)}" for at, crew in first)
    words = f"Own tethers are hooked outside: {order}. " if order else ""
    return Section("configuration", "Configuration of persons and bags", (
        f"{words}Set each tool inside to its setting here, the first that an action needs.",), tuple(tables))
