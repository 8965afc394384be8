"""From what the files say to records: all rules over all tables, every fault in one error."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

from planning_kit.inputs import format as fmt
from planning_kit.inputs import records as rec
from planning_kit.inputs import rules as rules_ids
from planning_kit.inputs import rules as rules_steps
from planning_kit.inputs import rules as rules_world
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.settings import build_settings, parse_settings
from planning_kit.inputs.typed_tables import Row, Rows, parse_table, parse_tables

Rule = Callable[[Rows, Faults], None]

RULES: tuple[Rule, ...] = (
    rules_ids.ids_stand_once,
    rules_ids.ids_differ_across_tables,
    rules_ids.ids_are_not_reserved,
    rules_ids.crew_are_ev1_and_ev2,
    rules_ids.references_exist,
    rules_ids.moved_items_exist,
    rules_ids.airlock_is_a_place,
    rules_world.routes_join_two_places,
    rules_world.worksites_can_be_reached,
    rules_world.items_start_in_bags_only,
    rules_world.bags_do_not_hold_each_other,
    rules_world.only_cables_have_two_ends,
    rules_world.windows_end_after_they_start,
    rules_steps.durations_are_ordered,
    rules_steps.suited_steps_have_a_place,
    rules_steps.steps_do_not_wait_for_themselves,
    rules_steps.gaps_are_ordered,
    rules_steps.groups_share_one_light,
    rules_steps.footholds_are_footholds,
    rules_steps.moves_say_who,
    rules_steps.moves_go_the_right_way,
    rules_steps.moves_name_bags_and_people,
)

_RECORD_OF: dict[str, type] = {
    "crew": rec.Crew, "actors": rec.Actor, "places": rec.Place, "routes": rec.Route, "hardware": rec.Item,
    "tasks": rec.Task, "steps": rec.Step, "gaps": rec.Gap, "inhibits": rec.Inhibit,
    "windows": rec.NamedWindow,
}


def records_from(data: Mapping[str, Any] | None, tables: Mapping[str, RawTable], unreadable: Collection[str],
                 faults: Faults) -> rec.Records | None:
    """Records of a scenario, or None with every fault noted.

    ``data`` is scenario.toml (None when it could not be parsed); ``unreadable`` names the tables whose files
    are there but could not be split into rows.
    """
    settings = parse_settings(data, faults) if data is not None else None
    rows = parse_tables(tables, unreadable, faults)
    if settings is not None:
        rows.airlock = str(settings[""].get("airlock", ""))
    for rule in RULES:
        rule(rows, faults)
    if faults.rows or settings is None:
        return None
    return rec.Records(settings=build_settings(settings),
                       **{table.name: tuple(_record(table.name, row) for row in rows[table.name])
                          for table in fmt.TABLES})


def rows_of(table: str, raw: RawTable, faults: Faults) -> tuple[Any, ...]:
    """The records of one table, each cell by itself: no rule that looks at two of them is asked.

    Empty, with the faults noted, where a cell says nothing that can be used.
    """
    rows = parse_table(fmt.TABLE_BY_NAME[table], raw, faults)
    return () if faults.rows else tuple(_record(table, row) for row in rows)


def _record(table: str, row: Row) -> Any:
    values = dict(row.values)
    if table in ("gaps", "steps"):
        values["row"] = row.number
    if table == "steps":
        likely = values["minutes_likely"]
        for column in ("minutes_low", "minutes_high"):
            values[column] = likely if values[column] is None else values[column]
    return _RECORD_OF[table](**values)
