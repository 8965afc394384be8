"""Contrast and colour-blindness of the charts' colours.

Contrast: WCAG 2.2, relative luminance and contrast ratio (7:1 for text at level AAA, 4.5:1 at AA, 3:1 for
graphics), from memory. Colour blindness: matrices of Machado, Oliveira, Fernandes, "A physiologically-based
model for simulation of color vision deficiency", IEEE TVCG 15 (2009) 1291-1298, severity 1.0 (their table at
www.inf.ufrgs.br/~oliveira/pubs_files/CVD_Simulation, as public programs hold it), on linear sRGB; each row
must sum to 1 (grey stays grey). Difference: CIEDE2000 as in Sharma, Wu, Dalal, "The CIEDE2000
color-difference formula", Color Research and Application 30 (2005) 21-30; pairs of their table 1 check it.
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
    letter_of,
    task_fills,
)

LEAST_DIFFERENCE = 12.5
"""CIEDE2000 between any two fills, in any sight. No source; above all pairs that are mixed up: light blue and
light cyan have 12.2, mint and pink 10.3, pear and olive 7.9 (`MIXED_UP`)."""
MIXED_UP = [("#77AADD", "#99DDFF"), ("#44BB99", "#FFAABB"), ("#BBCC33", "#AAAA00")]

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


def ciede2000(one, other):
    """The difference of two colours in CIELAB; symbols as in Sharma et al., weights 1."""
    (l_1, a_1, b_1), (l_2, a_2, b_2) = one, other
    mean_c = (np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2
    stretch = 1.5 - 0.5 * np.sqrt(mean_c**7 / (mean_c**7 + 25**7))
    c_1, c_2 = np.hypot(a_1 * stretch, b_1), np.hypot(a_2 * stretch, b_2)
    h_1, h_2 = (np.degrees(np.arctan2(b, a * stretch)) % 360 for a, b in ((a_1, b_1), (a_2, b_2)))
    turn = (h_2 - h_1 + 180) % 360 - 180 if c_1 * c_2 else 0.0
    d_h = 2 * np.sqrt(c_1 * c_2) * np.sin(np.radians(turn) / 2)
    light, chroma, hue = (l_1 + l_2) / 2, (c_1 + c_2) / 2, (h_1 + turn / 2) % 360 if c_1 * c_2 else h_1 + h_2
    t = 1 + sum(k * np.cos(np.radians(n * hue + shift))
                for k, n, shift in ((-0.17, 1, -30), (0.24, 2, 0), (0.32, 3, 6), (-0.2, 4, -63)))
    s_l = 1 + 0.015 * (light - 50)**2 / np.sqrt(20 + (light - 50)**2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    bent = 60 * np.exp(-((hue - 275) / 25)**2)
    r_t = -2 * np.sin(np.radians(bent)) * np.sqrt(chroma**7 / (chroma**7 + 25**7))
    parts = (l_2 - l_1) / s_l, (c_2 - c_1) / s_c, d_h / s_h
    return float(np.sqrt(sum(part**2 for part in parts) + r_t * parts[1] * parts[2]))


def apart(one, other, sight):
    """How far two fills are apart as a reader of this sight sees them."""
    return ciede2000(*(lab(SIGHT[sight] @ linear(fill)) for fill in (one, other)))


@pytest.mark.parametrize(("one", "other", "difference"), [
    # Sharma et al., table 1: pairs 1, 7, 9, 11, 17 and 25.
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425), ((50, 0, 0), (50, -1, 2), 2.3669),
    ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792), ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644)])
def test_the_difference_is_that_of_its_authors(one, other, difference):
    assert ciede2000(one, other) == pytest.approx(difference, abs=1e-4)


@pytest.mark.parametrize("sight", SIGHT)
def test_task_fills_stay_apart_for_the_colour_blind(sight):
    between = {pair: apart(*pair, sight) for pair in itertools.combinations([*TASK_FILLS, NO_TASK_FILL], 2)}
    assert min(between.values()) >= LEAST_DIFFERENCE, min(between, key=between.get)


def test_pairs_that_were_mixed_up_would_be_found():
    for pair in MIXED_UP:
        assert min(apart(*pair, sight) for sight in SIGHT) < LEAST_DIFFERENCE


def test_every_task_has_a_letter_and_fills_go_round():
    looks = task_fills([f"T{n}" for n in range(30)])
    assert len({letter for _, letter in looks.values()}) == 31
    assert [letter_of(n) for n in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
    assert [looks[f"T{n}"][0] for n in range(8)] == [*TASK_FILLS, *TASK_FILLS]
    assert looks[""] == (NO_TASK_FILL, "")


def test_neighbours_in_a_lane_differ_and_others_keep_their_turn():
    tasks = [f"T{n}" for n in range(6)]
    alone, met = task_fills(tasks), task_fills(tasks, [["T0", "", "T4", "T4", "T1"], ["T5", "T2"]])
    assert alone["T0"][0] == alone["T4"][0]
    assert met["T4"][0] == TASK_FILLS[2], "neither that of T0 nor that of T1"
    assert {task: look for task, look in met.items() if task != "T4"} == {
        task: look for task, look in alone.items() if task != "T4"}


def test_severities_differ_in_shape():
    assert list(SEVERITY_SIGNS) == ["stop", "concern", "remark"]
    assert len({symbol for symbol, _ in SEVERITY_SIGNS.values()}) == 3
