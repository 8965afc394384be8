from __future__ import annotations

from pathlib import Path

import pytest

from planning_kit.inputs.scenario import Scenario, load_scenario
from tests.inputs.small_folder import write_small


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_small(tmp_path / "small")


@pytest.fixture
def small(folder: Path) -> Scenario:
    return load_scenario(folder)
