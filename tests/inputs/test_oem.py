"""Ephemerides of scenarios: what is refused, and that a plan is that of the orbit that was sampled."""

import random
import shutil
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.inputs.oem import Ephemeris
from planning_kit.sky.orbit import Orbit
from tests.attack.ways import bytes_damage
from tests.oem_text import oem, segment

ROOT = Path(__file__).parents[2]
OUTINGS = [ROOT / "tests/data/curlew-deck", ROOT / "tests/data/orders-rowan", ROOT / "scenarios/small-outing"]
# After an example in the annex of CCSDS 502.0-B, as public readers of the format quote it in their tests.
ANNEX = """CCSDS_OEM_VERS = 3.0
CREATION_DATE = 1996-11-04T17:22:31
ORIGINATOR = NASA/JPL

META_START
OBJECT_NAME = MARS GLOBAL SURVEYOR
OBJECT_ID = 1996-062A
CENTER_NAME = MARS BARYCENTER
REF_FRAME = J2000
TIME_SYSTEM = TAI
START_TIME = 1996-12-18T12:00:00.331
USEABLE_START_TIME = 1996-12-18T12:10:00.331
USEABLE_STOP_TIME = 1996-12-28T21:23:00.331
STOP_TIME = 1996-12-28T21:28:00.331
INTERPOLATION = HERMITE
INTERPOLATION_DEGREE = 7
META_STOP

COMMENT This file was produced by M.R. Somebody, MSOO NAV/JPL, 1996NOV 04. It is
COMMENT to be used for DSN scheduling purposes only.
1996-12-18T12:00:00.331 2789.619 -280.045 -1746.755 4.73372 -2.49586 -1.04195
1996-12-18T12:01:00.331 2783.419 -308.143 -1877.071 5.18604 -2.42124 -1.99608
1996-12-18T12:02:00.331 2776.033 -336.859 -2008.682 5.63678 -2.33951 -1.94687
1996-12-28T21:28:00.331 -3881.024 563.959 -682.773 -3.28827 -3.66735 1.63861
"""


@pytest.fixture(scope="module")
def good() -> str:
    orbit = pk.load_orbit(OUTINGS[0] / "orbit.json")
    return oem(segment(orbit, orbit.epoch, orbit.epoch + timedelta(hours=3)))


def faults_of(tmp_path: Path, text: str) -> list[dict[str, object]]:
    (tmp_path / "orbit.txt").write_text(text, encoding="utf-8")
    with pytest.raises(pk.ScenarioError) as refused:
        pk.load_orbit(tmp_path / "orbit.txt")
    return refused.value.problems.to_dict("records")


def with_ephemeris(folder: Path, to: Path, before_h: float = 24.0, after_h: float = 24.0) -> pk.Scenario:
    """A copy of an outing whose orbit is an ephemeris sampled from its own elements."""
    shutil.copytree(folder, to)
    scenario = pk.load_scenario(to)
    zero, horizon = scenario.settings.pet_zero_utc, timedelta(hours=scenario.settings.horizon_h)
    orbit = Orbit(scenario.elements)
    first, last = zero - timedelta(hours=before_h), zero + horizon + timedelta(hours=after_h)
    text = segment(orbit, first, last)
    (to / scenario.settings.orbit).write_text(oem(text, created=f"{orbit.epoch:%Y-%m-%dT%H:%M:%S}"))
    return pk.load_scenario(to)


@pytest.mark.parametrize("folder", OUTINGS, ids=lambda folder: folder.name)
def test_a_plan_in_the_light_of_an_ephemeris(tmp_path: Path, folder: Path) -> None:
    ours = pk.time_plan(with_ephemeris(folder, tmp_path / "oem"))
    plan = pk.time_plan(pk.load_scenario(folder))
    assert isinstance(ours.scenario.elements, Ephemeris)
    np.testing.assert_allclose(ours.timed.light.night, plan.timed.light.night, atol=1e-3)
    np.testing.assert_allclose(ours.timed.starts, plan.timed.starts, atol=1e-3)
    assert list(ours.timed.relays) == list(plan.timed.relays)
    assert list(ours.findings["rule"]) == list(plan.findings["rule"])
    ours.write_pack(tmp_path / "pack")


def test_save_and_digest(tmp_path: Path) -> None:
    ours = with_ephemeris(OUTINGS[0], tmp_path / "oem")
    again = ours.save(tmp_path / "saved")
    assert pk.load_scenario(tmp_path / "saved").digest == again.digest == ours.digest
    name = ours.settings.orbit
    data = (tmp_path / "oem" / name).read_bytes()
    assert (tmp_path / "saved" / name).read_bytes() == data
    assert ours.digest != pk.load_scenario(OUTINGS[0]).digest
    (tmp_path / "oem" / name).write_bytes(data.replace(b"COMMENT made up", b"COMMENT nothing  else"))
    assert pk.load_scenario(tmp_path / "oem").digest == ours.digest, "a comment says nothing"
    at = data.rindex(b" ") + 4  # a digit of the last number
    digit = b"1" if data[at:at + 1] != b"1" else b"2"
    (tmp_path / "oem" / name).write_bytes(data[:at] + digit + data[at + 1:])
    other = pk.load_scenario(tmp_path / "oem")
    assert other.digest != ours.digest
    changes = pk.time_plan(ours).compare(pk.time_plan(other)).inputs
    (change,) = changes[changes["table"] == "orbit"].to_dict("records")
    assert change["row"] == "segments"
    assert change["before"] != change["after"]
    assert len(change["before"]) < 500


@pytest.mark.parametrize(("before_h", "after_h"), [(0.1, 24.0), (24.0, -1.0)])
def test_an_ephemeris_that_ends_before_the_horizon(tmp_path: Path, before_h: float, after_h: float) -> None:
    ours = with_ephemeris(OUTINGS[0], tmp_path / "oem", before_h, after_h)
    with pytest.raises(pk.ScenarioError, match=r"covers .*Z to .*Z; .*Z to .*Z is needed.*pet_zero_utc"):
        pk.time_plan(ours)


def test_the_example_of_the_standard_is_read_and_refused_for_its_planet(tmp_path: Path) -> None:
    assert [(each["column"], each["value"]) for each in faults_of(tmp_path, ANNEX)] == [
        ("CENTER_NAME", "MARS BARYCENTER"), ("TIME_SYSTEM", "TAI")]


CHANGES = [
    (("CENTER_NAME = EARTH", "CENTER_NAME = MOON"), "CENTER_NAME", "must be EARTH"),
    (("CENTER_NAME = EARTH\n", ""), "CENTER_NAME", "must be EARTH"),
    (("REF_FRAME = EME2000", "REF_FRAME = RTN"), "REF_FRAME", "must be EME2000 or J2000 or ICRF"),
    (("TIME_SYSTEM = UTC", "TIME_SYSTEM = GPS"), "TIME_SYSTEM", "must be UTC"),
    (("INTERPOLATION = HERMITE", "INTERPOLATION = SPLINE"), "INTERPOLATION", "HERMITE or LAGRANGE"),
    (("INTERPOLATION_DEGREE = 7", "INTERPOLATION_DEGREE = 5.5"), "INTERPOLATION_DEGREE", "whole number"),
    (("INTERPOLATION_DEGREE = 7", "INTERPOLATION_DEGREE = 1e6"), "INTERPOLATION_DEGREE", "between 1 and 27"),
    (("CREATION_DATE = 2031-06-20T12:00:00", "CREATION_DATE = soon"), "CREATION_DATE", "must be a UTC time"),
    (("META_STOP\n", ""), "", "is not KEYWORD = value"),
    (("STOP_TIME = 20", "STOP_TIME = 21"), "START_TIME", "within START_TIME to STOP_TIME and the states"),
]


@pytest.mark.parametrize(("change", "column", "problem"), CHANGES, ids=[str(row[0][1]) for row in CHANGES])
def test_keywords_that_are_refused(tmp_path: Path, good: str, change, column, problem) -> None:
    faults = faults_of(tmp_path, good.replace(*change))
    assert any(each["column"] == column and problem in each["problem"] for each in faults), faults


STATES = [
    (lambda cells: cells[:6], "must be a time, three km"),
    (lambda cells: [cells[0], "nan", *cells[2:]], "must be a time, three km"),
    (lambda cells: [cells[0], "1e999", *cells[2:]], "beyond the Moon"),
    (lambda cells: ["2031-99-01T00:00:00", *cells[1:]], "must be a UTC time"),
    (lambda cells: [cells[0], *(f"{float(each) * 1000}" for each in cells[1:])], "beyond the Moon"),
    (lambda cells: [*cells[:4], *(f"{float(each) * 1000}" for each in cells[4:])], "no bound orbit"),
    (lambda cells: [cells[0], "6000", "0", "0", *cells[4:]], "under the ground"),
    (lambda cells: [cells[0].replace("2033", "2032"), *cells[1:]], "is not later than the state before"),
]


@pytest.mark.parametrize(("damage", "problem"), STATES, ids=[f"{at}" for at, _ in enumerate(STATES)])
def test_states_that_are_refused_by_their_line(tmp_path: Path, good: str, damage, problem) -> None:
    lines = good.splitlines()
    at = next(number for number, line in enumerate(lines) if line[:2] == "20") + 3
    lines[at] = " ".join(damage(lines[at].split()))
    found = [each for each in faults_of(tmp_path, "\n".join(lines)) if problem in each["problem"]]
    assert [each["row"] for each in found] == [at + 1]


def test_two_objects_and_xml_and_overlaps_and_nothing(tmp_path: Path, good: str) -> None:
    block = good[good.index("META_START"):]
    (fault,) = faults_of(tmp_path, good + block.replace("OBJECT_ID = 2031-001A", "OBJECT_ID = 2031-002B"))
    assert "holds 2 objects" in fault["problem"]
    assert "2031-002B" in fault["problem"]
    (fault,) = faults_of(tmp_path, good + block)
    assert "until when the segment before is used" in fault["problem"]
    (fault,) = faults_of(tmp_path, good[:good.index("META_START")])
    assert "holds 0 objects" in fault["problem"]
    (fault,) = faults_of(tmp_path, "<ndm><oem><header/></oem></ndm>")
    assert "KVN" in fault["problem"]
    few = good.splitlines()
    few = few[:next(number for number, line in enumerate(few) if line[:2] == "20") + 2]
    assert any("needs 4 states, not 2" in each["problem"] for each in faults_of(tmp_path, "\n".join(few)))


def test_covariances_and_accelerations_are_passed_over(tmp_path: Path, good: str) -> None:
    with_more = "\n".join(f"{line} 0 0 0" if line[:2] == "20" else line for line in good.splitlines())
    with_more += "\nCOVARIANCE_START\nEPOCH = 2031-06-20T12:00:00\n1.0\n0.1 1.0\nCOVARIANCE_STOP\n"
    for name, text in (("a.oem", good), ("b.oem", with_more.replace("\n", "\r\n"))):
        (tmp_path / name).write_text(text, newline="")
    one, two = (pk.load_orbit(tmp_path / name) for name in ("a.oem", "b.oem"))
    assert one == two


HOSTILE = [
    "META_START\n" * 60_000, "META_START\nMETA_STOP\n" * 30_000, "META_START\nMETA_STOP\n" + "a\n" * 300_000,
    " " * 900_000, "META_START\n" + "A = " * 200_000,
    "META_START\nMETA_STOP\n2031-01-01T00:00:00" + " 9e9" * 200_000]


@pytest.mark.parametrize("text", HOSTILE, ids=map(str, range(len(HOSTILE))))
def test_absurd_files_are_told(tmp_path: Path, text: str) -> None:
    assert len(faults_of(tmp_path, f"CCSDS_OEM_VERS = 2.0\n{text}")) <= 10_001


@pytest.mark.parametrize("seed", range(60))
def test_damaged_files_give_an_orbit_or_faults(tmp_path: Path, good: str, seed: int) -> None:
    damaged = bytes_damage("orbit.oem", good.encode(), random.Random(seed))
    (tmp_path / "orbit.oem").write_bytes(damaged)
    try:
        orbit = pk.load_orbit(tmp_path / "orbit.oem")
    except pk.ScenarioError:
        return
    assert np.isfinite(orbit.position_teme_km(orbit.elements.segments[0].start, np.zeros(1))).all()
