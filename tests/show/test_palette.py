"""Contrast and colour-blindness of the charts' colours.

Contrast: WCAG 2.2, relative luminance and contrast ratio (7:1 for text at level AAA, 4.5:1 at AA, 3:1 for
graphics), from memory. Colour blindness: matrices of Machado, Oliveira, Fernandes, "A physiologically-based
model for simulation of color vision deficiency", IEEE TVCG 15 (2009), severity 1.0, from memory; each row
must sum to 1 (grey stays grey).
"""

import itertools

import numpy as np
import pytest

from planning_kit.show.palette import (
    DARK,
    INK_ON_FILL,
    LIGHT,
    NO_TASK_FILL,
    SEVERITY_SIGNS,
    TASK_FILLS,
    task_fills,
)

SIGHT = {
    "full": np.eye(3),
    "no red cones": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                              [-0.003882, -0.048116, 1.051998]]),
    "no green cones": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                                [-0.011820, 0.042940, 0.968881]]),
    "no blue cones": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                               [0.004733, 0.691367, 0.303900]]),
}


def linear(colour):
    channels = np.array([int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def contrast(first, second):
    lights = sorted(float(linear(colour) @ [0.2126, 0.7152, 0.0722]) for colour in (first, second))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(rgb):
    """CIELAB of linear sRGB, white D65 (CIE 15)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = np.clip(to_xyz @ np.clip(rgb, 0, 1) / [0.9505, 1.0, 1.089], 0, None)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("sight", SIGHT)
def test_the_simulation_keeps_grey(sight):
    assert SIGHT[sight].sum(axis=1) == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize("fill", [*TASK_FILLS, NO_TASK_FILL])
def test_the_step_id_reads_on_every_fill(fill):
    assert contrast(INK_ON_FILL, fill) >= 7


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_text_reads_on_the_ground_and_signs_stand_out(theme):
    assert contrast(theme.ink, theme.paper) >= 7
    assert contrast(theme.quiet_ink, theme.paper) >= 4.5
    assert contrast(theme.night_ink, theme.night) >= 4.5
    assert contrast(theme.day_ink, theme.day) >= 4.5
    assert contrast(theme.stop, theme.paper) >= 3
    assert contrast(theme.link, theme.paper) >= 3


@pytest.mark.parametrize("sight", SIGHT)
def test_task_fills_stay_apart_for_the_colour_blind(sight):
    """At least 8 units of CIELAB between any two: common practice, no source."""
    seen = {fill: lab(SIGHT[sight] @ linear(fill)) for fill in TASK_FILLS}
    apart = {(one, other): float(np.linalg.norm(seen[one] - seen[other]))
             for one, other in itertools.combinations(seen, 2)}
    assert min(apart.values()) >= 8, min(apart, key=apart.get)


def test_tasks_beyond_the_fills_get_a_texture():
    looks = task_fills([f"T{n}" for n in range(20)])
    assert len(set(looks.values())) == 21
    assert looks["T0"] == (TASK_FILLS[0], "")
    assert looks["T8"][0] == TASK_FILLS[0]
    assert looks["T8"][1]


def test_severities_differ_in_shape():
    assert list(SEVERITY_SIGNS) == ["stop", "concern", "remark"]
    assert len({symbol for symbol, _ in SEVERITY_SIGNS.values()}) == 3
