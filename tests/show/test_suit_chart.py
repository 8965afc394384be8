"""The suit chart: the plan's own numbers, on the axis of the swimlane chart, safe to show."""

from __future__ import annotations

import math

import pytest

import planning_kit as pk
from planning_kit.show.suit_chart import suit_chart
from planning_kit.show.swimlane import swimlane
from tests.edits import edited

MS_PER_MIN = 60_000


@pytest.fixture(scope="module")
def figure(demo_plan):
    return suit_chart(demo_plan)


def traces_named(figure, name):
    return [trace for trace in figure.data if trace.name == name and not trace.showlegend]


def test_it_stands_under_the_swimlane_on_the_same_axis(figure, demo_plan):
    above = swimlane(demo_plan).layout
    assert figure.layout.xaxis.range == above.xaxis.range
    assert (figure.layout.margin.l, figure.layout.margin.r) == (above.margin.l, above.margin.r)
    assert figure.layout.xaxis.labelalias == above.xaxis.labelalias
    nights = [shape for shape in figure.layout.shapes if shape.name.startswith("night")]
    assert [(shape.x0, shape.x1) for shape in nights] == [
        (shape.x0, shape.x1) for shape in above.shapes if shape.name.startswith("night")]


def test_each_consumable_of_each_suit_is_drawn_in_percent(figure, demo_plan):
    # Usable amounts as in the scenario: 590 g of oxygen for EV1, 575 g for EV2.
    first, second = traces_named(figure, "oxygen")
    for trace, crew, usable in ((first, "EV1", 590), (second, "EV2", 575)):
        rows = demo_plan.suits[demo_plan.suits["crew"] == crew]
        assert list(trace.x) == [round(minute * MS_PER_MIN) for minute in rows["at_min"]]
        percent = [100 * left / usable for left in rows["oxygen_left_g"]]
        assert list(trace.y) == pytest.approx(percent, abs=1e-3)
    assert {trace.yaxis for trace in (first, second)} == {"y", "y2"}
    assert len(traces_named(figure, "reserve 10 %: oxygen, CO2 capacity, energy, cooling water")) == 2


def test_margins_alone_with_the_partner_and_of_the_suit(figure, demo_plan):
    for name, column in (("alone", "emergency_margin_min"), ("with the partner", "partner_margin_min")):
        for trace, crew in zip(traces_named(figure, name), ("EV1", "EV2"), strict=True):
            margins = demo_plan.returns.loc[demo_plan.returns["crew"] == crew, column]
            assert list(trace.y) == pytest.approx(margins.tolist(), abs=1e-3)
    (lasting,) = traces_named(figure, "EV2")
    assert list(lasting.y) == pytest.approx(
        demo_plan.returns.query("crew == 'EV2'")["suit_margin_min"].tolist(), abs=1e-3)


def test_the_worst_points_are_named(figure, demo_plan):
    summary = demo_plan.return_summary.set_index(["crew", "case"])
    worst = summary.loc["EV1", "emergency oxygen, with the partner"]
    texts = [text for trace in traces_named(figure, "worst") for text in trace.text]
    assert f"−{-worst['margin_min']:.1f} min at 1:30, Regulator bay, boom end" in texts
    assert len(texts) == 4  # two people, alone and with the partner


def test_it_says_in_words_what_it_shows(figure, demo_plan):
    left = demo_plan.suit_summary.query("crew == 'EV1' and consumable == 'oxygen'").iloc[0]
    assert f"EV1 ends with oxygen {100 * left['left'] // 590:.0f} %" in figure.alt
    assert "EV1, emergency oxygen, with the partner: least margin −" in figure.alt


def test_the_latest_turn_back_is_said_so_that_it_makes_sense(figure, small):
    # The demo keeps the reserve alone all the way; the hard limit is 7:00, ingress takes 10 min.
    headings = " ".join(str(each.text) for each in figure.layout.annotations)
    assert headings.count("alone the reserve is kept all the way; begin ingress by 6:50 at the latest") == 2
    # 20 of 30 min kept: EV1 at 0:16, see test_returns; EV2, 10 m out, always keeps them; 2:10 less 8 min.
    tight = suit_chart(pk.time_plan(small.with_settings({"limits.return_reserve_min": 20})))
    headings = " ".join(str(each.text) for each in tight.layout.annotations)
    # It goes on to the Mast head all the same: no time to turn back by, but what it breaks.
    assert "emergency oxygen, alone: the plan breaks the reserve of 20 min from 0:16 to " in headings
    assert "turn back by 0:16" not in headings
    assert "begin ingress by 2:02 at the latest" in headings


def test_what_is_not_known_is_not_drawn(small):
    plan = pk.time_plan(small.with_settings({"suit.oxygen_g": None, "limits.emergency_oxygen_min": None}))
    figure = suit_chart(plan)
    assert traces_named(figure, "oxygen") == []
    assert traces_named(figure, "alone") == []
    assert len(traces_named(figure, "energy")) == 2
    nothing = {f"suit.{key}": None for key in ("oxygen_g", "co2_g", "energy_wh", "water_g")}
    empty = suit_chart(pk.time_plan(small.with_settings(nothing)))
    assert "nothing known" in empty.alt
    assert "see the findings" in empty.layout.annotations[0].text


def test_a_suit_that_runs_out_is_drawn_below_zero(small):
    figure = suit_chart(pk.time_plan(small.with_settings({"suit.EV1.energy_wh": 70})))
    first = traces_named(figure, "energy")[0]
    assert min(first.y) < 0
    assert figure.layout.yaxis.range[0] < min(first.y)
    assert "energy would run out first, at 1:01" in figure.layout.annotations[0].text


def test_hostile_text_is_shown_not_obeyed(small):
    bad = '<b onclick="x">$\\alpha$</b>&amp;'
    scenario = edited(small, "places", "MST", title=bad).with_settings({"title": bad})
    figure = suit_chart(pk.time_plan(scenario))
    shown = [figure.layout.title.text, *(str(text) for trace in figure.data
                                         for text in (*(trace.hovertext or ()), *(trace.text or ())))]
    hostile = [text for text in shown if "onclick" in text]
    assert len(hostile) > 10
    assert not any("<b onclick" in text or "$\\alpha" in text for text in hostile)


def test_the_json_is_plain_and_the_same_every_time(figure, demo_plan):
    assert figure.to_json() == suit_chart(demo_plan).to_json()
    assert '"bdata"' not in figure.to_json()
    assert all(value is None or math.isfinite(value) for trace in figure.data for value in trace.y)


def test_dark_and_no_other_theme(small_plan):
    assert suit_chart(small_plan, "dark").layout.paper_bgcolor != suit_chart(small_plan).layout.paper_bgcolor
    with pytest.raises(pk.ScenarioError):
        suit_chart(small_plan, "blue")


def test_the_legend_has_room_below_the_minutes_even_in_two_rows(figure):
    # plotly holds a legend within the figure: one measured while its page was hidden is 58 px high, and where
    # that is more than there is, it is drawn over the minutes.
    layout = figure.layout
    plot_px = layout.height - layout.margin.t - layout.margin.b
    assert layout.margin.b >= -layout.legend.y * plot_px + 58
