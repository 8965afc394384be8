"""Tornado and fan: what is drawn is what the tables say."""

from __future__ import annotations

import pytest

import planning_kit as pk
from planning_kit.inputs.times import pet_label
from planning_kit.show.chart import axis_ms


@pytest.fixture(scope="module")
def demo_odds(demo_plan: pk.Plan) -> pk.Odds:
    return demo_plan.odds(samples=2_000)


def trace_named(figure, beginning):
    return next(trace for trace in figure.data if trace.name.startswith(beginning))


def test_tornado_bars_reach_from_the_median_to_the_ends_of_the_table(demo_odds):
    figure = pk.tornado_chart(demo_odds, rows=5)
    drivers = demo_odds.drivers.nlargest(5, "swing_min")
    median = axis_ms(demo_odds.median_end_min)
    for name, column in (("end when in its shortest", "end_if_short_min"),
                         ("end when in its longest", "end_if_long_min")):
        trace = trace_named(figure, name)
        assert set(trace.base) == {median}
        assert [median + x for x in trace.x] == [axis_ms(end) for end in drivers[column]]
    assert figure.layout.yaxis.ticktext[0] == "<b>Pace of the whole outing</b>"
    assert list(figure.layout.yaxis.range) == [4.5, -0.5]  # the widest on top
    assert "<b>CL2</b> " in " ".join(figure.layout.yaxis.ticktext)


def test_short_and_long_differ_by_pattern_not_by_colour_alone(demo_odds):
    figure = pk.tornado_chart(demo_odds)
    patterns = [trace.marker.pattern.shape for trace in figure.data[:2]]
    assert patterns == ["/", ""]


def test_fan_rows_follow_the_plan_and_end_with_both_inside(demo_odds):
    figure = pk.fan_chart(demo_odds)
    finish = demo_odds.task_finish.sort_values("planned_min", kind="stable")
    labels = list(figure.layout.yaxis.ticktext)
    assert [label.split("</b>")[0].removeprefix("<b>") for label in labels[:-1]] == finish["task"].tolist()
    assert labels[-1] == "<b>Both inside</b>"
    half = trace_named(figure, "middle half")
    assert list(half.base)[:-1] == [axis_ms(value) for value in finish["q25"]]
    assert [base + x for base, x in zip(half.base, half.x, strict=True)][:-1] == [
        axis_ms(value) for value in finish["q75"]]
    assert list(trace_named(figure, "on likely").x)[-1] == axis_ms(demo_odds.plan.end_min)


def test_fan_says_the_chance_of_each_row(demo_odds):
    figure = pk.fan_chart(demo_odds)
    told = [note.text for note in figure.layout.annotations if note.name == "chance"]
    hard = demo_odds.summary.set_index("item").loc["both inside by the hard limit"]
    assert told[-1] == f"{100 * hard['p']:.1f} % ± {100 * hard['se']:.1f}"
    assert len(told) == len(figure.layout.yaxis.ticktext)
    assert {shape.name for shape in figure.layout.shapes} >= {"planned limit", "hard limit", "night 1"}


@pytest.mark.parametrize("chart", [pk.tornado_chart, pk.fan_chart])
def test_axes_say_which_times_they_show(demo_odds, chart):
    names = {note.name: (note.text, note.y) for note in chart(demo_odds).layout.annotations}
    assert names["GMT"] == ("GMT DDD/hh:mm", 1)
    assert names["PET"] == ("PET h:mm", 0)


def test_charts_say_in_words_what_they_show(demo_odds):
    median = pet_label(demo_odds.median_end_min)
    assert f"median outing end {median}" in pk.tornado_chart(demo_odds).alt
    assert f"something broken in {100 * demo_odds.p_broken:.1f} %" in pk.fan_chart(demo_odds).alt
    assert "2\u00a0000 samples (seed 1)" in pk.fan_chart(demo_odds).layout.title.text


@pytest.mark.parametrize("chart", [pk.tornado_chart, pk.fan_chart])
def test_json_is_plain_and_themes_are_checked(demo_odds, chart):
    text = chart(demo_odds, theme="dark").to_json()
    assert '"bdata"' not in text
    assert text == chart(demo_odds, theme="dark").to_json()
    with pytest.raises(pk.ScenarioError, match="theme"):
        chart(demo_odds, theme="pink")


@pytest.mark.parametrize("rows", [0, -1, 2.5, "ten", True])
def test_a_number_of_rows_without_sense_is_refused(demo_odds, rows):
    with pytest.raises(pk.ScenarioError, match="rows"):
        pk.tornado_chart(demo_odds, rows=rows)


@pytest.mark.parametrize("chart", [pk.tornado_chart, pk.fan_chart])
def test_titles_are_shown_not_acted_on(small, chart):
    evil = "<a href='x'>y</a>$x$"
    steps, tasks = small.steps, small.tasks
    steps["title"], tasks["title"] = evil, evil
    scenario = small.with_table("steps", steps).with_table("tasks", tasks).with_settings({"title": evil})
    figure = chart(pk.time_plan(scenario).odds(samples=100))
    assert evil in figure.alt or "Fan chart" in figure.alt
    figure.layout.meta = {}  # the words for readers that draw nothing are plain text
    shown = figure.to_json().replace("\\u003c", "<").replace("\\u0026", "&")
    assert "<a href" not in shown
    assert "&lt;a href" in shown
    assert "$x$" not in shown


@pytest.mark.parametrize("chart", [pk.tornado_chart, pk.fan_chart])
def test_odds_without_spread_or_with_much_broken_still_draw(small, chart):
    still = small.with_settings({"odds.distribution": "fixed"})
    assert chart(pk.time_plan(still).odds(samples=100)).alt
    steps = small.steps
    steps.loc[steps["step"] == "B3", ["minutes_low", "minutes_likely", "minutes_high"]] = [30, 30.5, 400]
    rarely = pk.time_plan(small.with_table("steps", steps)).odds(samples=100)
    assert rarely.p_broken > 0.5
    assert chart(rarely).alt
    steps.loc[steps["step"] == "B3", ["minutes_low", "minutes_likely", "minutes_high"]] = [30, 30.9, 14000]
    assert chart(pk.time_plan(small.with_table("steps", steps)).odds(samples=100)).alt
