"""Stills of the film: what is in them, in which light, told apart in grey, labels apart; valid SVG."""

from __future__ import annotations

from base64 import b64decode
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.plan.shots import camera_at
from planning_kit.plan.surfaces import surfaces_of
from planning_kit.show.pack.content import Area, Box, Label, Line, Mark, Picture
from planning_kit.show.still import still_picture
from planning_kit.show.still_view import HEIGHT, WIDTH
from tests.attack.outputs import PAYLOADS
from tests.conftest import SCENARIOS
from tests.edits import edited
from tests.glb_bytes import box_glb

DATA = Path(__file__).parents[1] / "data"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def tern() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station"))


@pytest.fixture(scope="module", params=[SCENARIOS / "tern-station", SCENARIOS / "small-outing",
                                        SCENARIOS / "faulty-plan", DATA / "curlew-deck",
                                        DATA / "orders-hazel"], ids=lambda folder: folder.name)
def plan(request: pytest.FixtureRequest) -> pk.Plan:
    return pk.time_plan(pk.load_scenario(request.param))


def boxes_of(picture: Picture) -> list[Box]:
    """The grounds of the labels: all boxes but the first, which is that of the picture."""
    return [shape for shape in picture.shapes if isinstance(shape, Box)][1:]


def test_no_label_lies_on_another_or_on_the_edge(plan: pk.Plan) -> None:
    for number, minute in enumerate(np.random.default_rng(2).uniform(0, plan.end_min, 50)):
        picture = still_picture(plan.timed, minute, ("both", "EV1", "station")[number % 3])
        boxes = boxes_of(picture)
        for one, other in combinations(boxes, 2):
            assert (one.x + one.width <= other.x or other.x + other.width <= one.x
                    or one.y + one.height <= other.y or other.y + other.height <= one.y)
        for shape in picture.shapes:
            for x, y in shape.points if isinstance(shape, Area | Line) else [(shape.x, shape.y)]:
                assert -0.11 <= x <= WIDTH + 0.11
                assert -0.11 <= y <= HEIGHT + 0.11


def test_both_are_in_the_picture_of_both(plan: pk.Plan) -> None:
    for minute in np.linspace(0, plan.end_min, 20):
        picture = still_picture(plan.timed, minute, "both")
        helmets = [shape for shape in picture.shapes if isinstance(shape, Mark)]
        assert len(helmets) == 4, "a helmet and a visor each"
        assert {"EV1", "EV2"} <= {shape.text for shape in picture.shapes if isinstance(shape, Label)}


def luminance(colour: str) -> float:
    red, green, blue = (int(colour[k:k + 2], 16) for k in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_the_two_are_told_apart_in_grey(tern: pk.Plan) -> None:
    """By the share of a suit that is dark: wide bands cover more than twice what thin rings do."""
    for minute in (60.0, 110.0, 300.0):
        picture = still_picture(tern.timed, minute, "both")
        inks = {shape.text: shape.colour for shape in picture.shapes if isinstance(shape, Label)}
        suits = [n for n, shape in enumerate(picture.shapes)
                 if isinstance(shape, Area) and shape.fill == "#F4F4F0"]
        dark = {}
        for at in suits:
            bands = []
            for shape in picture.shapes[at + 1:]:
                if not isinstance(shape, Area):
                    break
                bands.append(shape)
            who = next(name for name in ("EV1", "EV2") if inks[name] == bands[0].fill)
            dark[who] = sum(map(area, bands)) / area(picture.shapes[at]), len(bands)
            assert luminance(bands[0].fill) < 130
        assert dark["EV1"][0] > 2 * dark["EV2"][0]
        assert dark["EV1"][1] < dark["EV2"][1]


def area(shape: object) -> float:
    assert isinstance(shape, Area)
    x, y = np.array(shape.points).T
    return float(abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2)


def test_night_is_dark_and_day_is_lit_from_the_sun(tern: pk.Plan) -> None:
    night, day = (tern.timed.light.night[0].mean(), tern.timed.light.day[1].mean())
    grounds, lit = {}, {}
    for name, minute in (("night", night), ("day", day)):
        picture = still_picture(tern.timed, float(minute), "station")
        assert f", {name}." in picture.alt
        ground = picture.shapes[0]
        assert isinstance(ground, Box)
        grounds[name] = luminance(ground.fill)
        lit[name] = np.mean([luminance(shape.fill) for shape in picture.shapes if isinstance(shape, Area)])
    assert grounds["night"] < 60 < 200 < grounds["day"]
    assert lit["night"] < lit["day"]


def test_a_place_behind_a_body_has_no_name(tern: pk.Plan) -> None:
    """Looking at the tool box, the solid core hides what is on its other side and below it."""
    picture = still_picture(tern.timed, 100.0, "BOX")
    names = {shape.text for shape in picture.shapes if isinstance(shape, Label)}
    camera = camera_at(tern.timed, 100.0, "BOX")
    station = surfaces_of(tern.scenario.records)
    line = np.linspace(0, 1, 400)[:, None]
    for name in names & {*station.points}:
        seen = station.points[name] + station.frames[name][0] * 0.3
        assert station.nearest(camera.eye + line * (seen - camera.eye))[1].min() > -0.01, name
    assert "BOX" in names


def test_the_front_door_gives_svg(tern: pk.Plan) -> None:
    found = tern.still(157.0, look="REG")
    root = ElementTree.fromstring(found.svg)
    assert root.get("aria-label") == found.alt
    assert "EV1: work X3 at REG, hooked at BK." in found.alt
    assert {each.text for each in root.iter(f"{SVG}text")} >= {"EV1", "EV2"}
    address, rest = found._repr_html_().removeprefix('<img src="data:image/svg+xml;base64,').split('"', 1)
    assert b64decode(address).decode() == found.svg
    assert rest.startswith(f' alt="{found.alt}" ')
    assert found._repr_html_().endswith("</p>")
    assert {"EV1, work until 2:40:", "Holds driver-1, reg-old."} <= {*found.words}
    assert tern.still(157.0, look="REG").svg == found.svg


@pytest.mark.parametrize(("minute", "look"), [(-5, "both"), (1e4, "both"), (10, "NOWHERE"), ("x", "both"),
                                              (10, ""), (10, None)])
def test_what_cannot_be_shown_is_told(tern: pk.Plan, minute: object, look: object) -> None:
    with pytest.raises(pk.ScenarioError):
        tern.still(minute, look)  # type: ignore[arg-type]


def test_text_of_others_is_shown_to_the_letter(tern: pk.Plan) -> None:
    for text in PAYLOADS:
        if text.isprintable():
            scenario = edited(tern.scenario, "steps", "X3", title=text)
            ElementTree.fromstring(pk.time_plan(scenario).still(157.0).svg)


def test_marks_of_mathematics_leave_the_picture_whole(tern: pk.Plan) -> None:
    """A picture in an ``img`` is XML: an HTML tag around a mark would end its label or all of it."""
    hazard = {"hazard": "h-x", "title": "$x$ \\ <b>", "class": "note", "places": "REG",
              "limit": "keep_out"}
    scenario = tern.scenario.add_row("hazards", hazard)
    found = pk.time_plan(scenario).still(157.0, look="REG")
    told = {"".join(each.itertext()) for each in ElementTree.fromstring(found.svg).iter(f"{SVG}text")}
    assert "note: $x$ \\ <b>" in told


def test_a_model_is_drawn_as_its_box_and_a_still_says_so(tmp_path: Path) -> None:
    outing = pk.load_scenario(SCENARIOS / "small-outing").save(tmp_path / "outing")
    (tmp_path / "outing" / "arm.glb").write_bytes(box_glb())
    cells = {"body": "arm", "title": 'New <arm> "$y$', "ends": "0 0 -30"}
    with_box, with_model = (pk.time_plan(outing.add_row("bodies", cells | kind)) for kind in (
        {"kind": "box", "length_m": 4, "width_m": 2, "height_m": 2},
        {"kind": "model", "model": "arm.glb", "scale": 2}))
    box, model = (still_picture(each.timed, 30.0, "arm") for each in (with_box, with_model))
    assert model.shapes == box.shapes
    assert model.alt.endswith('Drawn as the box around it: New <arm> "$y$.')
    assert "Drawn as the box around it" not in box.alt
    shown = with_model.still(30.0)
    assert shown.words[-1] == 'Drawn as the box around it: New <arm> "$y$.'
    assert ElementTree.fromstring(shown.svg).get("aria-label") == shown.alt


def test_a_place_in_the_box_around_a_model_is_a_remark(tmp_path: Path) -> None:
    outing = pk.load_scenario(SCENARIOS / "small-outing").save(tmp_path / "outing")
    (tmp_path / "outing" / "arm.glb").write_bytes(box_glb())
    place = outing.records.places[0]
    cells = {"body": "arm", "kind": "model", "ends": f"{place.x_m} {place.y_m} {place.z_m}",
             "model": "arm.glb", "scale": 2}
    found = pk.time_plan(outing.add_row("bodies", cells)).findings
    told = found[(found["check"] == "surfaces") & found["message"].str.contains("the box around arm")]
    assert set(told["severity"]) == {"remark"}
    assert told["message"].str.contains("lies 1.0 m inside the box around arm").any()
