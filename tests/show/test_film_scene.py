"""The scene of the film against the moments of the plan, SPICE, and a camera of the test's own."""

from __future__ import annotations

import json
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import spiceypy

import planning_kit as pk
from planning_kit.explore.long_question import at_once
from planning_kit.plan.shots import CUTS, FIGURE_M, film_shots
from planning_kit.plan.surfaces import surfaces_of
from planning_kit.show.film.scene import light_at, light_of, scene_in_pieces, scene_of
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.windows import Span
from tests.conftest import SCENARIOS
from tests.edits import with_row
from tests.explore.retime.rehearsal import rehearsed
from tests.show.hazardous import hazardous
from tests.sky.test_light_against_spice import STATION, kernels, write_states  # noqa: F401

DATA = Path(__file__).parents[1] / "data"
MOST_APART_M, MOST_APART_DEG = 1e-3, 0.05
_FOLDERS = {"tern": SCENARIOS / "tern-station", "small": SCENARIOS / "small-outing",
            "faulty": SCENARIOS / "faulty-plan", "curlew": DATA / "curlew-deck",
            "hazel": DATA / "orders-hazel"}


@pytest.fixture(scope="module", params=[*_FOLDERS, "tern outside"])
def plan(request: pytest.FixtureRequest) -> pk.Plan:
    if request.param == "tern outside":
        tern = pk.time_plan(pk.load_scenario(_FOLDERS["tern"]))
        return tern.retime(rehearsed(tern, 2, 200.0, slower=1.3), 210.0)
    scenario = pk.load_scenario(_FOLDERS[request.param])
    return pk.time_plan(scenario.with_table("shots", scenario.shots[:0]))


@pytest.fixture(scope="module")
def scene(plan: pk.Plan) -> dict[str, Any]:
    """As a page gets it."""
    return json.loads(json.dumps(scene_of(plan.timed), allow_nan=False))


def piece_at(pieces: list[dict[str, Any]], minute: float) -> dict[str, Any]:
    return [each for each in pieces if each["from"] <= minute][-1]


def share_in(piece: dict[str, Any], minute: float) -> float:
    length = piece["until"] - piece["from"]
    return min(max((minute - piece["from"]) / length, 0.0), 1.0) if length else 0.0


def person_at(pieces: list[dict[str, Any]], minute: float) -> np.ndarray:
    """As the contract says: by length along the points of the piece."""
    piece = piece_at(pieces, minute)
    left = share_in(piece, minute) * sum(
        np.linalg.norm(np.subtract(b, a)) for a, b in pairwise(piece["points"]))
    for one, other in pairwise(piece["points"]):
        step = float(np.linalg.norm(np.subtract(other, one)))
        if left <= step:
            return np.array(one) + np.subtract(other, one) * (left / step if step else 0.0)
        left -= step
    return np.array(piece["points"][-1])


def minutes_of(plan: pk.Plan, count: int) -> list[float]:
    return [float(each) for each in np.random.default_rng(7).uniform(0, plan.end_min, count)]


def test_everybody_is_where_the_plan_has_them(plan: pk.Plan, scene: dict[str, Any]) -> None:
    for minute in minutes_of(plan, 500):
        for person, track in zip(plan.at(minute).people, scene["people"], strict=True):
            assert person.crew == track["id"]
            apart = np.linalg.norm(person_at(track["pieces"], minute) - person.point_m)
            assert apart < MOST_APART_M, f"{person.crew} at {minute}"


def test_nobody_jumps(scene: dict[str, Any]) -> None:
    for track in scene["people"]:
        for one, then in pairwise(track["pieces"]):
            assert then["from"] == pytest.approx(one["until"], abs=2e-5)
            assert np.allclose(one["points"][-1], then["points"][0], atol=1e-3)


def test_tethers_begin_at_the_hook_and_are_as_long_as_told(plan: pk.Plan, scene: dict[str, Any]) -> None:
    at = {place["id"]: place["at"] for place in scene["places"]}
    for minute in minutes_of(plan, 100):
        for person, tether in zip(plan.at(minute).people, scene["tethers"], strict=True):
            piece = piece_at(tether["pieces"], minute)
            assert piece["points"][0] == pytest.approx(at[person.hook])
            if piece["reach_m"][0] is not None:
                one, other = piece["reach_m"]
                told = one + share_in(piece, minute) * (other - one)
                assert told == pytest.approx(person.reach_m, abs=2e-3)
            assert piece["most_m"] == person.tether_m


def test_items_are_where_the_plan_has_them(plan: pk.Plan, scene: dict[str, Any]) -> None:
    places = {place["id"] for place in scene["places"]}
    for minute in minutes_of(plan, 60):
        stays = {stay.item: stay for stay in plan.at(minute).stays}
        for item in scene["items"]:
            found = [each for each in item["pieces"] if each["from"] <= minute]
            where = found[-1]["with"] if found else "inside"
            stay = stays.get(item["id"])
            holder = "inside" if stay is None else f"item:{stay.in_bag}" if stay.in_bag else (
                f"place:{stay.holder}" if stay.holder in places else stay.holder)
            assert where == holder, f"{item['id']} at {minute}"


def project(shot: dict[str, Any], camera: dict[str, float], points: np.ndarray,
            at: np.ndarray) -> np.ndarray:
    """Points in the frame, -1 to 1 across and up; ``at``: where a person is whom the camera goes with."""
    look, eye = (at, at + shot["eye"]) if isinstance(shot["look"], str) else (
        np.array(shot["look"]), np.array(shot["eye"]))
    along = (look - eye) / np.linalg.norm(look - eye)
    right = np.cross(along, shot["up"])
    right /= np.linalg.norm(right)
    seen = points - eye
    depth = seen @ along
    assert (depth > 0).all()
    half = np.tan(np.radians(camera["fov_deg"] / 2))
    return np.stack([seen @ right / depth / half / camera["aspect"],
                     seen @ np.cross(right, along) / depth / half], axis=1)


def test_every_figure_is_inside_the_frame_at_every_moment(plan: pk.Plan, scene: dict[str, Any]) -> None:
    tracks = {track["id"]: track["pieces"] for track in scene["people"]}
    ball = np.array([[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if x or y or z])
    ball = ball / np.linalg.norm(ball, axis=1, keepdims=True) * FIGURE_M
    assert scene["shots"]
    for shot in scene["shots"]:
        for minute in np.linspace(shot["from"], shot["until"], 40):
            for who in shot["who"]:
                at = person_at(tracks[who], minute)
                frame = project(shot, scene["camera"], at + ball, at)
                assert (np.abs(frame) <= 1.0 + 1e-6).all(), f"{who} in {shot['shot']} at {minute}"


def test_shots_are_in_order_and_the_cuts_last_as_long_as_they_say(plan: pk.Plan,
                                                                 scene: dict[str, Any]) -> None:
    shots = scene["shots"]
    for one, then in pairwise(shots):
        assert one["from"] < one["until"] <= then["from"] + 1e-5
    for name, seconds in CUTS.items():
        numbers = [number for number, _ in scene["cuts"][name]]
        assert numbers == sorted(set(numbers))
        assert numbers[0] == 0
        assert sum(film_s for _, film_s in scene["cuts"][name]) <= seconds + 0.1
    assert len(scene["cuts"]["1"]) >= min(len(shots), 10)


def test_no_body_is_before_a_camera(plan: pk.Plan) -> None:
    """The proposed cameras, by samples along the line of sight."""
    station = surfaces_of(plan.scenario.records)
    if not station.solids:
        return
    for shot in film_shots(plan.timed):
        inside = station.nearest(np.array([shot.look]))[1][0] < 0  # the faulty outing has a place in a body
        if shot.kind == "site" and not inside:
            target = shot.look + station.frames[shot.row.look_at][0] * 0.3
            line = shot.eye + np.linspace(0, 1, 500)[:, None] * (target - shot.eye)
            assert station.nearest(line)[1].min() > 0, shot.row.shot


def pet_zero_of_spice(plan: pk.Plan, folder: Path) -> float:
    """PET 0 in SPICE's seconds, with the states of the whole day loaded."""
    midnight = plan.pet_zero.replace(hour=0, minute=0)
    span = Span(midnight, midnight + timedelta(days=1))
    start = write_states(Orbit(plan.scenario.elements), span, folder / "states.bsp")
    return start + (plan.pet_zero - midnight).total_seconds()


@pytest.mark.parametrize("turned", [{}, {"attitude.yaw_deg": 30, "attitude.pitch_deg": -12,
                                         "attitude.roll_deg": 100}])
def test_the_sun_is_where_spice_has_it(tmp_path: Path, kernels: None,  # noqa: F811
                                       turned: dict[str, float]) -> None:
    """SPICE: states of an SPK, the Sun of DE421, and its own `twovec` for the axes: z down, x by the speed.

    The attitude by SPICE's `eul2m`, which turns frames: about x by roll, of y by pitch, of z by yaw.
    """
    scenario = pk.load_scenario(_FOLDERS["tern"]).with_settings(turned)
    plan = pk.time_plan(scenario)
    light = light_of(plan.timed)
    zero = pet_zero_of_spice(plan, tmp_path)
    axes = spiceypy.eul2m(*np.radians([turned.get(f"attitude.{name}_deg", 0.0)
                                       for name in ("roll", "pitch", "yaw")]), 1, 2, 3)
    for minute in np.random.default_rng(5).uniform(0, plan.end_min, 200):
        state = spiceypy.spkgeo(STATION, zero + minute * 60, "J2000", 399)[0]
        to_orbit = spiceypy.twovec(-state[:3], 3, state[3:], 1)
        sun = spiceypy.spkgeo(10, zero + minute * 60, "J2000", STATION)[0][:3]
        theirs = {"sun": axes @ to_orbit @ (sun / np.linalg.norm(sun)),
                  "nadir": axes @ np.array([0, 0, 1.0])}
        number, share = int(minute), minute - int(minute)
        for name, expected in theirs.items():
            one, other = np.array(light[name][number]), np.array(light[name][number + 1])
            ours = one + share * (other - one)
            cosine = ours @ expected / np.linalg.norm(ours)
            assert np.degrees(np.arccos(min(cosine, 1.0))) < MOST_APART_DEG, f"{name} at {minute}"


def test_the_point_below_is_that_of_spice(tmp_path: Path, kernels: None) -> None:  # noqa: F811
    """Latitude as the angle to SPICE's pole of date; height over a ball of 6378.137 km."""
    plan = pk.time_plan(pk.load_scenario(_FOLDERS["tern"]))
    light = light_of(plan.timed)
    zero = pet_zero_of_spice(plan, tmp_path)
    for number in range(0, int(plan.end_min), 10):
        state = spiceypy.spkgeo(STATION, zero + number * 60, "IAU_EARTH", 399)[0][:3]
        radius, _, latitude = spiceypy.reclat(state)
        assert light["sub_lat"][number] == pytest.approx(np.degrees(latitude), abs=0.01)
        assert light["altitude_km"][number] == pytest.approx(radius - 6378.137, abs=0.05)


def test_typed_shots_are_the_film(plan: pk.Plan) -> None:
    scenario = plan.scenario
    step = next(step for step in scenario.records.steps if step.place and step.crew == "EV1")
    for cells in ({"look_at": "EV1", "side": "front", "distance_m": 1.0}, {"look_at": "both", "minutes": 30},
                  {"look_at": "station"}, {"distance_m": 20, "film_s": 9, "title": "x"}):
        if plan.timed.outside is not None:
            return
        edited = pk.time_plan(with_row(scenario, "shots", shot="A", from_step=step.step, **cells))
        found = scene_of(edited.timed)["shots"]
        assert len(found) == 1
        assert found[0]["step"] == step.step
        assert found[0]["film_s"] == cells.get("film_s", 6.0)


@pytest.mark.parametrize("drop", ["B2", "C3"])
def test_a_step_that_is_dropped_takes_its_shot_along(drop: str) -> None:
    scenario = pk.load_scenario(_FOLDERS["small"])
    for step in ("B2", "C3"):
        scenario = with_row(scenario, "shots", shot=f"S-{step}", from_step=step)
    left = pk.time_plan(scenario).what_if(drop=drop).scenario.shots["from_step"]
    assert drop not in [*left]


def test_a_scene_is_made_in_pieces_and_is_the_same(plan: pk.Plan) -> None:
    """A camera a piece, so that an edit is not held up by all of them."""
    assert len([*scene_in_pieces(plan.timed)]) >= len(film_shots(plan.timed)) + 2
    assert at_once(scene_in_pieces(plan.timed)) == scene_of(plan.timed)


def test_the_inhibits_in_force_are_those_of_the_moment(plan: pk.Plan, scene: dict[str, Any]) -> None:
    for minute in minutes_of(plan, 60):
        told = [each["id"] for each in scene["inhibits"]
                if each["spans"][0][0] <= minute < each["spans"][0][1]]
        assert told == [hold.inhibit for hold in plan.at(minute).inhibits]


def test_a_cable_lies_from_its_fixed_end_along_the_way_that_it_was_carried() -> None:
    """The demo's: mated at the patch panel, carried past both rings, mated at the porch."""
    plan = pk.time_plan(pk.load_scenario(_FOLDERS["tern"]))
    scene = scene_of(plan.timed)
    laid = {item["id"]: item["laid"] for item in scene["items"]}
    assert [item for item, lines in laid.items() if lines] == ["cable"]
    at = {place["id"]: place["at"] for place in scene["places"]}
    lines = laid["cable"]
    fixed = float(plan.timed.finishes[plan.timed.position("CB2")])
    assert lines[0] == {"from": pytest.approx(fixed, abs=1e-5), "points": [at["HPP"]]}
    whole = lines[-1]["points"]
    assert [place for place in ("HPP", "C1", "C2", "NAD") if at[place] in whole] == ["HPP", "C1", "C2", "NAD"]
    assert whole[-1] == at["NAD"]
    for one, then in pairwise(lines):  # it grows, and nothing that lies moves
        assert then["from"] > one["from"]
        assert then["points"][:len(one["points"])] == one["points"]
    # Without its first end mated nothing is laid.
    loose = plan.scenario.with_table("hardware", plan.scenario.hardware.assign(end2_at=""))
    assert all(not item["laid"] for item in scene_of(pk.time_plan(loose).timed)["items"])


def test_hazards_are_drawn_where_the_checks_have_them() -> None:
    """Places by zone, by name and in the sphere; the ways that lead through; spheres by their radius."""
    plan = pk.time_plan(hazardous(pk.load_scenario(_FOLDERS["small"])))
    found = scene_of(plan.timed)["hazards"]
    at = {place.place: [place.x_m, place.y_m, place.z_m] for place in plan.scenario.records.places}
    marked = {place for place, point in at.items() for each in found
              if not each["points"] and not each["radius_m"] and each["at"] == point}
    assert marked == {"MST", "MID", "POR"}
    assert [(each["at"], each["radius_m"]) for each in found if each["radius_m"]] == [([4.0, 5.0, 0.0], 2.5)]
    ends = {tuple(sorted(place for place in at if at[place] in each["points"])) for each in found
            if each["points"]}
    assert ("HAT", "POR") in ends
    assert all(each["severity"] in ("warning", "caution", "note") for each in found)


def test_a_wide_picture_has_the_sun_behind_it_and_sees_the_crew() -> None:
    plan = pk.time_plan(pk.load_scenario(_FOLDERS["tern"]))
    shot = film_shots(plan.timed)[0]
    assert (shot.kind, shot.blocked_by) == ("wide", None)
    sun = light_at(plan.timed, np.array([(shot.from_min + shot.until_min) / 2])).sun[0]
    assert (shot.eye - shot.look) @ sun > 0
    station = surfaces_of(plan.scenario.records)
    people = [np.array(person.point_m) for person in plan.at(shot.from_min).people]
    ends = np.array([point + station.frames["AIR"][0] * 0.3 for point in people])
    assert station.least_m(np.tile(shot.eye, (len(ends), 1)), ends)[1].min() > 0


@pytest.mark.parametrize("look", ["core", "boom-in", "both", "station"])
def test_a_typed_wide_camera_behind_a_body_is_told(look: str) -> None:
    """A wall thicker than any hull before the camera that looks from port."""
    scenario = pk.load_scenario(_FOLDERS["tern"])
    wall = with_row(scenario, "bodies", body="wall", kind="box", ends="0 -60 0", length_m=300, width_m=30,
                    height_m=300)
    for side, is_told in (("port", True), ("starboard", False)):
        if not is_told and look != "core":
            continue  # the station itself is in the way of some
        plan = pk.time_plan(with_row(wall, "shots", shot="A", from_step="RG5", look_at=look, side=side,
                                     distance_m=150))
        told = plan.findings.query("check == 'surfaces' and severity == 'remark'")["message"]
        assert any("wall" in message for message in told) is is_told
