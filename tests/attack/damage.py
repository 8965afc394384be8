"""Damaged scenarios and logs, through all that reads them: only `ScenarioError` may come out.

    python -m tests.attack.damage [N] [seed] [processes]

damages N scenarios (10,000; seeds from ``seed`` on, 0) and prints how many were loaded, refused and failed,
and for each failure the command that replays it alone. The exit code is 1 when one failed. What is dear is
done for a share only, which is told.
"""

from __future__ import annotations

import contextlib
import random
import shutil
import signal
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path

import pandas as pd

import planning_kit as pk
from planning_kit.inputs.log_format import LOG_COLUMNS, LOG_FILE
from planning_kit.inputs.raw import csv_row
from tests.attack.ways import bytes_damage, mild_damage, table_damage
from tests.campaign.made_campaign import write_campaign
from tests.explore.retime.rehearsal import rehearsed
from tests.plan.whole_scenarios import random_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
CAMPAIGN = "campaign"
SOURCES = ("small-outing", "small-outing", "running-late", "tern-station", "drawn 1", "drawn 3", "drawn 6",
           CAMPAIGN)
"""Drawn: a whole random scenario of that seed. Small ones come more often, for they are quick."""
CHART_EVERY, PACK_EVERY = 10, 100
LONGEST_S = 120
"""A hang is a failure too; the command says so, the tests do not measure."""

Files = dict[str, bytes]


@cache
def source(name: str) -> Files:
    """The files of an undamaged scenario, with a log of what could have happened; or those of a campaign."""
    if name == CAMPAIGN:
        with tempfile.TemporaryDirectory() as place:
            folder = write_campaign(Path(place) / "c")
            head, *steps = (folder / "one" / "steps.csv").read_text(encoding="utf-8").splitlines()
            lamp = "".join(f"{row}\n" for row in (head, *steps) if row is head or ",LMP," in row)
            (folder / "steps-lmp.csv").write_text(lamp, encoding="utf-8")
            (folder / "backlog.csv").write_text(
                "task,title,need,value,must_by,after,least_gap_days,place,crew,minutes_likely,steps,trained,"
                "share_done,items\nCLN,Clean,required,10,2031-09-20,,,,both,40,,Ada; Ben,,\n"
                "LMP,Lamp,required,9,,,,,,,steps-lmp.csv,,,\nCAS,Look,optional,2,,CLN,1,POR,EV1,20,,,0.5,\n",
                encoding="utf-8")
            log = ("step,event,at\nA1,started,0:00\nA1,finished,0:10\nB1,started,0:11\nB1,finished,0:15\n"
                   ",ingress,0:45\n")
            (folder / "one" / LOG_FILE).write_text(log, encoding="utf-8")
            return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*"))
                    if path.is_file()}
    kind, _, seed = name.partition(" ")
    folder = SCENARIOS / ("tern-station" if name == "running-late" else name)
    scenario = random_scenario(random.Random(int(seed))) if kind == "drawn" else pk.load_scenario(folder)
    with tempfile.TemporaryDirectory() as place:
        scenario.save(Path(place) / "copy")
        files = {path.name: path.read_bytes() for path in sorted((Path(place) / "copy").iterdir())}
    if name == "running-late":
        return files | {LOG_FILE: (SCENARIOS / name / LOG_FILE).read_bytes()}
    plan = pk.time_plan(scenario)
    return files | {LOG_FILE: _as_file(rehearsed(plan, 1, plan.end_min * 0.6))}


def _as_file(log: pd.DataFrame) -> bytes:
    rows = [LOG_COLUMNS, *([str(row.get(column, "")) for column in LOG_COLUMNS]
                           for row in log.to_dict("records"))]
    return "".join(csv_row(row) + "\n" for row in rows).encode()


def damaged(seed: int, of: str = "") -> Files:
    """The files of a scenario as this seed damages them; ``of``: a source, or drawn."""
    rng = random.Random(seed)
    files = dict(source(of or rng.choice(SOURCES)))
    own = [name for name in files if name in OF_A_CAMPAIGN]
    for _ in range(rng.choice((1, 1, 2, 3))):
        way = rng.choice((*[mild_damage] * 6, table_damage, bytes_damage))
        name = rng.choice(own if own and rng.random() < 0.8 else [*files, *(
            name for name in ("steps.csv", LOG_FILE) if name in files)])
        with contextlib.suppress(UnicodeDecodeError, IndexError, ValueError):  # damaged beyond such damage
            files[name] = way(name, files[name], rng)
        if rng.random() < 0.03:
            one, other = rng.sample(list(files), 2)
            files[one], files[other] = files[other], files[one]
    if rng.random() < 0.03:
        del files[rng.choice(list(files))]
    return files


def outcome(seed: int, folder: Path, of: str = "") -> list[str]:
    """How far this seed's scenario came: the stages passed, each "loaded", "timed", ... or "refused"."""
    for path in folder.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    files = damaged(seed, of)
    for name, data in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    passed: list[str] = []
    rng = random.Random(seed)
    if any("/" in name for name in files):
        return _outcome_of_campaign(folder, passed) or ["refused"]
    with contextlib.suppress(pk.ScenarioError):
        scenario = pk.load_scenario(folder)
        passed.append("loaded")
        plan = pk.time_plan(scenario)
        _read(plan, rng)
        passed.append("timed")
        _show(plan, seed)
        with contextlib.suppress(pk.ScenarioError):
            pk.read_log(folder)
            passed.append("log read")
        retimed = plan.retime(folder)
        _read(retimed, rng)
        passed.append("retimed")
        _show(retimed, seed)
    return passed or ["refused"]


OF_A_CAMPAIGN = ("campaign.toml", "backlog.csv", "steps-lmp.csv")


def _outcome_of_campaign(folder: Path, passed: list[str]) -> list[str]:
    with contextlib.suppress(pk.ScenarioError):
        campaign = pk.load_campaign(folder)
        passed.append("loaded")
        assert len(campaign.outings)
        assert len(campaign.backlog) == len(campaign.tasks)
        assert len(campaign.findings()) >= 0
        passed.append("timed")
        for name in campaign.ids:
            campaign.around(name)
        with contextlib.suppress(pk.ScenarioError):
            assert campaign.after(campaign.ids[0]).findings() is not None
        with contextlib.suppress(pk.ScenarioError):
            assert campaign.moved(next(iter(campaign.tasks)), campaign.ids[-1]).words
            passed.append("retimed")
        assert campaign.board().alt
    return passed


def _read(plan: pk.Plan, rng: random.Random) -> None:
    assert len(plan.findings) >= 0
    assert len(plan.actions) == len(plan.scenario.actions)
    assert {*plan.states["state"]} == {*plan.scenario.states["state"]}
    for name in plan.scenario.responses["response"]:
        assert plan.response(name, rng.uniform(0, plan.end_min)).home
    assert set(plan.timeline["step"]) - {""} == {step.step for step in plan.timed.steps}
    for step in rng.sample(plan.timed.steps, min(len(plan.timed.steps), 4)):
        assert plan.explain(step.step)


def _show(plan: pk.Plan, seed: int) -> None:
    if seed % CHART_EVERY == 0:
        pk.swimlane(plan)
    if seed % PACK_EVERY == 0:
        plan.still(plan.end_min / 2)
        with tempfile.TemporaryDirectory() as place:
            plan.write_pack(Path(place) / "pack")


@contextlib.contextmanager
def _no_longer_than(seconds: int) -> Iterator[None]:
    def stop(*_: object) -> None:
        raise TimeoutError(f"took more than {seconds} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def attempt(seed: int) -> tuple[int, list[str], str]:
    """One seed: the stages that it passed, and the traceback where it failed."""
    with tempfile.TemporaryDirectory() as place, warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            with _no_longer_than(LONGEST_S):
                return seed, outcome(seed, Path(place)), ""
        except Exception:  # whatever it is: that is the question
            return seed, [], traceback.format_exc()


def main(count: int = 10_000, first: int = 0, processes: int = 1) -> int:
    """Damage ``count`` scenarios; 1 when one of them failed."""
    stages, failed = Counter[str](), []
    with ProcessPoolExecutor(processes) as pool:
        tried = map(attempt, range(first, first + count)) if processes == 1 else pool.map(
            attempt, range(first, first + count), chunksize=8)
        for seed, passed, trace in tried:
            stages.update(passed)
            if (seed - first + 1) % 500 == 0:
                print(f"{seed - first + 1} tried, {len(failed)} failed", file=sys.stderr, flush=True)
            if trace:
                failed.append(seed)
                print(f"FAILED: python -m tests.attack.damage 1 {seed}: {trace.strip().splitlines()[-1]}",
                      flush=True)
                if count == 1:
                    print(trace)
    print(f"{count} damaged: " + ", ".join(f"{stages[stage]} {stage}" for stage in (
        "refused", "loaded", "timed", "log read", "retimed")) + f"; {len(failed)} failed")
    print(f"charts of one in {CHART_EVERY}, review pack and still of one in {PACK_EVERY}")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
