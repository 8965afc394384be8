"""Verdict: a pack of the demo's 89 steps takes 2 to 5 s, on a core that is shared; it may take 10 s.

Run on demand: ``python -m tests.bench.bench_pack``. Prints seconds and shares of each part.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import Any

import planning_kit as pk
from planning_kit.explore.comparison import compare_revisions
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.html_page import html_page
from planning_kit.show.pack.pdf import pdf_bytes, pocket_bytes
from planning_kit.show.pack.xlsx import xlsx_bytes

LIMIT_S = 10.0


def main() -> None:
    """Time each part of writing a pack."""
    plan = pk.time_plan(pk.load_scenario("tests/data/tern-2"))
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
    for section in pack.pockets:
        timed("pocket sheets", partial(pocket_bytes, pack, section))
    whole = sum(spent.values())
    for name, seconds in spent.items():
        print(f"{name:22} {seconds:6.2f} s {seconds / whole:6.0%}")
    share = whole / LIMIT_S
    print(f"{len(plan.timed.steps)} steps{'':14} {whole:6.2f} s {share:6.0%} of the {LIMIT_S:g} s allowed")


if __name__ == "__main__":
    main()
