"""Sentences in tables are shown whole, and escaped."""

from __future__ import annotations

import pickle

import pandas as pd

import planning_kit as pk
from planning_kit.inputs.shown_text import TextTable

LONG = "a sentence of many words " * 5


def test_text_is_shown_whole_here_and_in_selections() -> None:
    table = TextTable({"message": [LONG], "n": [1]})
    for shown in (table, table[["message"]], table[table["n"] == 1].head(1)):
        assert LONG.strip() in shown._repr_html_()
        assert LONG.strip() in repr(shown)
    assert pd.get_option("display.max_colwidth") == 50


def test_hostile_text_is_escaped() -> None:
    assert "<img" not in TextTable({"message": ["<img src=x onerror=alert(1)>"]})._repr_html_()


def test_it_is_a_dataframe_that_pickles(demo_plan: pk.Plan) -> None:
    findings = demo_plan.findings
    assert isinstance(findings, pd.DataFrame)
    pd.testing.assert_frame_equal(pickle.loads(pickle.dumps(findings)), findings)
