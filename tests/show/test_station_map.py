"""The station map: what is drawn at each minute agrees with the plan; nothing typed is acted on."""

from __future__ import annotations

import dataclasses
import json
import math
import pickle
import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.inputs.times import pet_label
from planning_kit.show.chart import MS_PER_MIN
from planning_kit.show.station_map import station_map
from planning_kit.show.station_map_views import name_spots, views_of

ATTACK = "<img src=x onerror=\"window.harmed='yes'\"><a href='javascript:harm()'>b</a>&lt;$x$"
SCENARIOS = Path(__file__).parents[2] / "scenarios"
MOST_BYTES = 2_000_000  # of the demo: a notebook that holds it stays quick to open


@pytest.fixture(scope="module")
def film(demo_plan):
    return json.loads(station_map(demo_plan).to_json())


@pytest.fixture(scope="module")
def small_film(small_plan):
    return json.loads(station_map(small_plan).to_json())


def at(film, name):
    """The traces of the chart as the frame ``name`` leaves them."""
    frame = next(frame for frame in film["frames"] if frame["name"] == name)
    traces = [dict(trace) for trace in film["data"]]
    for place, part in zip(frame["traces"], frame["data"], strict=True):
        traces[place] |= part
    return traces


def named(traces, name):
    return [trace for trace in traces if trace.get("name") == name]


def words(traces):
    return [trace["text"][0] for trace in named(traces, "words")]


def plain(text):
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_frames_cover_the_outing_from_pet_zero_to_its_end(film, demo_plan):
    names = [frame["name"] for frame in film["frames"]]
    minutes = [float(name) for name in names]
    assert minutes[0] == 0
    assert minutes[-1] == pytest.approx(demo_plan.end_min, abs=0.01)
    assert all(0 < after - before <= 1 for before, after in pairwise(minutes))
    assert [step["args"][0][0] for step in film["layout"]["sliders"][0]["steps"]] == names


def test_every_frame_changes_the_same_traces_so_that_any_can_be_jumped_to(film):
    first = film["frames"][0]
    shape = [sorted(part) for part in first["data"]]
    for frame in film["frames"]:
        assert frame["traces"] == first["traces"]
        assert [sorted(part) for part in frame["data"]] == shape
    assert max(first["traces"]) < len(film["data"])


def test_the_crew_are_drawn_where_the_plan_has_them_in_all_three_views(film, demo_plan):
    for minute in (0, 22, 33, 70, 124, 150, 300, 375):
        traces = at(film, str(minute))
        for person in demo_plan.at(minute).people:
            x, y, z = person.point_m
            space, side, above = named(traces, person.crew)
            assert (space["x"][0], space["y"][0], space["z"][0]) == pytest.approx((x, y, z), abs=0.006)
            # The arm lies along y, so y is across; x runs up the page seen from above with z downward.
            assert (side["x"][0], side["y"][0]) == pytest.approx((y, z), abs=0.006)
            assert (above["x"][0], above["y"][0]) == pytest.approx((y, x), abs=0.006)


def test_the_tether_runs_from_the_hook_to_the_person(film, demo_plan):
    table = demo_plan.tethers
    places = demo_plan.scenario.places.set_index("place")
    for minute in (33, 70, 101, 150, 181):
        for crew in ("EV1", "EV2"):
            row = table[(table.crew == crew) & (table.from_min <= minute) & (minute < table.until_min)]
            hook = places.loc[row.hook.iloc[0], ["x_m", "y_m", "z_m"]].astype(float).tolist()
            line = named(at(film, str(minute)), f"tether {crew}")[0]
            person = named(at(film, str(minute)), crew)[0]
            assert [line["x"][0], line["y"][0], line["z"][0]] == pytest.approx(hook)
            assert [line[axis][-1] for axis in "xyz"] == [person[axis][0] for axis in "xyz"]


def test_the_line_of_now_stands_at_the_minute_in_the_swimlanes(film):
    for minute in (0, 124, 375):
        assert named(at(film, str(minute)), "now")[0]["x"] == [minute * MS_PER_MIN] * 2
    low, high = film["layout"]["xaxis"]["range"]
    assert low < 0
    assert high > float(film["frames"][-1]["name"]) * MS_PER_MIN


def test_the_words_say_what_the_plan_says(film):
    sky, first, second = (plain(text) for text in words(at(film, "124")))
    assert sky.startswith("PET 2:04 GMT 134/13:24 Sun (day 2) until 2:19.")  # PET 0 at GMT 134/11:20
    assert "I-DRV in force until 3:07" in sky
    assert "I-PWR" not in sky  # lead 8 min before X1 at 2:21: from 2:13
    assert first.startswith("EV1 wait until 2:10 RG5 Wait for EV2.")
    assert "Tether hooked at BK, 23.0 of 26 m out." in first
    assert "From Boom outer bracket to Regulator bay, boom end." in second
    assert "Holds driver-2, ■ carrier [reg-new]." in second
    assert "CONCERN routes: EV2 carries bulky carrier" in second
    night = plain(words(at(film, "150"))[0])
    assert "Shadow (night 2) until 2:54." in night
    assert "I-PWR in force until 2:39" in night


def test_bags_and_footholds_lie_where_custody_has_them(film, demo_plan):
    custody = demo_plan.custody
    for minute in (10, 60, 100, 150, 230, 290):
        now = custody[(custody.from_min <= minute) & (custody.until_min > minute) & (custody.in_bag == "")
                      & custody.holder.isin(demo_plan.scenario.places.place)]
        for kind in ("bag", "foothold"):
            wanted = sorted(f"{row.title} at {row.holder}" for row in now[now.kind == kind].itertuples())
            _, side, above = named(at(film, str(minute)), f"{kind}s")
            assert sorted(side["hovertext"]) == sorted(above["hovertext"]) == wanted


def test_the_ground_darkens_in_the_shadow_alone(film):
    fills = {minute: named(at(film, minute), "ground")[0]["fillcolor"]
             for minute in ("20", "60", "124", "150")}
    assert fills["20"] == fills["124"] != fills["60"] == fills["150"]


def test_tight_and_snag_routes_are_told_apart(film, demo_plan):
    routes = demo_plan.scenario.routes
    for name, column in (("tight route", "tight"), ("snag route", "snag")):
        lines = named(film["data"], name)
        assert len(lines) == 3
        assert all(len(line["x"]) == 3 * (routes[column] == "yes").sum() for line in lines)
    looks = {named(film["data"], name)[0]["line"]["dash"] for name in ("route", "tight route", "snag route")}
    assert len(looks) == 3


def test_the_lists_jump_to_the_first_frame_in_each_step_and_to_the_timed_findings(film, demo_plan):
    steps, found = film["layout"]["updatemenus"][1:]
    work = demo_plan.timeline[(demo_plan.timeline.kind == "work") & (demo_plan.timeline.step != "")]
    starts = work.groupby("step").start_min.min()
    entries = {button["label"].split()[1]: float(button["args"][0][0]) for button in steps["buttons"][1:]}
    assert set(entries) == set(starts.index)
    assert all(0 <= entries[step] - start < 1 for step, start in starts.items())
    timed = demo_plan.findings[demo_plan.findings.start_min.notna()]
    assert len(found["buttons"]) == 1 + len(timed)
    names = {frame["name"] for frame in film["frames"]}
    assert {b["args"][0][0] for menu in (steps, found) for b in menu["buttons"][1:]} <= names


def test_play_has_three_speeds_and_a_pause(film):
    buttons = film["layout"]["updatemenus"][0]["buttons"]
    assert [button["label"] for button in buttons] == ["▶ slow", "▶ play", "▶ fast", "❚❚ pause"]
    slow, play, fast = (button["args"][1]["frame"]["duration"] for button in buttons[:3])
    assert slow > play > fast > 0
    assert buttons[3]["args"][0] == [None]


def test_the_json_is_small_the_same_every_time_and_of_plain_lists(film, demo_plan):
    text = station_map(demo_plan).to_json()
    assert len(text) < MOST_BYTES
    assert json.loads(text) == film
    assert "bdata" not in text


def test_a_still_picture_is_the_film_at_that_minute_without_controls(film, demo_plan):
    still = json.loads(station_map(demo_plan, at_min=150).to_json())
    assert not still.get("frames")
    assert "sliders" not in still["layout"]
    assert "updatemenus" not in still["layout"]
    shown = [trace for trace in still["data"] if trace["name"] != "primer"]
    assert shown == [trace for trace in at(film, "150") if trace["name"] != "primer"]
    assert "PET 2:30" in still["layout"]["title"]["text"]


def test_a_still_picture_between_two_frames(demo_plan):
    """Minute 76.5 of the demo: EV1 on the way from BK (y 20) to BO (y 33), 1:14.15 to 1:17.31."""
    still = station_map(demo_plan, at_min=76.5)
    person = next(trace for trace in still.data if trace.name == "EV1")
    assert person.y[0] == pytest.approx(20 + 13 * (76.5 - 74.15385) / (77.30769 - 74.15385), abs=0.01)


@pytest.mark.parametrize("wrong", [{"theme": "blue"}, {"down": "z"}, {"at_min": -5}, {"at_min": 5000},
                                   {"every_min": 0}])
def test_wrong_wishes_are_refused_in_words(small_plan, wrong):
    with pytest.raises(pk.ScenarioError):
        station_map(small_plan, **wrong)


def test_dark_is_another_look_of_the_same_places(small_plan, small_film):
    dark = json.loads(station_map(small_plan, theme="dark").to_json())
    assert dark["layout"]["paper_bgcolor"] != small_film["layout"]["paper_bgcolor"]
    assert [trace["x"] for trace in dark["data"]] == [trace["x"] for trace in small_film["data"]]


@pytest.mark.parametrize("name", ["tern-station", "small-outing", "faulty-plan"])
def test_everybody_is_within_the_view_in_space(name):
    """Projected by hand as plotly.js does it: looking at the middle of the ranges, 45 degrees high."""
    scenario = pk.load_scenario(SCENARIOS / name)
    scene = station_map(pk.time_plan(scenario), at_min=1).layout.scene
    eye = np.array([scene.camera.eye.x, scene.camera.eye.y, scene.camera.eye.z])
    ahead = -eye / np.linalg.norm(eye)
    right = np.cross(ahead, [0, 0, scene.camera.up.z])
    right /= np.linalg.norm(right)
    up = np.cross(right, ahead)
    axes = (scene.xaxis, scene.yaxis, scene.zaxis)
    lengths = np.array([scene.aspectratio.x, scene.aspectratio.y, scene.aspectratio.z])
    ranges = np.array([axis.range for axis in axes])
    per_m = lengths / (ranges[:, 1] - ranges[:, 0])
    assert per_m == pytest.approx(per_m[0], rel=1e-3), "one scale in space"
    places = scenario.places[["x_m", "y_m", "z_m"]].to_numpy(float)
    seen = (places - ranges.mean(axis=1)) * per_m - eye
    depth = seen @ ahead
    assert (depth > 0).all()
    half = math.tan(math.radians(22.5))
    across, above = seen @ right / depth / half, seen @ up / depth / half
    assert np.abs(above).max() < 0.95
    assert np.abs(across).max() < 0.95 * 1.45  # wide as on a narrow screen
    assert max(np.abs(above).max(), np.abs(across).max() / 1.45) > 0.6, "and no smaller than need be"


def test_the_film_brings_its_keys_and_a_still_picture_none(small_plan, capsys):
    film, still = station_map(small_plan, every_min=10), station_map(small_plan, at_min=10)
    assert still._ipython_display_ is None
    assert callable(film._ipython_display_)
    assert "every 10 min" in film.layout.title.text
    assert "every" not in still.layout.title.text


def test_fewer_frames_on_demand(small_plan):
    names = [frame.name for frame in station_map(small_plan, every_min=10).frames]
    assert names[:3] == ["0", "10", "20"]


def test_the_chart_says_in_words_what_it_shows(small_plan):
    chart = station_map(small_plan)
    assert chart.alt.startswith("Station map: ")
    assert pet_label(small_plan.end_min) in chart.alt
    assert set(chart._repr_mimebundle_()) == {"application/vnd.plotly.v1+json", "text/plain"}


def strings(value):
    if isinstance(value, dict):
        for inner in value.values():
            yield from strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from strings(inner)
    elif isinstance(value, str):
        yield value


OWN_MARKUP = re.compile(r"</?b>|<br>|</span>|<span style=\"(font-size:\d+px)?;?(color:#[0-9A-Fa-f]{6})?\">")


def test_hostile_text_stays_text(small):
    for name in ("steps", "tasks", "places", "hardware", "inhibits", "routes"):
        table = small.table(name)
        for column in ("title", "caution", "reason", "owner", "objective"):
            if column in table:
                table[column] = ATTACK
        small = small.with_table(name, table)
    plan = pk.time_plan(small)
    settings = dataclasses.replace(plan.scenario.records.settings, title=ATTACK, station=ATTACK)
    nasty = dataclasses.replace(plan.timed, scenario=Titled(plan.scenario, settings))
    shown = json.loads(station_map(nasty).to_json())
    shown["layout"].pop("meta")  # the alternative text is escaped where it becomes HTML
    texts = list(strings(shown))
    assert any("&lt;img" in text for text in texts)
    for text in texts:
        rest = OWN_MARKUP.sub("", text)
        assert "<" not in rest, text
        assert "$" not in rest, text


class Titled:
    """A scenario under another ``scenario.toml``."""

    def __init__(self, scenario, settings):
        self._scenario = scenario
        self.records = dataclasses.replace(scenario.records, settings=settings)
        self.settings = settings

    def __getattr__(self, name):
        return getattr(self._scenario, name)


def test_names_cover_neither_each_other_nor_marks():
    marks = [(0.0, 0.0), (6.0, 0.0), (0.0, 8.0), (100.0, 0.0)]
    spots = name_spots(marks, [30.0] * 4)
    assert spots[3] == "top right"
    assert len(set(spots[:3])) == 3  # too near for the same side


def test_a_name_with_no_room_is_left_out():
    crowd = [(float(x), float(y)) for x in range(0, 60, 6) for y in range(0, 60, 6)]
    assert "" in name_spots(crowd, [30.0] * len(crowd))


@pytest.mark.parametrize("down", ["+z", "-z"])
@pytest.mark.parametrize("long_axis", [0, 1])
def test_no_view_is_mirrored(demo, down, long_axis):
    """Seen from above, across x up the page points at the reader. For the camera, d x up = across."""
    places = demo.records.places
    if long_axis == 0:
        places = tuple(dataclasses.replace(p, x_m=p.y_m, y_m=p.x_m) for p in places)
    views = views_of(places, down)
    across, page_up = (unit(axis) for axis in (views.above.across, views.above.up))
    assert cross(across, page_up) == unit(views.side.up)
    assert views.side.up == ("-z" if down == "+z" else "+z")
    assert views.side.across == ("+x" if long_axis == 0 else "+y")
    camera = views.camera
    looking = [-camera["eye"][name] for name in "xyz"]
    to_the_right = cross(looking, [camera["up"][name] for name in "xyz"])
    assert sum(a * b for a, b in zip(to_the_right, unit(views.side.across), strict=True)) > 0
    assert camera["eye"]["z"] * unit(views.side.up)[2] > 0  # from above
    assert math.hypot(*looking) == pytest.approx(1.5, abs=0.01)


def unit(axis):
    return [(1 if axis[0] == "+" else -1) if name == axis[1] else 0 for name in "xyz"]


def cross(a, b):
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]


def test_frames_are_the_same_as_data_and_as_objects_of_plotly(small_plan):
    film = station_map(small_plan, every_min=20)
    told = json.loads(film.to_json())["frames"]
    assert [json.loads(frame.to_json()) for frame in film.frames] == told
    assert json.loads(film.to_json())["frames"] == told == json.loads(pickle.loads(
        pickle.dumps(film)).to_json())["frames"]
    film.frames = film.frames[:2]
    assert len(json.loads(film.to_json())["frames"]) == 2
