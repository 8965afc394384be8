"""Published optima through the project's own model. Sources: `instances/README.md`."""

from __future__ import annotations

import os

import pytest

from tests.explore.propose.classics import job_shop, project, solved

SLOW = (pytest.mark.slow, pytest.mark.skipif("SLOW_TESTS" not in os.environ,
                                             reason="3 to 40 s of proof: set SLOW_TESTS=1"))


@pytest.mark.parametrize("name", ["ft06", "la01", pytest.param("ft10", marks=SLOW)])
def test_job_shops_reach_their_published_optimum(name: str) -> None:
    model, optimum = job_shop(name)
    assert solved(model).bound == optimum


def test_a_project_with_resources_reaches_its_published_optimum() -> None:
    # PSPLIB j301_1: 43 (check values of this project; the list of optima that comes with the j30 set).
    assert solved(project("j301_1")).bound == 43
