"""What somebody who has not seen the scenario can read from pictures of the film, question by question.

Ten questions, fixed here, are asked of ten pictures of each of two outings. The answer is the plan's own; it
counts as told where its words stand in the picture (labels and head line, as they are painted). Whether a
person finds them there is not tested: somebody must look.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

import planning_kit as pk
from planning_kit.plan.moments import Moment, Person
from tests.browser.test_film import DRAWN, FILM
from tests.conftest import SCENARIOS

PICTURES, LEAST_TOLD = 10, 8
TOLD = f"""minute => {{ const film = {FILM}; film.setCamera("both"); film.go(minute);
    film.paint(0.5); return [film.canvas.getAttribute("aria-label"),
        ...film.drawn.labels.map(each => each.lines.join(" "))]; }}"""
LIGHT = {"night": "night", "day": "day", "penumbra": "penumbra"}


def _where(plan: pk.Plan, person: Person) -> list[str]:
    places = {place.place: place.title for place in plan.scenario.records.places}
    if person.route is None:
        return [places[person.place]]
    step = plan.timed.steps[plan.timed.position(person.doing.step)] if person.doing.step else None
    return [f"on the way to {places[step.place]}" if step and step.place else "on the way"]


def _doing(plan: pk.Plan, person: Person) -> list[str]:
    words = {"wait": "waits", "travel": "on the way"}
    return [words.get(person.doing.kind) or person.doing.title]


def _held(moment: Moment, crew: str) -> list[str]:
    return [stay.title for stay in moment.held_by(crew) if not stay.in_bag]


def _hook(plan: pk.Plan, person: Person) -> list[str]:
    return [f"from {next(each.title for each in plan.scenario.records.places if each.place == person.hook)}"]


QUESTIONS: dict[str, Callable[[pk.Plan, Moment], list[str]]] = {
    "Where is EV1?": lambda plan, now: _where(plan, now.people[0]),
    "Where is EV2?": lambda plan, now: _where(plan, now.people[1]),
    "What does EV1 do?": lambda plan, now: _doing(plan, now.people[0]),
    "What does EV2 do?": lambda plan, now: _doing(plan, now.people[1]),
    "What does EV1 hold?": lambda plan, now: _held(now, "EV1"),
    "What does EV2 hold?": lambda plan, now: _held(now, "EV2"),
    "What is EV1 tethered to?": lambda plan, now: _hook(plan, now.people[0]),
    "What is EV2 tethered to?": lambda plan, now: _hook(plan, now.people[1]),
    "In which light?": lambda plan, now: [LIGHT[now.light.partition(" ")[0]]],
    "Which inhibits are in force?": lambda plan, now: [hold.inhibit for hold in now.inhibits],
}


def is_told(answer: list[str], told: str) -> bool:
    """Whether all of it stands there; of what is longer than its room, the beginning."""
    return all(part[:24] in told for part in answer)


@pytest.mark.parametrize("folder", [SCENARIOS / "tern-station", SCENARIOS / "small-outing"],
                         ids=lambda folder: folder.name)
def test_each_picture_answers_eight_of_ten_questions(folder: Path, page: Page, tmp_path: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(folder))
    page.goto(plan.film(tmp_path / "film.html").as_uri())
    page.wait_for_function(DRAWN)
    missed: dict[float, Any] = {}
    for number in range(PICTURES):
        minute = plan.end_min * (number + 0.5) / PICTURES
        told = " ".join(page.evaluate(TOLD, minute))
        moment = plan.at(minute)
        answers = {question: answer(plan, moment) for question, answer in QUESTIONS.items()}
        wrong = {question: answer for question, answer in answers.items() if not is_told(answer, told)}
        if len(QUESTIONS) - len(wrong) < LEAST_TOLD:
            missed[minute] = wrong, told
    assert missed == {}


def test_a_wrong_answer_is_not_told() -> None:
    assert is_told(["Boom knuckle"], "EV1: waits at Boom knuckle")
    assert not is_told(["Boom knuckle", "Hatch"], "EV1: waits at Boom knuckle")
