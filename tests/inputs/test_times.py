"""Labels and readings of time. Day-of-year forms as in CCSDS 301.0-B, ASCII code B (from memory, 95 %)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.times import as_utc, gmt_label, moment_at, pet_label, pet_min


@pytest.mark.parametrize(("pet", "label"), [
    (0, "0:00"), (127.4, "2:07"), (127.5, "2:08"), (59.5, "1:00"), (600, "10:00"),
    (-5, "−0:05"), (-0.4, "0:00"), (-65, "−1:05"), (float("nan"), "–"), (float("inf"), "–"),
])
def test_pet_labels(pet: float, label: str) -> None:
    assert pet_label(pet) == label


def test_day_of_year_labels() -> None:
    # 2020-064 is 4 March 2020, and 2019-343.69339541 is 2019-12-09T16:38:29.363 UTC: published examples of
    # day-of-year times in orbit data.
    assert gmt_label(datetime(2020, 3, 4, tzinfo=UTC)) == "064/00:00"
    moment = datetime(2019, 1, 1, tzinfo=UTC) + timedelta(days=343.69339541 - 1)
    assert abs(moment - datetime(2019, 12, 9, 16, 38, 29, 363_000, tzinfo=UTC)) < timedelta(milliseconds=1)
    assert gmt_label(moment) == "343/16:38"
    assert gmt_label(datetime(2019, 12, 31, 23, 59, 31, tzinfo=UTC)) == "001/00:00"


def test_readings_of_one_moment_agree() -> None:
    moment = datetime(2031, 5, 14, 11, 20, tzinfo=UTC)
    assert as_utc("2031-05-14T11:20:00Z") == moment
    assert as_utc("2031-05-14T13:20:00+02:00") == moment
    assert as_utc("2031-05-14 11:20") == moment
    assert as_utc(datetime(2031, 5, 14, 11, 20)) == moment
    assert as_utc(np.datetime64("2031-05-14T11:20")) == moment
    assert as_utc(pd.Timestamp("2031-05-14T11:20Z")) == moment
    assert as_utc(date(2031, 5, 14)) == datetime(2031, 5, 14, tzinfo=UTC)


def test_pet_and_utc_are_inverse() -> None:
    egress = datetime(2031, 5, 14, 11, 20, tzinfo=UTC)
    assert pet_min(moment_at(127.25, egress), egress) == 127.25
    assert moment_at(-30, egress) == datetime(2031, 5, 14, 10, 50, tzinfo=UTC)


@pytest.mark.parametrize("value", ["", "noon", "2031-13-01", "0001-01-01T00:00+05:00", 12345, None, pd.NaT,
                                   np.datetime64("NaT", "s")])
def test_what_is_no_time_is_a_fault(value: object) -> None:
    with pytest.raises(ScenarioError):
        as_utc(value)  # type: ignore[arg-type]
