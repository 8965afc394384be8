import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.show.sweep_chart import sweep_chart


@pytest.fixture
def sweep():
    end = pd.Series([130.0, 110.0, 95.0, 117.0, 90.0])
    return pd.DataFrame({
        "pet_zero": pd.date_range("2031-09-03T07:00:00Z", periods=5, freq="10min"), "end_min": end,
        "planned_margin_min": 100 - end, "hard_margin_min": 120 - end, "wait_min": end - 80,
        "reason": ["", "", "", "no night", ""],
    })


def trace_named(figure, name):
    return next(trace for trace in figure.data if trace.name == name)


def test_every_row_is_drawn_and_the_line_breaks_where_rules_are_broken(sweep):
    line = trace_named(sweep_chart(sweep), "outing end")
    assert list(line.x) == [f"2031-09-03T07:{minute}0:00" for minute in range(5)]
    assert list(line.y) == [130, 110, 95, None, 90]
    assert line.connectgaps is False


def test_a_plan_that_breaks_rules_is_a_cross_at_its_end_or_at_the_edge(sweep):
    crosses = trace_named(sweep_chart(sweep), "plan breaks rules")
    assert (list(crosses.x), list(crosses.y)) == (["2031-09-03T07:30:00"], [117.0])
    assert crosses.mode == "markers"
    assert [trace.name for trace in sweep_chart(sweep.iloc[:3]).data] == ["outing end"]
    for end_min, edge in ((10.0, 0), (700.0, 1), (float("nan"), 1)):
        sweep.loc[3, "end_min"] = end_min
        figure = sweep_chart(sweep)
        (y,) = trace_named(figure, "plan breaks rules").y
        low, high = figure.layout.yaxis.range
        assert low < y < high
        assert abs(y - (low, high)[edge]) < 0.05 * (high - low)


def test_limits_and_good_spells_are_marked(sweep):
    shapes = sweep_chart(sweep).layout.shapes
    lines = {shape.name: shape.y0 for shape in shapes if shape.type == "line"}
    assert lines == {"planned limit": 100, "hard limit": 120}
    bands = [(shape.name, shape.x0[-8:], shape.x1[-8:]) for shape in shapes if shape.type == "rect"]
    assert bands == [("hard limit kept", "07:10:00", "07:20:00"), ("hard limit kept", "07:40:00", "07:40:00"),
                     ("planned limit kept", "07:20:00", "07:20:00"),
                     ("planned limit kept", "07:40:00", "07:40:00")]
    assert [shape.showlegend for shape in shapes if shape.type == "rect"] == [True, False, True, False]


def test_hover_and_alt_say_it_in_words(sweep):
    # 3 September is day 31 + 28 + 31 + 30 + 31 + 30 + 31 + 31 + 3 = 246; 110 min is 1:50.
    figure = sweep_chart(sweep)
    assert trace_named(figure, "outing end").hovertext[1] == (
        "PET 0 2031-09-03, GMT 246/07:10: both inside at PET 1:50, 10.0 min past the planned limit, "
        "10.0 min inside the hard limit, waiting 30 min in all.")
    assert figure.alt == (
        "Sweep chart, PET 0 2031-09-03T07:00 to 2031-09-03T07:40 UTC: outing end 1:30 to 2:10 PET; plans "
        "that break rules: 1. Within the planned limit: 2031-09-03T07:20 to 2031-09-03T07:20, "
        "2031-09-03T07:40 to 2031-09-03T07:40.")


def test_a_plan_that_breaks_rules_says_which_and_its_words_are_escaped(sweep):
    sweep["reason"] = ["", "", "", "<b>B3</b>: no night", ""]
    (told,) = trace_named(sweep_chart(sweep), "plan breaks rules").hovertext
    assert told == ("PET 0 2031-09-03, GMT 246/07:30: plan breaks rules, both inside at PET 1:57."
                    "<br>&lt;b&gt;B3&lt;/b&gt;: no night")


def test_counted_stops_are_in_the_hover(sweep):
    sweep["stops"] = [2.0, 0.0, 0.0, float("nan"), 1.0]
    assert "stop findings 2" in trace_named(sweep_chart(sweep), "outing end").hovertext[0]


def test_ticks_are_pet_labels_inside_the_range(sweep):
    axis = sweep_chart(sweep).layout.yaxis
    assert list(axis.ticktext) == ["1:30", "1:40", "1:50", "2:00", "2:10"]
    assert all(axis.range[0] <= tick <= axis.range[1] for tick in axis.tickvals)


def test_the_json_is_plain_and_the_same_every_time(sweep):
    text = sweep_chart(sweep, theme="dark").to_json()
    assert text == sweep_chart(sweep.copy(), theme="dark").to_json()
    assert '"bdata"' not in text


@pytest.mark.parametrize("rows", [0, 1])
def test_few_rows_draw(sweep, rows):
    assert sweep_chart(sweep.iloc[:rows]).alt.startswith("Sweep chart")


def test_a_sweep_of_broken_plans_alone_draws(sweep):
    figure = sweep_chart(sweep.iloc[3:4])
    assert "all break rules" in figure.alt


def test_a_real_sweep_draws(small):
    figure = pk.sweep_chart(pk.time_plan(small).sweep("2031-09-03", "2031-09-04", every_min=10))
    assert len(trace_named(figure, "outing end").x) == 145
    assert any(shape.name == "planned limit kept" for shape in figure.layout.shapes)
