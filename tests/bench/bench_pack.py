"""Verdict: the pages of 104 steps with 600 actions take 8 to 10 s where four share two cores; 10 may be.

Run on demand: ``python -m tests.bench.bench_pack``. Prints seconds and shares of each part.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import Any

import pandas as pd

import planning_kit as pk
from planning_kit.explore.comparison import compare_revisions
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.html_page import html_page
from planning_kit.show.pack.pdf import CARDS, card_bytes, pdf_bytes
from planning_kit.show.pack.xlsx import xlsx_bytes

LIMIT_S = 10.0
ACTIONS = 600


def outing() -> pk.Scenario:
    """The demo, with as many actions as a long procedure has, half of the new ones with a warning."""
    scenario = pk.load_scenario("scenarios/tern-station")
    actions, steps = scenario.actions, scenario.records.steps
    blank = dict.fromkeys(actions.columns, "")
    rows = [blank | {"step": steps[at % len(steps)].step, "number": 50 + at // len(steps),
                     "action": f"Turn bolt {at} out and look at its thread", "value": "4", "unit": "turns",
                     "record": "turns" if at % 3 else "",
                     "warning": "caution: mind the edges" if at % 2 else ""}
            for at in range(ACTIONS - len(actions))]
    return scenario.with_table("actions", pd.concat([actions, pd.DataFrame(rows)], ignore_index=True))


def main() -> None:
    """Time each part of writing a pack."""
    plan = pk.time_plan(outing())
    baseline = plan.what_if(stretch={"RG2": "+2"})
    spent: dict[str, float] = {}

    def timed(name: str, work: Callable[[], Any]) -> Any:
        begin = time.perf_counter()
        made = work()
        spent[name] = spent.get(name, 0.0) + time.perf_counter() - begin
        return made

    chances = timed("odds, 10 000 samples", lambda: plan.odds())
    revision = timed("comparison", lambda: compare_revisions(baseline.timed, plan.timed))
    pack = timed("content", lambda: assemble(plan.timed, chances, revision))
    timed("HTML", lambda: html_page(pack))
    timed("PDF", lambda: pdf_bytes(pack))
    timed("XLSX", lambda: xlsx_bytes(pack))
    for size in CARDS:
        for section in (*pack.pockets, *pack.cues):
            timed("cards", partial(card_bytes, pack, section, size))
    whole = sum(spent.values())
    for name, seconds in spent.items():
        print(f"{name:22} {seconds:6.2f} s {seconds / whole:6.0%}")
    share = whole / LIMIT_S
    print(f"{len(plan.timed.steps)} steps{'':14} {whole:6.2f} s {share:6.0%} of the {LIMIT_S:g} s allowed")


if __name__ == "__main__":
    main()
