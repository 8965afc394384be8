"""A planner talking with the workbench: messages as a view sends them, answers as plain data, no widget."""

from __future__ import annotations

import json
import shutil
from functools import partial
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.desk.conversation import Conversation
from planning_kit.explore.long_question import at_once
from planning_kit.explore.session.going_outside import go_outside, log_for
from planning_kit.explore.session.session import Session

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ATTACK = "<img src=x onerror=alert(1)>"


class Talk:
    """A session of a scenario, and what was said since it was asked last."""

    def __init__(self, scenario, log=None, now=None):
        self.session, self.said = Session(scenario), []
        if now is not None:
            go_outside(self.session, None if log is None else log_for(log), now)
        self.conversation = Conversation(self.session, self.hear)

    def hear(self, message):
        self.said.append(json.loads(json.dumps(message, allow_nan=False)))

    def ask(self, kind, **content):
        """Send a message; what is answered, by kind. Long questions are worked out at once."""
        self.said.clear()
        if self.conversation.answer({"kind": kind, "n": 1, **content}):
            at_once(self.conversation.tell_details())
        for question in self.conversation.questions:
            if not question.has_begun:
                question.has_begun = True
                question.run(partial(self.conversation.tell_progress, question))
                self.conversation.tell_answer(question)
        at_once(self.conversation.tell_board())
        return {message["kind"]: message for message in self.said}

    def line(self, key, sheet="steps"):
        """The id of the line whose first column says ``key``."""
        here = self.session.draft[sheet]
        return here.find(here.columns[0], key)


@pytest.fixture(autouse=True)
def state(tmp_path, monkeypatch):
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(SCENARIOS / "small-outing", tmp_path / "outing")


@pytest.fixture
def talk(folder):
    return Talk(pk.load_scenario(folder))
