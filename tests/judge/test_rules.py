"""Every finding names its rule, and the docstring of its check lists it."""

from __future__ import annotations

import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit import judge
from planning_kit.judge.all_checks import CHECKS, new_findings, new_stops
from planning_kit.judge.findings import _SHOWS_ANYWHERE
from tests.explore.retime.rehearsal import rehearsed

TERN = Path(__file__).parents[1] / "data" / "tern-1"
FAULTY = Path(__file__).parents[2] / "scenarios" / "faulty-plan"


@pytest.fixture(scope="module")
def faulty_plan() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(FAULTY))


def documented() -> dict[str, set[str]]:
    """By check, the words in double backticks of its docstring; a module of several has a part for each."""
    found = {}
    for each in pkgutil.iter_modules(judge.__path__):
        module = importlib.import_module(f"{judge.__name__}.{each.name}")
        if hasattr(module, "CHECK"):
            found[module.CHECK] = set(_marked(module.__doc__))
        elif each.name.startswith("check_"):
            for part in module.__doc__.split("\n\n")[1:]:
                check, *rules = _marked(part)
                found[check] = set(rules)
    return found


def _marked(text: str) -> list[str]:
    return re.findall(r"``([a-z-]+)``", text)


def bare(scenario: pk.Scenario) -> pk.Scenario:
    """Without all that may be left out, so that what cannot be checked is told."""
    for table, columns in {"crew": ["exertion_factor", "tether_m"], "hardware": ["slots", "bulky"],
                           "routes": ["tight", "snag"], "places": ["crew_at_once"],
                           "steps": ["exertion"]}.items():
        rows = scenario.table(table).astype(object)
        rows[columns] = ""
        scenario = scenario.with_table(table, rows)
    return scenario


def test_no_module_of_checks_is_forgotten() -> None:
    modules = {each.name for each in pkgutil.iter_modules(judge.__path__) if each.name.startswith("check_")}
    assert {check.__module__.rpartition(".")[2] for check in CHECKS} == modules


@pytest.mark.parametrize("which", ["faulty", "bare", "late"])
def test_each_rule_stands_in_the_docstring_of_its_check(which: str, faulty_plan: pk.Plan,
                                                        small: pk.Scenario) -> None:
    plan = faulty_plan if which == "faulty" else pk.time_plan(bare(small))
    if which == "late":
        tern = pk.time_plan(pk.load_scenario(TERN))
        plan = tern.retime(rehearsed(tern, 2, 300.0, slower=1.5), 312.0).decide(skip=["SHD"])
    rules = documented()
    found = plan.findings
    assert len(set(zip(found["check"], found["rule"], strict=True))) > 5
    for row in found.to_dict("records"):
        assert row["rule"] in rules[row["check"]], row


# What no plan of a folder can be told of, and why.
IMPOSSIBLE_BESIDE_THE_OTHERS = {
    ("limits", "pet-zero-range"): "a folder whose PET 0 lies outside is refused; only a slip can lead there",
    ("limits", "planned-past-hard"): "told where hard_min is consumables; of two numbers loading refuses it",
    ("limits", "store-left-out"): "told where hard_min is consumables; here it is a number without a source",
    ("limits", "placeholder"): "told of a new outing, see tests/inputs/test_new_scenario.py",
    ("links", "no-relays"): "told where no relays are given; with relays it is not-covered",
    ("looks", "no-every-min"): "told where every_min is not given; with it it is no-look",
    ("accepted", "unreadable"): "told of a file of acceptances of which then no row counts",
    ("procedure", "no-relays"): "told where no relays are given; with relays it is go-no-link",
    ("voice", "no-limit"): "told where voice_lost_min is not given; with it it is too-far",
    ("voice", "no-fall-back"): "told where no place is one to fall back to; with one it is too-far",
    ("blocks", "place-not-known"): "of early plans: it hides what hangs on a place (test_blocks.py)",
    ("blocks", "longer-than-block"): "of a block beside its steps (test_blocks.py)",
    ("blocks", "shorter-than-block"): "of a block beside its steps (test_blocks.py)",
}


def test_the_faulty_plan_breaks_every_rule(faulty_plan: pk.Plan) -> None:
    """But those of the log, which is none of its files, and those that exclude another of its findings."""
    every = {(check, rule) for check, rules in documented().items() if check != "log"
             for rule in rules - {check}}
    found = faulty_plan.findings
    broken = set(zip(found["check"], found["rule"], strict=True))
    assert every - broken == set(IMPOSSIBLE_BESIDE_THE_OTHERS)


def test_rules_that_show_anywhere_are_rules() -> None:
    rules = documented()
    for check, rule in _SHOWS_ANYWHERE:
        assert rule in rules[check]


def test_nothing_is_new_in_the_same_plan_and_all_against_none(faulty_plan: pk.Plan) -> None:
    found = faulty_plan.findings.query("check != 'accepted'")  # that is of a file beside it, not of the plan
    assert new_findings(faulty_plan.timed, faulty_plan.timed).empty
    assert len(new_findings(found[:0], faulty_plan.timed)) == len(found)
    assert new_stops(found[1:], found) == 1  # the worst stands first
    twice = found.loc[[*found.index, 0]]
    assert len(new_findings(found, twice)) == 1
