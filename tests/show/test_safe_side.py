"""Every rounded time and number of a pack against the exact one: on the safe side, by less than one place."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Iterator

import pytest

import planning_kit as pk
from planning_kit.inputs.faults import ScenarioError
from planning_kit.judge.every_margin import nearest_edges
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.content import Rich, Table, shown
from tests.edits import edited
from tests.show.packs import SCENARIOS, on_card

NAMES = ("tern-station", "small-outing", "faulty-plan")
EPSILON = 2e-6


def minute_of(label: str) -> float:
    sign, hours, minutes = re.fullmatch(r"(−?)(\d+):(\d\d)", label).groups()
    return (-1 if sign else 1) * (60 * int(hours) + int(minutes))


def number_of(text: str) -> float:
    return float(text.replace("−", "-"))


def assert_down(told: float, exact: float, place: float = 1.0) -> None:
    assert -EPSILON <= exact - told < place, (told, exact)


def assert_up(told: float, exact: float, place: float = 1.0) -> None:
    assert -EPSILON <= told - exact < place, (told, exact)


def shifted(scenario: pk.Scenario, seed: int) -> pk.Scenario:
    """Some steps last a little longer, by parts of a minute; as it is for the seed 0."""
    draw = random.Random(seed)
    for row in draw.sample(scenario.steps.to_dict("records"), 5 if seed else 0):
        more = draw.uniform(0, 0.9)
        longer = {name: row[name] + more for name in ("minutes_low", "minutes_likely", "minutes_high")}
        scenario = edited(scenario, "steps", row["step"], **longer)
    return scenario


def plans(name: str) -> Iterator[pk.Plan]:
    scenario = pk.load_scenario(SCENARIOS / name)
    yield pk.time_plan(scenario)
    for seed in range(1, 4):
        try:
            yield pk.time_plan(shifted(scenario, seed))
        except ScenarioError:
            continue  # a shift can make a clock or a window impossible


@pytest.mark.parametrize("name", NAMES)
def test_every_rounded_label_of_a_pack_is_on_the_safe_side(name: str) -> None:
    told = list(plans(name))
    assert len(told) >= 2
    for plan in told:
        pack = assemble(plan.timed, "not asked for", None)
        tables = {block.sheet: block for section in pack.sections for block in section.blocks
                  if isinstance(block, Table)}
        rows = {sheet: [dict(zip((column.label for column in table.columns),
                                 (shown(cell, column) for cell, column in
                                  zip(row, table.columns, strict=True)), strict=True))
                        for row in table.rows] for sheet, table in tables.items()}
        check_inhibits(plan, rows, tables["Procedure"])
        check_margins(plan, rows)
        check_windows(plan, rows)
        check_pockets(plan, pack)


def check_inhibits(plan: pk.Plan, rows: dict[str, list[dict[str, str]]], procedure: Table) -> None:
    exact = plan.inhibits.to_dict("records")
    events = plan.briefing().table
    for row, hold in zip(rows["Inhibits"], exact, strict=True):
        assert_down(minute_of(row["Set by PET"]), hold["set_by_min"])
        assert_up(minute_of(row["Lift after PET"]), hold["lift_after_min"])
        assert_up(number_of(row["Held, min"]), hold["hold_min"])
    for told in events.to_dict("records"):
        if told["kind"] in ("inhibit", "finding"):
            assert_down(minute_of(told["pet"]), told["at_min"])
        if told["kind"] == "lift":
            assert_up(minute_of(told["pet"]), told["at_min"])
    labels = [cell.lines[0] for cell in (row[0] for row in procedure.rows) if isinstance(cell, Rich)]
    assert list(map(minute_of, labels)) == sorted(map(minute_of, labels))
    for hold in exact:
        starts = [minute_of(row[0].lines[0]) for row in procedure.rows if isinstance(row[-1], Rich) and any(
            line.startswith(f"inhibit: {hold['inhibit']} ") and "must be in force" in line
            for line in row[-1].lines)]
        assert_down(starts[0], hold["set_by_min"])


def check_margins(plan: pk.Plan, rows: dict[str, list[dict[str, str]]]) -> None:
    for row, exact in zip(rows["Ways back"], plan.return_summary.to_dict("records"), strict=True):
        if math.isinf(exact["time_back_min"]):
            assert row["Least margin, min"] == "no way"
        else:
            assert_down(number_of(row["Least margin, min"]), exact["margin_min"], 0.1)
            assert_up(number_of(row["Time back, min"]), exact["time_back_min"], 0.1)
        if row["Turn back by PET"] != "exception":
            assert_down(minute_of(row["Turn back by PET"]), exact["turn_back_by_min"])
    for row, exact in zip(rows["Suits"], plan.suit_summary.to_dict("records"), strict=True):
        for name, check in (("Usable", assert_down), ("Used", assert_up), ("Left", assert_down),
                            ("Reserve", assert_up)):
            if row[name]:
                check(number_of(row[name]), exact[name.lower()], 0.1)
        if re.match(r"\d", row["Runs out PET"]):
            assert_down(minute_of(row["Runs out PET"]), exact["runs_out_min"])
    for row, exact in zip(rows["Clocks"], plan.clocks.to_dict("records"), strict=True):
        assert_down(number_of(row["Left, min"]), exact["left"], 0.1)
    for row in plan.summary.to_dict("records"):
        if row["item"] in ("Planned limit", "Hard limit"):
            limits = plan.scenario.settings.limits
            left = (limits.planned_min if row["item"] == "Planned limit" else limits.hard_min) - plan.end_min
            said, word = re.search(r"\((\S+) (left|over)\)", row["value"]).groups()
            assert word == ("left" if left >= -EPSILON else "over")
            (assert_down if word == "left" else assert_up)(minute_of(said), abs(left))


def check_windows(plan: pk.Plan, rows: dict[str, list[dict[str, str]]]) -> None:
    for row in rows["Light"]:
        kind, number = row["Window"].split()
        begin, end = getattr(plan.timed.light, kind)[int(number) - 1]
        assert_up(minute_of(row["Begins PET"]), begin)
        assert_down(minute_of(row["Ends PET"]), end)
        assert_down(number_of(row["Minutes"]), end - begin, 0.1)


def check_pockets(plan: pk.Plan, pack: object) -> None:
    ends = plan.return_summary
    for sheet in pack.pockets:
        text = " ".join(sheet.words)
        for hold in plan.inhibits.to_dict("records"):
            begin, end = re.search(rf"{hold['inhibit']} (\S+) to ([^;.,\s]+)", text).groups()
            assert_down(minute_of(begin), hold["set_by_min"])
            assert_up(minute_of(end), hold["lift_after_min"])
        own = ends[ends["crew"] == sheet.key]
        for how in ("alone", "with the partner"):
            found = re.search(rf"{how} (\d+:\d\d) \(", text)
            if found:
                by_min = own[own["case"].str.endswith(how)]["turn_back_by_min"].min()
                assert_down(minute_of(found[1]), by_min)
                assert by_min >= plan.end_min - plan.timed.network.ends_min, "the plan breaks it"
        edges = nearest_edges(plan.timed)
        for told in on_card(sheet):
            if told.slack not in ("", "never"):
                assert_down(number_of(told.slack), edges[plan.timed.position(told.step)])
