"""Thousands of damaged folders: each ends in `ScenarioError` or a valid scenario, never in another exception.

The damage is drawn from fixed seeds, so that a failure repeats; the exception's note names the seed. A valid
outcome must also hold together: it equals itself after a save and a load.
"""

from __future__ import annotations

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
from tests.attack.ways import HOSTILE, bytes_damage, table_damage
from tests.inputs.small_folder import small_files, write_small
from tests.inputs.test_omm import FORMS, VALUES


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
        frame = frame if len(frame) else frame.reindex([0])  # something to damage
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
    keys = ["pet_zero_utc", "limits.hard_min", "limits", "suit.EV1.oxygen_g", "relays.longitudes_deg_east",
            "orbit",
            "airlock_place",
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
