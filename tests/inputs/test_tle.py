"""Two-line elements: the verification set that the package `sgp4` ships, through our reader, and refusals.

Vallado, Crawford, Hujsak, Kelso, AIAA 2006-6753. The set's lines go on behind column 69, and it leaves out or
breaks some checksums: `fix_checksum` of `sgp4` makes lines of the format of them.
"""

from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from sgp4.api import WGS72, Satrec
from sgp4.exporter import export_tle
from sgp4.io import fix_checksum

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.omm import Elements
from planning_kit.sky.orbit import Orbit, load_orbit

LINES = files("sgp4").joinpath("SGP4-VER.TLE").read_text().splitlines()
SETS = {one[2:7]: (fix_checksum(one[:68]), fix_checksum(two[:68])) for one, two in pairwise(LINES)
        if one.startswith("1 ") and two.startswith("2 ") and one[2:7] not in ("28872", "33333", "33334")}
"""All but those that are refused: their perigee is under the ground, or SGP4 gives an error."""
ONE, TWO = SETS["06251"]


def load(tmp_path: Path, text: str) -> Orbit:
    path = tmp_path / "orbit.json"  # told from the content, not from the name
    path.write_text(text, encoding="utf-8")
    return load_orbit(path)


@pytest.mark.parametrize("number", SETS)
def test_the_verification_set_gives_the_positions_of_sgp4(tmp_path: Path, number: str) -> None:
    orbit = load(tmp_path, "\n".join(SETS[number]))
    judge = Satrec.twoline2rv(*SETS[number], WGS72)
    for days in (0.0, 0.25):
        error, position, _ = judge.sgp4(judge.jdsatepoch, judge.jdsatepochF + days)
        assert error == 0
        ours = orbit.position_teme_km(orbit.epoch, np.array([days * 86400]))[0]
        np.testing.assert_allclose(ours, position, atol=2e-5)  # of 1 µs 8 mm


def test_the_values_are_those_of_the_lines(tmp_path: Path) -> None:
    elements = load(tmp_path, f"0 MADE UP\r\n{ONE}\r\n\r\n{TWO}  \r\n").elements
    assert isinstance(elements, Elements)
    assert elements.object_name == "MADE UP"
    assert elements.object_id == "1962-025E"
    assert elements.norad_cat_id == 6251
    assert (elements.inclination_deg, elements.raan_deg) == (58.0579, 54.0425)
    assert elements.eccentricity == 0.0030035
    assert (elements.arg_perigee_deg, elements.mean_anomaly_deg) == (139.1568, 221.1854)
    assert (elements.mean_motion_rev_per_day, elements.mean_motion_dot) == (15.56387291, 0.00008885)
    assert (elements.bstar, elements.mean_motion_ddot) == (0.00012808, 0.0)
    assert elements.epoch.isoformat() == "2006-06-25T19:46:43.980096+00:00"  # day 176.82412014


def test_alpha_5_numbers_and_no_designator(tmp_path: Path) -> None:
    lines = [fix_checksum(f"{line[:2]}T0001{line[7:68]}") for line in (ONE[:9] + " " * 8 + ONE[17:], TWO)]
    elements = load(tmp_path, "\n".join(lines)).elements
    assert isinstance(elements, Elements)
    assert elements.norad_cat_id == 270_001  # T is 27: I and O are left out
    assert elements.object_id == ""


def test_what_sgp4_writes_is_read(tmp_path: Path) -> None:
    assert load(tmp_path, "\n".join(export_tle(Satrec.twoline2rv(ONE, TWO)))).name == ""


OTHER = "\n".join(SETS["28057"])
REFUSED = [
    (ONE, 1, "a name, if any, line 1 and line 2"),
    (TWO, 1, "a name, if any, line 1 and line 2"),
    (f"NAME\n{ONE}", 2, "line 1 and line 2"),
    (f"{TWO}\n{ONE}", 2, "line 1 and line 2"),
    (f"A\nB\n{ONE}\n{TWO}", 4, "line 1 and line 2"),
    (f"{ONE[:-1]}{(int(ONE[-1]) + 1) % 10}\n{TWO}", 1, "checksum"),
    (f"{ONE}\n{TWO.replace('58.0579', '58.0578')}", 2, "checksum"),
    (f"{ONE}\n{TWO[:-1]}", 2, "69 characters"),
    (f"{ONE}\n{TWO}0", 2, "69 characters"),
    (f"{ONE}\n{SETS['28057'][1]}", 2, "do not match"),
    (f"{fix_checksum(ONE[:23] + ' ' + ONE[24:68])}\n{TWO}", 2, "format error"),
    (f"{fix_checksum(ONE[:18] + 'XX' + ONE[20:68])}\n{TWO}", 2, "no two-line elements"),
    (f"{ONE}\n{TWO}\n{OTHER}", None, "holds 2 objects (06251, 28057)"),
]


@pytest.mark.parametrize(("text", "row", "problem"), REFUSED)
def test_a_set_that_is_none_is_refused(tmp_path: Path, text: str, row: int | None, problem: str) -> None:
    with pytest.raises(ScenarioError) as refused:
        load(tmp_path, text)
    (fault,) = refused.value.problems.to_dict("records")
    assert problem in fault["problem"]
    assert (fault["row"] if row else None) == row


def test_values_that_no_orbit_has_are_named(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match=r"INCLINATION \('181.0579'\)|INCLINATION .*between 0 and 180"):
        load(tmp_path, f"{ONE}\n{fix_checksum(TWO.replace(' 58.0579', '181.0579')[:68])}")


def test_several_objects_of_a_public_array_are_listed(tmp_path: Path) -> None:
    text = '[{"OBJECT_NAME": "ONE", "EPOCH": "x"}, {"OBJECT_NAME": "TWO"}]'
    with pytest.raises(ScenarioError, match=r"holds 2 objects \(ONE, TWO\); keep the one"):
        load(tmp_path, text)
