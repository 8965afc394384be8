"""Labels and readings of time. Day-of-year forms as in CCSDS 301.0-B, ASCII code B (from memory, 95 %)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.times import (
    Side,
    gmt_label,
    margin_label,
    moment_at,
    number_label,
    pet_label,
    pet_min,
    rounded,
)
from planning_kit.inputs.utc import as_utc


@pytest.mark.parametrize(("pet", "label"), [
    (0, "0:00"), (127.4, "2:07"), (127.5, "2:08"), (59.5, "1:00"), (600, "10:00"),
    (-5, "−0:05"), (-0.4, "0:00"), (-65, "−1:05"), (float("nan"), "–"), (float("inf"), "–"),
])
def test_pet_labels(pet: float, label: str) -> None:
    assert pet_label(pet) == label


@pytest.mark.parametrize(("pet", "down", "up"), [
    (127.9, "2:07", "2:08"), (127.1, "2:07", "2:08"), (127, "2:07", "2:07"), (127 - 1e-9, "2:07", "2:07"),
    (127 + 1e-9, "2:07", "2:07"), (-0.4, "−0:01", "0:00"), (-65.5, "−1:06", "−1:05"),
])
def test_labels_on_the_safe_side(pet: float, down: str, up: str) -> None:
    assert (pet_label(pet, "down"), pet_label(pet, "up")) == (down, up)
    pet_zero = datetime(2031, 5, 14, 11, 20, 30, tzinfo=UTC)  # GMT has its own whole minutes
    assert gmt_label(moment_at(0.4, pet_zero), "down") == "134/11:20"
    assert gmt_label(moment_at(0.6, pet_zero), "up") == "134/11:22"
    assert gmt_label(moment_at(0.5, pet_zero), "down") == gmt_label(moment_at(0.5, pet_zero),
                                                                    "up") == "134/11:21"


@pytest.mark.parametrize(("value", "down", "up"), [
    (12.78, "12.7", "12.8"), (-6.64, "−6.7", "−6.6"), (0.3 - 0.2, "0.1", "0.1"), (-0.04, "−0.1", "0.0"),
    (float("nan"), "–", "–"),
])
def test_numbers_on_the_safe_side(value: float, down: str, up: str) -> None:
    assert (number_label(value, "down"), number_label(value, "up")) == (down, up)


def test_a_margin_is_rounded_from_the_exact_one() -> None:
    # A limit of 6:30.0 and an end of 6:15.6: 14.4 left; of two labels, 6:30 and 6:16, it would be 14, and of
    # 6:29.6 and 6:15.4, 14.2, as labels 6:30 and 6:15, one more than there is.
    assert margin_label(390 - 375.6) == margin_label(389.6 - 375.4) == "0:14 left"
    assert margin_label(-0.2) == "0:01 over"
    assert margin_label(-1e-9) == "0:00 left"
    side: Side
    for side in ("down", "nearest", "up"):
        assert rounded(float("inf"), side) == float("inf")


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
    pet_zero = datetime(2031, 5, 14, 11, 20, tzinfo=UTC)
    assert pet_min(moment_at(127.25, pet_zero), pet_zero) == 127.25
    assert moment_at(-30, pet_zero) == datetime(2031, 5, 14, 10, 50, tzinfo=UTC)


@pytest.mark.parametrize("value", ["", "noon", "2031-13-01", "0001-01-01T00:00+05:00", 12345, None, pd.NaT,
                                   np.datetime64("NaT", "s")])
def test_what_is_no_time_is_a_fault(value: object) -> None:
    with pytest.raises(ScenarioError):
        as_utc(value)  # type: ignore[arg-type]
