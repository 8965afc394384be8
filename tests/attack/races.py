"""Two who write at once, and one who reads: no change is overwritten in silence, nothing told is lost.

``python -m tests.attack.races [N]`` (500 rounds shared out over saves, sign-offs, logs and first
saves; a few minutes). Prints what was met; exits with 1 if a change was lost or a mix was read.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import planning_kit as pk
from tests.attack.children import Child, Ended, Say, Work

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
SAVED, CONFLICT = "saved", "conflict"


def at_once(*works: Work) -> list[Ended]:
    """Let all begin at the same moment, and wait for them."""
    children = [Child(work) for work in works]
    for child in children:
        child.go()
    return [child.end() for child in children]


def failed(ended: list[Ended]) -> list[str]:
    """What went wrong in a child."""
    return [line for each in ended for line in each.said if line.startswith("failed")]


def two_saves(folder: Path) -> list[str]:
    """Two edit two tables each and save: one is told saved and stands whole, the other is told of it."""
    base = pk.load_scenario(folder)
    versions = [base.with_settings({"title": name}).with_table(
        "steps", base.steps.assign(title=base.steps["title"] + name)) for name in ("A", "B")]

    def saving(version: pk.Scenario) -> Work:
        def work(say: Say) -> None:
            try:
                version.save()
                say(SAVED)
            except pk.SaveConflict:
                say(CONFLICT)
        return work

    def reading(say: Say) -> None:
        for _ in range(5):
            if pk.load_scenario(folder) not in (base, *versions):
                say("read a mix")

    *ended, reader = at_once(*(saving(version) for version in versions), reading)
    answers = [each.said[-1] for each in ended]
    found = pk.load_scenario(folder)
    wrong = failed([*ended, reader]) + list(reader.said)
    if sorted(answers) != [CONFLICT, SAVED]:
        wrong.append(f"told {sorted(answers)}")
    elif found != versions[answers.index(SAVED)]:
        wrong.append("overwritten in silence" if found in versions else "mixed")
    return wrong


def two_sign_offs(folder: Path) -> list[str]:
    """Two sign off: both stand."""
    scenario = pk.load_scenario(folder)

    def signing(name: str) -> Work:
        def work(say: Say) -> None:
            for number in range(2):
                scenario.sign_off(f"{name}{number}")
                say(f"{name}{number}")
        return work

    ended = at_once(signing("A"), signing("B"))
    told = {name for each in ended for name in each.said}
    return failed(ended) + ["lost"] * (told != set(scenario.reviews["by"]) or len(told) != 4)


def two_loggers(folder: Path) -> list[str]:
    """Two log while a third saves the scenario: every event stands, under an id of its own."""
    scenario = pk.load_scenario(folder)

    def logging(name: str) -> Work:
        def work(say: Say) -> None:
            for number in range(4):
                say(pk.append_log(folder, "skipped", f"{name}{number}", "2031-05-14T12:00:00Z"))
        return work

    def save(_: Say) -> None:
        scenario.with_settings({"title": "Another"}).save()

    ended = at_once(logging("A"), logging("B"), save)
    log = pk.read_log(folder)
    told = sorted(event for each in ended for event in each.said)
    return failed(ended) + ["lost"] * (told != sorted(log["event_id"]) or len(set(log["step"])) != 8)


def two_first_saves(folder: Path) -> list[str]:
    """Two save different scenarios as one new folder: one stands, the other is told."""
    base, target = pk.load_scenario(folder), folder / "new"
    versions = [base.with_settings({"title": name}) for name in ("A", "B")]

    def saving(version: pk.Scenario) -> Work:
        def work(say: Say) -> None:
            try:
                version.save(target)
                say(SAVED)
            except pk.ScenarioError:
                say(CONFLICT)
        return work

    ended = at_once(*(saving(version) for version in versions))
    answers = [each.said[-1] for each in ended]
    if sorted(answers) != [CONFLICT, SAVED]:
        return [*failed(ended), f"told {sorted(answers)}"]
    return ["overwritten in silence"] * (pk.load_scenario(target) != versions[answers.index(SAVED)])


RACES: dict[str, Callable[[Path], list[str]]] = {
    "saves": two_saves, "sign-offs": two_sign_offs, "logs": two_loggers, "first saves": two_first_saves}


def race_all(count: int) -> dict[str, Counter[str]]:
    """So many rounds, shared out over all races: what was met, by race."""
    met = {name: Counter[str]() for name in RACES}
    with tempfile.TemporaryDirectory() as place:
        for number in range(count):
            name = list(RACES)[number % len(RACES)]
            folder = Path(shutil.copytree(SMALL, Path(place) / str(number)))
            met[name]["rounds"] += 1
            met[name].update(RACES[name](folder))
            shutil.rmtree(folder)
    return met


def main() -> int:
    """Race as often as asked and print what was met."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    met = race_all(count)
    for name, counts in met.items():
        wrong = {what: number for what, number in counts.items() if what != "rounds"}
        print(f"{name:12} {counts['rounds']:4} rounds: {wrong or 'nothing overwritten, nothing lost'}")
    faults = sum(counts.total() - counts["rounds"] for counts in met.values())
    print(f"{count} rounds, {faults} faults")
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main())
