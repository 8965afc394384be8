"""How long a campaign takes: ``python -m tests.bench.bench_campaign [outings] [tasks] [effort]``.

Verdict (one run, CPU seconds of one core, the machine otherwise still): 60 tasks of 20 to 60 minutes on five
outings are assigned in 25 s at `normal` (56 done; all required and optional value, get-ahead 229 of at most
236), in 8 s at `quick`. The board after an edit of one outing takes 0.01 s, what is wrong between outings
less, and one task moved to another outing is answered in 0.07 s, with all outings after it. On the board of
the workbench an edit is told in 0.1 s. What comes of a move took 0.2 to 0.7 CPU s in the demo's campaign, whose
first outing has a log, so that all that follow are made anew: less than the second that it may take.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import planning_kit as pk
from planning_kit.campaign.assigned import moved
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.open_work import question_of
from planning_kit.desk.board_told import answer_told, showing
from planning_kit.explore.long_question import at_once
from tests.campaign.ridge import PLACES, write_ridge

T = TypeVar("T")
ROOM_MIN = 390.0


def rows(count: int, seed: int = 1) -> list[str]:
    """So many tasks of 20 to 60 minutes, one in six after the one before it."""
    chance, made = random.Random(seed), list[str]()
    for number in range(count):
        need = chance.choice(("required", "optional", "optional", "get-ahead"))
        after = f"T{number - 1}" if number % 6 == 5 else ""
        made.append(f"T{number},Task {number},{need},{chance.randint(1, 20)},,{after},{2 if after else ''},"
                    f"{chance.choice(PLACES[1:])},{chance.choice(('EV1', 'EV2', 'both'))},"
                    f"{chance.randint(20, 60)},")
    return made


def timed(what: str, call: Callable[[], T]) -> T:
    """Print the CPU seconds of a call: what the clock says depends on what else the machine does."""
    began_s = time.process_time()
    found = call()
    print(f"{what:46} {time.process_time() - began_s:6.2f} CPU s")
    return found


def main(outings: int = 5, tasks: int = 60, effort: str = "normal") -> None:
    """Assign, then edit one outing and look at all of it again."""
    with tempfile.TemporaryDirectory() as folder:
        path = write_ridge(Path(folder) / "ridge", rows(tasks), outings, planned=ROOM_MIN, dates=4)
        campaign = timed("load", lambda: pk.load_campaign(path))
        found = timed(f"assign {tasks} tasks to {outings} outings, {effort}",
                      lambda: campaign.assign(effort, progress=None))
        print(found, "\n  value", found.value, "\n  bound", found.bound, "\n  rounds", found.found.rounds)
        new: TimedCampaign = found.campaign
        assert isinstance(new, pk.Campaign)
        timed("board of all outings, first time", lambda: new.board_table)
        timed("findings between all outings, first time", new.findings)
        task = new.planned("R1")[0]
        edited = new.with_scenario("R1", new.scenario("R1").edit_row(
            "steps", task, minutes_low=10, minutes_likely=15, minutes_high=60))
        timed("board after an edit of one outing", lambda: edited.board_table)
        timed("findings after an edit of one outing", edited.findings)
        last = new.planned(new.ids[-1])[-1]
        print(timed("one task moved to another outing", lambda: new.moved(last, new.ids[-2])).words)
        question = question_of(new)
        timed("one task taken off, with all that the board tells", lambda: answer_told(
            moved(new, last, "", question), ""))
        plan = edited.timed_plan("R1")
        timed("the board of the workbench after an edit", lambda: at_once(showing(new, "r1", plan, 1)))


if __name__ == "__main__":
    given = sys.argv[1:]
    main(*(int(each) for each in given[:2]), *given[2:3])
