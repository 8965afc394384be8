"""Thousands of damaged folders: each ends in `ScenarioError` or a valid scenario, never in another exception.

The damage is drawn from fixed seeds, so that a failure repeats; the exception's note names the seed. A valid
outcome must also hold together: it equals itself after a save and a load.
"""

from __future__ import annotations

import csv
import io
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format import TABLES
from planning_kit.inputs.scenario import Scenario, load_scenario
from tests.inputs.small_folder import as_csv, small_files, write_small
from tests.inputs.test_omm import FORMS, VALUES

HOSTILE = [
    "", " ", "nan", "inf", "-inf", "1e999", "-0", "9" * 400, "0x10", "1_000", "1,5", "NaN", "None",
    "true", "yes", "no", "both", "inside", "EV1", "EV2", "EV3", "night", "any", "s1", "s2 s2", "gun", "bag1",
    "mid", "EV1:gun", "gun<bag1", "gun>EV2", "a<b>c", ":", "<", ">", "EV1:", "\0", "\r", "\n", '"', "'",
    ",", ";", "\t", "\x1b[31m", "\ufeff", "\u2028", "\u202e", "٣", "é", "🛰",
    "<script>alert(1)</script>",
    "=cmd|' /C calc'!A0", "../../etc/passwd", "%s%n{0}", "x" * 10_001, "-1", "1e-320", "2031-05-14",
    "2031-05-14T25:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00",
]
TOML_LINES = [
    "format = 1", "x = ", "[limits]", "[[suit]]", "suit = 3", "limits = []", "egress = 1979-05-27",
    "egress = 07:32:00", "egress = 0001-01-01T00:00:00+05:00", "horizon_h = nan", "horizon_h = -inf",
    "horizon_h = 1e400", "horizon_h = true", "horizon_h = 0x" + "F" * 400, "orbit = 'steps.csv'",
    "orbit = '../x'", "orbit = ''", "orbit = 3", "airlock = []", "a.b.c = 1",
    "x_ok.deep = [{a = 1}, {b = [[[]]]}]", "title = '''\n'''",
    'title = "\\u0000"', '"" = 1', "'x_ ' = {}", "[suit.EV1.more]", "= 1", "\ufeff", "\0",
    "[relays]\nlongitudes_deg_east = [[1]]", "[limits]\nhard_min_source = 3",
]


def flip_bytes(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 8))):
        if out:
            out[rng.randrange(len(out))] = rng.randrange(256)
    return bytes(out)


def cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def splice(data: bytes, rng: random.Random) -> bytes:
    start, end = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    at = rng.randrange(len(data) + 1)
    return data[:at] + data[start:end] + data[at:] if rng.random() < 0.5 else data[:start] + data[end:]


def reencode(data: bytes, rng: random.Random) -> bytes:
    text = data.decode()
    return text.encode(rng.choice(("utf-16", "utf-32", "latin-1", "cp037", "utf-8-sig", "utf-7")), "replace")


def hostile_text(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.choice(HOSTILE).encode() + data[at:]


def bytes_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    return rng.choice((flip_bytes, flip_bytes, cut, splice, reencode, hostile_text))(data, rng)


def table_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    if not name.endswith(".csv"):
        return toml_damage(name, data, rng) if name.endswith(".toml") else orbit_damage(name, data, rng)
    rows = list(csv.reader(io.StringIO(data.decode(), newline="")))
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        row, column = rng.randrange(len(rows)), rng.randrange(len(rows[0]))
        kind = rng.randrange(8)
        if kind == 0:
            rows.insert(row, list(rows[row]))
        elif kind == 1 and len(rows) > 1:
            del rows[row]
        elif kind == 2:
            for each in rows:
                each.insert(column, each[column] if column < len(each) else "")
        elif kind == 3 and len(rows[0]) > 1:
            for each in rows:
                del each[column:column + 1]
        elif kind == 4:
            other = rng.choice(rows)
            at = rng.randrange(len(other) or 1)
            if column < len(rows[row]) and at < len(other):
                rows[row][column], other[at] = other[at], rows[row][column]
        elif kind == 5:
            rng.shuffle(rows[row])
        elif column < len(rows[row]):
            rows[row][column] = rng.choice(HOSTILE)
    return as_csv(rows).encode()


def toml_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    lines = data.decode().splitlines()
    at = rng.randrange(len(lines))
    kind = rng.randrange(5)
    if kind == 0:
        del lines[at]
    elif kind == 1:
        lines.insert(at, rng.choice(TOML_LINES))
    elif kind == 2:
        lines[at] = rng.choice(TOML_LINES)
    elif kind == 3:
        other = rng.randrange(len(lines))
        lines[at], lines[other] = lines[other], lines[at]
    else:
        value = rng.choice((*HOSTILE, '"x"', "[]", "{}", "[1, 'a']", "-5"))
        lines[at] = lines[at].partition("=")[0] + "= " + value
    return "\n".join(lines).encode()


def orbit_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    values = dict(VALUES)
    key = rng.choice(list(values))
    if rng.random() < 0.3:
        del values[key]
    else:
        values[key] = rng.choice((*HOSTILE, "0.99999999", "1e-308", "17.5", "SGP4-XP", "4",
                                  "2031-366T00:00:00"))
    try:
        text = rng.choice(FORMS)(values)
    except ValueError:  # the JSON form needs numbers
        text = FORMS[0](values)
    return text.encode() if rng.random() < 0.5 else bytes_damage(name, text.encode(), rng)


def outcome(make: Callable[[], Scenario]) -> Scenario | None:
    """The scenario, or None for a `ScenarioError` that says what is wrong; all else goes through."""
    try:
        return make()
    except ScenarioError as caught:
        error = caught
    assert len(error.problems) > 0
    assert (error.problems["problem"] != "").all()
    str(error).encode()
    return None


@pytest.mark.parametrize("damage", [bytes_damage, table_damage])
@pytest.mark.parametrize("block", range(4))
def test_damaged_folders(tmp_path: Path, damage: Callable[[str, bytes, random.Random], bytes],
                         block: int) -> None:
    files = {name: text.encode() for name, text in small_files().items()}
    folder = write_small(tmp_path / "small")
    refused = 0
    for seed in range(block * 300, block * 300 + 300):
        rng = random.Random(f"{damage.__name__} {seed}")
        hurt = rng.sample(list(files), rng.choice((1, 1, 1, 2)))
        for name in hurt:
            (folder / name).write_bytes(damage(name, files[name], rng))
        try:
            scenario = outcome(lambda: load_scenario(folder))
            refused += scenario is None
            if scenario is not None and seed % 10 == 0:
                shutil.rmtree(tmp_path / "copy", ignore_errors=True)
                scenario.save(tmp_path / "copy")
                assert load_scenario(tmp_path / "copy") == scenario
        except Exception as error:
            error.add_note(f"damage {damage.__name__}, seed {seed}, files {hurt}")
            raise
        for name in hurt:
            (folder / name).write_bytes(files[name])
    assert 30 < refused < 300, "the damage bites, and not always"


CELLS: list[object] = [
    *HOSTILE, "\ud800", None, np.nan, pd.NA, pd.NaT, True, False, np.True_, 0, -1, 2.5, 1e300, -np.inf,
    10**400, 10**5000, 2**63, -0.0, 1j, b"x", (), [], [None], ("s1", "s2"), {"s1"}, {"a": 1}, object,
    np.array([1.0, np.nan]), range(3), pd.Timestamp("2031-05-14"),
    pd.Timestamp("2031-05-14T12:00", tz="Asia/Tokyo"), pd.Timedelta("1h"), np.datetime64("2031-05-14"),
]


@pytest.mark.parametrize("table", [table.name for table in TABLES])
def test_damaged_frames(small: Scenario, table: str) -> None:
    digest = small.digest
    refused = 0
    for seed in range(100):
        rng = random.Random(f"{table} {seed}")
        frame = small.table(table).astype(object)
        for _ in range(rng.choice((1, 2))):
            kind = rng.randrange(8)
            if kind == 0:
                frame = frame.drop(columns=[rng.choice(list(frame.columns))])
            elif kind == 1:
                frame = pd.concat([frame, frame.sample(1, random_state=seed)])
            elif kind == 2:
                name = rng.choice(["x_a", "x", 3, None, "\ud800"])
                frame = frame.rename(columns={rng.choice(list(frame.columns)): name})
            elif kind == 3:
                frame = frame.iloc[::-1].set_index(frame.columns[0], drop=False)
            else:
                frame.iat[rng.randrange(len(frame)), rng.randrange(frame.shape[1])] = rng.choice(CELLS)
        try:
            refused += outcome(lambda: small.with_table(table, frame)) is None  # noqa: B023 - called at once
        except Exception as error:
            error.add_note(f"table {table}, seed {seed}")
            raise
    assert 5 < refused < 100
    assert small.digest == digest


def test_damaged_settings(small: Scenario) -> None:
    keys = ["egress", "limits.hard_min", "limits", "suit.EV1.oxygen_g", "relays.longitudes_deg_east", "orbit",
            "airlock",
            "title", "x_free", "x_free.a.b", "", ".", "a.", "limits.x_y", "suit.EV1", "horizon_h",
    "\ud800",
            "odds.crew_sd"]
    refused = 0
    for seed in range(600):
        rng = random.Random(f"settings {seed}")
        changes = {rng.choice(keys): rng.choice(CELLS) for _ in range(rng.choice((1, 2)))}
        try:
            refused += outcome(lambda: small.with_settings(changes)) is None  # noqa: B023 - called at once
        except Exception as error:
            error.add_note(f"seed {seed}: {changes}")
            raise
    assert 100 < refused < 600


@pytest.mark.parametrize("form", FORMS)
def test_damaged_orbit_messages(tmp_path: Path, form: Callable[[dict[str, str]], str]) -> None:
    folder = write_small(tmp_path / "small")
    data = form(VALUES).encode()
    for seed in range(100):
        rng = random.Random(f"{form.__name__} {seed}")
        (folder / "orbit.json").write_bytes(bytes_damage("orbit.json", data, rng))
        try:
            outcome(lambda: load_scenario(folder))
        except Exception as error:
            error.add_note(f"form {form.__name__}, seed {seed}")
            raise
