"""The station as solids: distances, directions, lines through them; against samples and hand-made numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.plan.surfaces import Surfaces, point_along, shares_of, solid_of, surfaces_of
from tests.conftest import SCENARIOS
from tests.edits import with_row

DATA = Path(__file__).parents[1] / "data"
DRAWN = [SCENARIOS / "tern-station", SCENARIOS / "small-outing", DATA / "curlew-deck"]


@pytest.fixture(scope="module")
def small() -> pk.Scenario:
    return pk.load_scenario(SCENARIOS / "small-outing")


def surfaces(small: pk.Scenario, **cells: object) -> Surfaces:
    bare = small.with_table("bodies", small.bodies[:0])
    return surfaces_of(with_row(bare, "bodies", body="X", **cells).records)


# Kind, cells, then points with the distance worked out by hand (metres).
BY_HAND = [
    ({"kind": "cylinder", "ends": "0 0 0; 4 0 0", "radius_m": 1},
     {(2, 3, 0): 2.0, (2, 0, 0.25): -0.75, (7, 0, 0): 3.0, (7, 5, 0): 5.0, (0.5, 0, 0): -0.5}),
    ({"kind": "cone", "ends": "0 0 0; 0 0 4", "radius_m": 3, "radius2_m": 0},
     {(0, 0, 9): 5.0, (0, 0, -2): 2.0, (0, 0, 1): -1.0, (4, 0, 3): 2.6}),  # sides 3, 4, 5
    ({"kind": "dome", "ends": "0 0 0; 0 0 2"},
     {(0, 0, 5): 3.0, (0, 0, -1): 1.0, (5, 0, -4): 5.0, (0, 0, 0.5): -0.5, (0, 1.5, 1.5): 4.5**0.5 - 2}),
    ({"kind": "box", "ends": "1 0 0", "length_m": 2, "width_m": 4, "height_m": 6},
     {(3, 0, 0): 1.0, (5, 6, 0): 5.0, (1, 0, 0): -1.0, (1, 0, 4): 1.0}),
    ({"kind": "box", "ends": "0 0 0", "length_m": 8, "width_m": 2, "height_m": 2, "yaw_deg": 90},
     {(0, 5, 0): 1.0, (3, 0, 0): 2.0}),
    ({"kind": "box", "ends": "0 0 0", "length_m": 8, "width_m": 2, "height_m": 2, "pitch_deg": 90},
     {(0, 0, 6): 2.0, (3, 0, 0): 2.0}),
    ({"kind": "panel", "ends": "0 0 0", "length_m": 4, "width_m": 4, "roll_deg": 90}, {(0, 1.05, 0): 1.0}),
    ({"kind": "truss", "ends": "0 0 0; 0 10 0", "width_m": 2}, {(0, 5, 3): 2.0, (0, 12, 0): 2.0}),
]


@pytest.mark.parametrize(("cells", "expected"), BY_HAND)
def test_distances_by_hand(small: pk.Scenario, cells: dict[str, object],
                           expected: dict[tuple[float, ...], float]) -> None:
    found = surfaces(small, **cells).nearest(np.array([*expected], dtype=float))[1]
    assert found == pytest.approx([*expected.values()], abs=1e-9)


@pytest.mark.parametrize("folder", DRAWN, ids=lambda folder: folder.name)
def test_a_line_comes_as_near_as_its_samples_do(folder: Path) -> None:
    """The search on a convex function, against 4,000 points along each line."""
    station = surfaces_of(pk.load_scenario(folder).records)
    random = np.random.default_rng(3)
    starts, stops = random.uniform(-15, 15, (2, 40, 3))
    numbers, least = station.least_m(starts, stops, near_m=1e3)
    for start, stop, number, distance in zip(starts, stops, numbers, least, strict=True):
        along = start + np.linspace(0, 1, 4001)[:, None] * (stop - start)
        sampled = station.nearest(along)[1].min()
        assert sampled - 0.02 <= distance <= sampled + 1e-6
        assert station.solids[number].distance_m(along).min() == pytest.approx(distance, abs=0.02)
    near = station.least_m(starts, stops, near_m=0.0)[1]
    assert (near[least < 0] == least[least < 0]).all(), "what is passed over is not inside anything"


@pytest.mark.parametrize("folder", DRAWN, ids=lambda folder: folder.name)
def test_places_stand_on_bodies_and_point_away(folder: Path) -> None:
    scenario = pk.load_scenario(folder)
    station = surfaces_of(scenario.records)
    found = pk.time_plan(scenario).findings
    assert not len(found[found["check"] == "surfaces"])
    assert max(station.nearest(np.array([*station.points.values()]))[1]) < 1.5
    given = {place.place for place in scenario.records.places if place.outward}
    for place, (out, up) in station.frames.items():
        here = np.array(station.points[place])
        assert out @ out == pytest.approx(1)
        assert up @ up == pytest.approx(1)
        assert out @ up == pytest.approx(0, abs=1e-9)
        steps = station.nearest(here + np.outer([0.0, 0.3], out))[1]
        # A direction that is given may come nearer to something else there, but not into it.
        assert steps[1] > (0.3 if place in given else steps[0] - 1e-9), f"{place} points into the station"


def test_a_direction_given_is_taken(small: pk.Scenario) -> None:
    out, up = surfaces_of(small.edit_row("places", "MID", outward="0 3 0", up="5 1 0").records).frames["MID"]
    assert out == pytest.approx([0, 1, 0])
    assert up == pytest.approx([1, 0, 0])


def test_along_a_line_with_a_bend() -> None:
    line = [(0.0, 0.0, 0.0), (3.0, 0.0, 0.0), (3.0, 1.0, 0.0)]
    assert shares_of(line).tolist() == [0.0, 0.75, 1.0]
    assert point_along(line, 0.5) == pytest.approx((2.0, 0.0, 0.0))
    assert point_along(line, 0.875) == pytest.approx((3.0, 0.5, 0.0))


@pytest.mark.parametrize(("cells", "column"), [
    ({"kind": "cylinder", "ends": "0 0 0", "radius_m": 1}, "ends"),
    ({"kind": "box", "ends": "0 0 0; 1 0 0", "length_m": 1, "width_m": 1, "height_m": 1}, "ends"),
    ({"kind": "truss", "ends": "1 0 0; 1 0 0", "width_m": 1}, "ends"),
    ({"kind": "cylinder", "ends": "0 0 0; 1 0 0"}, "radius_m"),  # a size is missing
    ({"kind": "dome", "ends": "0 0 0; 1 0 0", "radius_m": 1}, "radius_m"),  # a size too many
    ({"kind": "cylinder", "ends": "0 0 0; 1 0 0", "radius_m": 0}, "radius_m"),
    ({"kind": "cylinder", "ends": "0 0 0; 1 0 0", "radius_m": 1, "yaw_deg": 3}, "yaw_deg"),
    ({"kind": "cylinder", "ends": "0 0 0; 1 0 0", "radius_m": 1, "colour": "red"}, "colour"),
    ({"kind": "ball", "ends": "0 0 0; 1 0 0"}, "kind"),
    ({"kind": "cylinder", "ends": "0 0; 1 0 0", "radius_m": 1}, "ends"),
])
def test_a_wrong_body_is_told_with_its_cell(small: pk.Scenario, cells: dict[str, object],
                                            column: str) -> None:
    with pytest.raises(pk.ScenarioError) as told:
        surfaces(small, **cells)
    assert [*told.value.problems["column"]] == [column]
    assert [*told.value.problems["table"]] == ["bodies"]


@pytest.mark.parametrize(("cells", "column"), [
    ({"outward": "0 0 0"}, "outward"), ({"up": "1 0 0; 0 1 0"}, "up"),
    ({"outward": "1 0 0", "up": "-2 0 0.01"}, "up")])
def test_a_wrong_direction_is_told(small: pk.Scenario, cells: dict[str, str], column: str) -> None:
    with pytest.raises(pk.ScenarioError) as told:
        small.edit_row("places", "MID", **cells)
    assert [*told.value.problems["column"]] == [column]


@pytest.mark.parametrize(("edit", "rule", "about"), [
    ({"z_m": 3.0}, "far-off", "POR"), ({"z_m": 0.5}, None, "POR"),
    ({"x_m": 0.0, "y_m": -2.0}, "inside", "POR")])
def test_what_does_not_agree_is_found(small: pk.Scenario, edit: dict[str, float], rule: str | None,
                                      about: str) -> None:
    found = pk.time_plan(small.edit_row("places", "POR", **edit)).findings
    told = [(row.rule, row.about) for row in found[found["check"] == "surfaces"].itertuples()]
    assert ((rule, about) in told) == (rule is not None)


def test_the_way_through_a_body_and_round_it(small: pk.Scenario) -> None:
    wall = with_row(small, "bodies", body="W", kind="box", ends="-1.5 4 0", length_m=1, width_m=1, height_m=1)
    rules = [(row.rule, row.about) for row in pk.time_plan(wall).findings.itertuples()
             if row.check == "surfaces"]
    assert rules == [("through", "HAT POR")]
    round_it = pk.time_plan(wall.edit_row("routes", "HAT POR", via="-1.5 4 -1.5"))
    assert not len(round_it.findings[round_it.findings["check"] == "surfaces"])


def test_a_solid_is_of_its_row(small: pk.Scenario) -> None:
    assert [solid_of(body).body.body for body in small.records.bodies][:2] == ["hull", "bow"]
