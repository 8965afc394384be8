"""Kill whoever writes, at any moment: the old set or the new one is on disk, and nothing told is lost.

``python -m tests.attack.kills [N] [seed]`` (500 kills shared out over saves, first saves, packs, logs,
sign-offs and campaigns; a few minutes). Prints what was met; exits with 1 if anything was mixed, lost or
could not be written again.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import planning_kit as pk
from planning_kit.inputs.folder_files import STAGE
from planning_kit.inputs.log_append import LogEntry, append_entries
from planning_kit.inputs.save import writing
from planning_kit.inputs.scenario import save_all
from planning_kit.show.pack.write import MANIFEST, _earlier_pack, pack_files, put_pack
from tests.attack.children import Ended, Say, Work, killed, seconds_of
from tests.campaign.made_campaign import write_campaign

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
SAVED = "saved"


@dataclass(frozen=True)
class Case:
    """Something to be written by a child, and what is wrong with what it left: "mixed", "lost", ..."""

    work: Work
    faults: Callable[[Ended], list[str]]


def own_copy(home: Path) -> pk.Scenario:
    """The small outing in a folder of its own."""
    return pk.load_scenario(shutil.copytree(SMALL, home / "outing"))


def changed(scenario: pk.Scenario) -> pk.Scenario:
    """The scenario with a change in three of its tables and in its settings."""
    new = scenario.with_settings({"title": "Another"})
    for table in ("hardware", "places", "steps"):
        frame = new.table(table)
        new = new.with_table(table, frame.assign(title=frame["title"] + " (changed)"))
    return new


def what_is_wrong(found: pk.Scenario, old: pk.Scenario, new: pk.Scenario, ended: Ended) -> list[str]:
    """Neither of the two: mixed. Not the new one, though it was told saved: lost."""
    wrong = [] if found in (old, new) else ["mixed"]
    return wrong + ["lost"] * (SAVED in ended.said and found != new)


def a_save(home: Path) -> Case:
    """A scenario is saved over another version of itself."""
    old = own_copy(home)
    new = changed(old)

    def work(say: Say) -> None:
        new.save()
        say(SAVED)

    def faults(ended: Ended) -> list[str]:
        found = pk.load_scenario(old.folder)
        wrong = what_is_wrong(found, old, new, ended)
        replace(found, checked=old.checked).save()
        replace(pk.load_scenario(old.folder), checked=new.checked).save()
        return wrong + ["left over"] * ({path.name for path in old.folder.iterdir()} != names_in(SMALL))

    return Case(work, faults)


def names_in(folder: Path) -> set[str]:
    """The names of the files in a folder."""
    return {path.name for path in folder.iterdir()}


def a_first_save(home: Path) -> Case:
    """A scenario is saved as a new folder."""
    scenario, target = pk.load_scenario(SMALL), home / "new"

    def work(say: Say) -> None:
        scenario.save(target)
        say(SAVED)

    def faults(ended: Ended) -> list[str]:
        try:
            wrong = [] if pk.load_scenario(target) == scenario else ["mixed"]
        except pk.ScenarioError:
            is_empty = not target.exists() or names_in(target) <= {STAGE}
            wrong = ["lost"] * (SAVED in ended.said) + ["mixed"] * (not is_empty)
        scenario.save(target)
        return wrong + ["left over"] * (names_in(target) != set(scenario.checked.source.files()))

    return Case(work, faults)


@cache
def two_packs() -> tuple[tuple[pk.Plan, dict[str, bytes]], ...]:
    """The files of two packs that differ in every file."""
    old = pk.time_plan(pk.load_scenario(SMALL))
    plans = (old, pk.time_plan(changed(old.scenario)))
    return tuple((plan, {name: data for name, (data, _) in pack_files(plan.timed).items()}) for plan in plans)


def a_pack(home: Path) -> Case:
    """A review pack takes the place of an earlier one."""
    (old_plan, old), (plan, new) = two_packs()
    folder = home / "pack"
    put_pack(old_plan.timed, folder, old, {})
    known = _earlier_pack(folder)

    def work(say: Say) -> None:
        put_pack(plan.timed, folder, new, known)
        say(SAVED)

    def faults(ended: Ended) -> list[str]:
        with writing(folder):
            now = _earlier_pack(folder)
        found = {name: (folder / name).read_bytes() for name in new}
        wrong = [] if found in (old, new) else ["mixed"]
        wrong += ["lost"] * (SAVED in ended.said and found != new)
        put_pack(old_plan.timed, folder, old, now)
        return wrong + ["left over"] * (names_in(folder) != {*old, MANIFEST})

    return Case(work, faults)


def a_log(home: Path) -> Case:
    """Events are logged one after another, some of them two at once."""
    home.mkdir(exist_ok=True)

    def work(say: Say) -> None:
        for number in range(30):
            entries = [LogEntry("skipped", f"S{number}", "2031-05-14T12:00:00Z"),
                       LogEntry("skipped", f"T{number}", "2031-05-14T12:00:00Z")][:1 + number % 2]
            for event in append_entries(home, entries):
                say(event)

    def faults(ended: Ended) -> list[str]:
        try:
            steps = pk.read_log(home)["step"].tolist()
        except pk.ScenarioError as error:
            return [f"cannot be read: {error.words}"]
        ids = pk.read_log(home)["event_id"].tolist()
        wrong = ["lost"] * (not set(ended.said) <= set(ids))
        wrong += ["half of a pair"] * (sum(name[0] == "T" for name in steps) != sum(
            name[0] == "S" and int(name[1:]) % 2 for name in steps))
        pk.append_log(home, "skipped", "LAST", "2031-05-14T12:00:00Z")
        return wrong + ["lost"] * (pk.read_log(home)["step"].tolist() != [*steps, "LAST"])

    return Case(work, faults)


def sign_offs(home: Path) -> Case:
    """Reviewers sign off one after another."""
    scenario = own_copy(home)

    def work(say: Say) -> None:
        for number in range(10):
            scenario.sign_off(f"R{number}")
            say(f"R{number}")

    def faults(ended: Ended) -> list[str]:
        reviews = pk.load_scenario(scenario.folder).reviews
        wrong = ["lost"] * (not set(ended.said) <= set(reviews["by"]))
        wrong += ["stale"] * (not (reviews["state"] == "current").all())
        names = scenario.sign_off("LAST")["by"].tolist()
        return wrong + ["lost"] * (names != [*reviews["by"], "LAST"])

    return Case(work, faults)


def a_campaign(home: Path) -> Case:
    """Two outings of a campaign are saved as one act."""
    folder = write_campaign(home / "campaign")

    def outings() -> list[pk.Scenario]:
        return [*pk.load_campaign(folder).source.scenarios.values()]

    old = outings()
    new = [changed(each) for each in old]

    def work(say: Say) -> None:
        save_all(folder, new)
        say(SAVED)

    def faults(ended: Ended) -> list[str]:
        found = outings()
        wrong = [] if found in (old, new) else ["mixed"]
        wrong += ["lost"] * (SAVED in ended.said and found != new)
        save_all(folder, [each.with_settings({"title": "Once more"}) for each in found])
        left = {path.name for path in folder.rglob(STAGE)}
        return wrong + ["left over"] * bool(left) + ["lost"] * (
            [each.settings.title for each in outings()] != ["Once more"] * 2)

    return Case(work, faults)


CASES = {"save": a_save, "first save": a_first_save, "pack": a_pack, "log": a_log, "sign-off": sign_offs,
         "campaign": a_campaign}


def kill_all(count: int, seed: int) -> dict[str, Counter[str]]:
    """So many kills, shared out over all cases: what was met, by case."""
    drawn = random.Random(seed)
    met = {name: Counter[str]() for name in CASES}
    with tempfile.TemporaryDirectory() as place:
        longest = {name: seconds_of(make(_new(Path(place), f"timed {name}")).work)
                   for name, make in CASES.items()}
        for number in range(count):
            name = list(CASES)[number % len(CASES)]
            case = CASES[name](_new(Path(place), str(number)))
            ended = killed(case.work, drawn.uniform(0, longest[name] * 1.1))
            met[name]["kills"] += 1
            met[name]["in the middle"] += ended.was_killed
            for line in ended.said:
                if line.startswith("failed"):
                    met[name][line] += 1
            met[name].update(case.faults(ended))
            shutil.rmtree(Path(place) / str(number))
    return met


def _new(home: Path, name: str) -> Path:
    (home / name).mkdir()
    return home / name


def main() -> int:
    """Kill as often as asked and print what was met."""
    given = [int(each) for each in sys.argv[1:]]
    count, seed = [*given, *(500, 1)[len(given):]]
    met = kill_all(count, seed)
    faults = 0
    for name, counts in met.items():
        wrong = {what: number for what, number in counts.items() if what not in ("kills", "in the middle")}
        faults += sum(wrong.values())
        print(f"{name:12} {counts['kills']:4} kills, {counts['in the middle']:4} in the middle: "
              f"{wrong or 'nothing mixed, nothing lost'}")
    print(f"{sum(counts['kills'] for counts in met.values())} kills, {faults} faults (seed {seed})")
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main())
