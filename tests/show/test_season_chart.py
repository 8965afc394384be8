import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.show.season_chart import season_chart
from tests.show.hazardous import ATTACK


@pytest.fixture
def season():
    return pd.DataFrame({
        "day": pd.date_range("2031-06-24", periods=8, freq="D"),
        "beta_deg": [66.0, 68.0, 70.0, 71.0, 70.5, 69.0, 67.5, 65.0],
        "night_min_per_rev": [9.0, 4.0, 0.0, 0.0, 0.0, 2.0, 5.0, 10.0],
        "revs_with_night": [15, 15, 0, 0, 0, 8, 15, 15],
    })


def trace_named(figure, name):
    return next(trace for trace in figure.data if trace.name == name)


def test_both_curves_carry_every_day(season):
    figure = season_chart(season)
    days = [f"2031-06-{day}" for day in range(24, 31)] + ["2031-07-01"]
    for name, column in (("beta", "beta_deg"), ("night", "night_min_per_rev")):
        assert list(trace_named(figure, name).x) == days
        assert list(trace_named(figure, name).y) == list(season[column])


def test_days_without_night_are_shaded_crossed_counted_and_named(season):
    figure = season_chart(season)
    assert list(trace_named(figure, "days without night").x) == ["2031-06-26", "2031-06-27", "2031-06-28"]
    (band,) = figure.layout.shapes
    assert (band.x0, band.x1) == ("2031-06-25T12:00:00", "2031-06-28T12:00:00")
    assert "days without night: 3" in figure.layout.title.text
    assert "Days without night: 2031-06-26 to 2031-06-28." in figure.alt


def test_a_season_with_night_on_every_day_has_no_such_mark(season):
    season["revs_with_night"] = 15
    figure = season_chart(season)
    assert not figure.layout.shapes
    assert {trace.name for trace in figure.data} == {"beta", "night"}


def test_hover_says_date_day_of_year_beta_and_night(season):
    # 24 June is day 31 + 28 + 31 + 30 + 31 + 24 = 175.
    text = trace_named(season_chart(season), "beta").hovertext[0]
    assert text == ("2031-06-24 (day 175): beta +66.0°, night 9.0 min a revolution, "
                    "in 15 of the day's revolutions.")


def test_the_json_is_plain_and_the_same_every_time(season):
    text = season_chart(season).to_json()
    assert text == season_chart(season.copy()).to_json()
    assert '"bdata"' not in text


def test_a_real_season_draws():
    orbit = pk.load_orbit("tests/data/tern-2/orbit.json")
    figure = season_chart(pk.season(orbit, "2031-05-01", "2031-05-31"), theme="dark")
    assert len(trace_named(figure, "beta").x) >= 30


def test_an_empty_season_is_an_empty_chart(season):
    assert season_chart(season.iloc[:0]).alt == "Season chart without days."


BETA_HAZARDS = [
    {"hazard": "HOT", "title": f"Hot rail {ATTACK}", "class": "caution", "places": "MID",
     "when": "abs(beta)>70", "limit": "no_contact"},
    {"hazard": "COLD", "title": "Cold rail", "class": "warning", "places": "POR",
     "when": "beta<=-40 and night", "limit": "no_contact", "controls": "I-LMP"},
    {"hazard": "MAST", "title": "Mast", "class": "warning", "places": "MST", "limit": "keep_out"},
]


@pytest.fixture
def with_beta_hazards(small):
    return small.with_table("hazards", pd.DataFrame(BETA_HAZARDS, columns=small.hazards.columns))


def test_bands_of_beta_in_which_a_hazard_is_there_are_drawn_and_named(season, with_beta_hazards):
    figure = season_chart(season, scenario=with_beta_hazards)
    hot, cold = (next(trace for trace in figure.data if name in trace.name) for name in ("Hot", "Cold"))
    low, high = figure.layout.yaxis.range
    # The limit is drawn as much too low as the swing of beta is; below, -70 is never shown.
    assert (low, high) == (60, 76)
    assert list(hot.y[:5]) == pytest.approx([69.95, 76, 76, 69.95, 69.95])
    assert (hot.x[0], hot.x[2]) == ("2031-06-23T12:00:00", "2031-07-01T12:00:00")
    assert "Hot rail &lt;img" in hot.name
    assert "<img" not in figure.to_json()
    assert cold.name == "WARNING Cold rail: controlled by I-LMP (not reached)"
    assert list(cold.y) == [None]
    told = cold.text.replace("<br>", " ")
    assert "no contact unless I-LMP in force. There while beta is at most −40°" in told
    assert not [trace for trace in figure.data if "Mast" in trace.name]


def test_days_in_a_band_say_so(season, with_beta_hazards):
    figure = season_chart(season, scenario=with_beta_hazards)
    beta = trace_named(figure, "beta")
    # 66, 68, 70, 71, 70.5, 69, ...: three noons above 69.95.
    assert ["Hot rail" in text for text in beta.hovertext] == [False, False, True, True, True] + 3 * [False]
    assert "at noon on 2031-06-26 to 2031-06-28." in figure.alt
    assert "WARNING Cold rail: controlled by I-LMP: beta in its band at noon on no day." in figure.alt
    empty = season_chart(season.iloc[:0], scenario=with_beta_hazards)
    assert empty.alt.startswith("Season chart without days.")


def test_what_is_no_scenario_is_refused(season):
    with pytest.raises(pk.ScenarioError):
        season_chart(season, scenario="tern-station")
