"""How long a campaign takes: ``python -m tests.bench.bench_campaign [outings] [tasks] [effort]``.

Asked: 5 outings and 60 tasks within 60 s on two cores; an edit answered within 1 s.

Verdict (one run at `quick`, beside a load of 20 on two cores; multiples of one outing timed and checked,
0.045 CPU s): met. At `normal` the same took 25 CPU s on a still machine, 56 of the 60 tasks done.

    load                                              0.9
    assign 60 tasks to 5 outings, quick             347      15.5 CPU s of 60 s asked; 55 done
    findings between all outings                      0.2
    board after an edit of one outing                 0.6    0.02 CPU s of 1 s asked
    findings after an edit of one outing              0.2    0.01 CPU s of 1 s asked
    one task moved to another outing                  6.0    0.27 CPU s of 1 s asked; all later outings, too

With all that the board of the workbench tells, a move took 0.2 to 0.7 CPU s in the demo's campaign, whose
first outing has a log, so that all that follow are made anew; the board there after an edit 0.1 CPU s.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import TypeVar

import planning_kit as pk
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.moving import moved
from planning_kit.campaign.open_work import question_of
from planning_kit.desk.board_told import answer_told, showing
from planning_kit.explore.long_question import at_once
from tests.campaign.ridge import PLACES, write_ridge

T = TypeVar("T")
ROOM_MIN = 390.0
ASSIGN_S, EDIT_S = 60.0, 1.0


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


def took_s(call: Callable[[], T]) -> tuple[float, T]:
    """The CPU seconds of a call: what the clock says depends on what else the machine does."""
    began_s = time.process_time()
    found = call()
    return time.process_time() - began_s, found


class Told:
    """Rows of a table: each thing as a multiple of one outing timed and checked, measured in the same run."""

    def __init__(self, campaign: pk.Campaign) -> None:
        """Measure what all else is compared with: the median of nine outings, timed and checked anew."""
        scenarios = ([campaign.scenario(name) for name in campaign.ids] * 9)[:9]
        self.unit_s = median(took_s(lambda each=each: pk.time_plan(each).findings)[0] for each in scenarios)
        print(f"one outing timed and checked: {self.unit_s:.3f} CPU s; all else as multiples of that")

    def row(self, what: str, call: Callable[[], T], asked_s: float = 0.0) -> T:
        """Print the ratio of a call, with what is asked of it."""
        seconds, found = took_s(call)
        asked = f"  {seconds:6.2f} CPU s of {asked_s:g} s asked" if asked_s else ""
        print(f"{what:46}{seconds / self.unit_s:10.1f}{asked}", flush=True)
        return found


def main(outings: int = 5, tasks: int = 60, effort: str = "normal") -> None:
    """Assign, then edit one outing and look at all of it again."""
    with tempfile.TemporaryDirectory() as folder:
        path = write_ridge(Path(folder) / "ridge", rows(tasks), outings, planned=ROOM_MIN, dates=4)
        campaign = pk.load_campaign(path)
        told = Told(campaign)
        told.row("load", lambda: pk.load_campaign(path))
        found = told.row(f"assign {tasks} tasks to {outings} outings, {effort}",
                         lambda: campaign.assign(effort, progress=None), ASSIGN_S)
        print(found, "\n  value", found.value, "\n  bound", found.bound, "\n  rounds", found.found.rounds)
        new: TimedCampaign = found.campaign
        assert isinstance(new, pk.Campaign)
        told.row("board of all outings, first time", lambda: new.board_table)
        told.row("findings between all outings, first time", new.findings)
        task = new.planned("R1")[0]
        edited = new.with_scenario("R1", new.scenario("R1").edit_row(
            "steps", task, minutes_low=10, minutes_likely=15, minutes_high=60))
        told.row("board after an edit of one outing", lambda: edited.board_table, EDIT_S)
        told.row("findings after an edit of one outing", edited.findings, EDIT_S)
        last = new.planned(new.ids[-1])[-1]
        answer = told.row("one task moved to another outing", lambda: new.moved(last, new.ids[-2]), EDIT_S)
        print(answer.words)
        question, plan = question_of(new), edited.timed_plan("R1")
        told.row("one task taken off, with all that is told", lambda: answer_told(
            moved(new, last, "", question), ""), EDIT_S)
        told.row("the board of the workbench after an edit",
                 lambda: at_once(showing(new, "r1", plan, 1)), EDIT_S)


if __name__ == "__main__":
    given = sys.argv[1:]
    main(*(int(each) for each in given[:2]), *given[2:3])
