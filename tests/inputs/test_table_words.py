"""Tables as people read them: heads in words, units, PET and GMT, rounded to the safe side."""

import contextlib
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs.shown_text import ShownTable, TextTable
from planning_kit.inputs.table_words import cells_of, head_words

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "scenarios" / "small-outing"
PET_ZERO = datetime(2031, 5, 14, 11, 10, tzinfo=UTC)


@pytest.mark.parametrize(("column", "words"), [
    ("start_min", ("start", "PET")), ("slack_to_plan_min", ("slack to plan", "min")),
    ("reach_m", ("reach", "m")), ("minutes_likely", ("likely", "min")), ("is_cliff", ("cliff", "")),
    ("p", ("chance", "")), ("p_hard", ("hard", "chance")), ("set_by_gmt", ("set by", "GMT")),
    ("title", ("title", "")), (("at_min", "max"), ("at min max", "")),
])
def test_a_head_is_words_and_a_unit(column, words):
    assert head_words(column) == words


def test_minutes_of_the_outing_are_pet_and_have_their_gmt():
    values = pd.Series([125.4, np.nan, -3.0])
    assert cells_of("start_min", values) == ["2:05", "–", "−0:03"]
    # 11:10 and 2:05 is 13:15 of day 134 (14 May of a year without a leap day: 31+28+31+30+14)
    assert cells_of("start_min", values, PET_ZERO)[0] == "2:05 (134/13:15)"


@pytest.mark.parametrize(("column", "value", "shown"), [
    ("margin_min", 5.57, "5.5"), ("time_back_min", 5.51, "5.6"), ("moved_min", 5.57, "5.6"),
    ("turn_back_by_min", 59.9, "0:59"), ("lift_after_min", 59.1, "1:00"), ("start_min", 59.6, "1:00"),
    ("reach_m", 25.91, "26.0"), ("tether_m", 25.99, "25.9"), ("oxygen_left_g", 586.9, "586"),
    ("p_missed", 0.5574, "0.557"), ("margin", -np.inf, "−∞"),
])
def test_numbers_are_rounded_to_the_safe_side(column, value, shown):
    assert cells_of(column, pd.Series([value])) == [shown]


def test_whole_numbers_yes_and_no_and_days():
    assert cells_of("minutes", pd.Series([5.0, 12.0])) == ["5", "12"]
    assert cells_of("is_cliff", pd.Series([True, False])) == ["yes", "no"]
    days = pd.Series(pd.to_datetime(["2031-05-14", None], utc=True))
    assert cells_of("day", days) == ["2031-05-14", "–"]
    assert cells_of("start", pd.Series([pd.Timestamp(PET_ZERO)])) == ["134/11:10"]
    assert cells_of("held_by_a", pd.Series(["order:X1"])) == ["Starts as soon as X1 is done"]


def test_numbers_stand_to_the_right_and_text_to_the_left():
    page = ShownTable({"crew": ["EV1"], "reach_m": [3.0]})._repr_html_()
    assert '<td style="text-align: left">EV1</td>' in page
    assert '<td style="text-align: right; white-space: nowrap">3</td>' in page
    assert "<small>m</small>" in page


def test_what_is_selected_keeps_its_words_and_its_gmt():
    plan = pk.time_plan(pk.load_scenario(SMALL))
    chosen = plan.tightest[["step", "at_min"]].head(2)
    assert isinstance(chosen, ShownTable)
    assert "/" in chosen._repr_html_()
    assert "PET" in chosen._repr_html_()
    assert "/" not in re.sub("</[a-z]+>", "", plan.timeline[["start_min"]]._repr_html_())  # it has its GMT
    assert "held_by" in repr(plan.timeline)
    assert "at_min" in repr(chosen)  # as text it stays pandas' own, with the names that code uses


def test_names_and_texts_are_shown_to_the_letter():
    page = TextTable({"<b>x</b>": ["<script>1</script> $x$"]})._repr_html_()
    assert "<b>" not in page
    assert "<script>" not in page
    assert "$x$" not in page


def test_long_tables_show_both_ends_and_say_what_is_left_out():
    with pd.option_context("display.max_rows", 10):
        page = ShownTable({"n": range(100)})._repr_html_()
    assert page.count("<tr>") == 12
    assert "… 90 more rows" in page


LENGTHS = {
    "abort_min", "alone_min", "emergency_margin_min", "end_slip_min", "hold_min", "margin_min", "open_min",
    "partner_abort_min", "partner_margin_min", "partner_suit_margin_min", "partner_terminate_min",
    "safe_now_min", "safe_orderly_min", "slack_to_limit_min", "slack_to_plan_min", "slack_to_window_min",
    "stay_min", "suit_margin_min", "terminate_min", "time_back_min", "with_partner_min",
}


@pytest.mark.parametrize("name", ["tern-1", "curlew-deck", "orders-larch"])
def test_every_column_of_minutes_is_a_moment_or_a_length_on_purpose(name):
    """A new column of moments that nobody named would read as a length."""
    plan = pk.time_plan(pk.load_scenario(ROOT / "tests" / "data" / name))
    tables = [table for part in dir(type(plan)) if isinstance(table := _asked(plan, part), pd.DataFrame)]
    columns = {column for table in tables for column in map(str, table.columns) if column.endswith("_min")}
    lengths = {column for column in columns if head_words(column)[1] == "min"}
    assert columns
    assert lengths <= LENGTHS


def _asked(plan, part):
    """A table of the plan; nothing where it is none, or of a log that there is not."""
    with contextlib.suppress(pk.ScenarioError):
        return None if part.startswith("_") else getattr(plan, part)
