"""Energy, gas and cooling water against published relations and tables."""

from __future__ import annotations

import pytest

from planning_kit.plan.suits import (
    co2_g_per_min,
    kcal_per_litre_o2,
    oxygen_g_per_min,
    water_g_per_min,
)

WATTS_PER_BTU_H = 0.293071


@pytest.mark.parametrize(("quotient", "kcal"), [(0.70, 4.7152), (0.85, 4.8811), (1.00, 5.0470)])
def test_weir_gives_the_energy_of_a_litre_of_oxygen(quotient: float, kcal: float) -> None:
    # 3.941 + 1.106 RQ (Weir 1949), to the four decimals of the table.
    assert kcal_per_litre_o2(quotient) == pytest.approx(kcal, abs=6e-5)


def test_weirs_own_kind_of_example() -> None:
    # VO2 0.30 and VCO2 0.24 L/min are 1.4477 kcal/min: the same, as RQ 0.8 and energy per litre.
    assert 0.30 * kcal_per_litre_o2(0.24 / 0.30) == pytest.approx(1.4477, abs=1e-4)


@pytest.mark.parametrize("quotient", [0.80, 0.85, 0.90])
def test_iso_8996_agrees(quotient: float) -> None:
    # (0.23 RQ + 0.77) 5.88 W h per litre of oxygen (ISO 8996, from memory); a mole is 22.414 L and 31.998 g.
    # Its slope in RQ differs from Weir's: within 0.15 % in the middle of the range.
    watt_hours_per_litre = (0.23 * quotient + 0.77) * 5.88
    grams_per_min = 300 / 60 / watt_hours_per_litre / 22.414 * 31.998
    assert oxygen_g_per_min(300, quotient) == pytest.approx(grams_per_min, rel=1.5e-3)


@pytest.mark.parametrize(("btu_h", "oxygen", "co2"), [
    (350, 25.51, 31.57), (850, 61.94, 76.68), (1000, 72.88, 90.21), (2000, 145.75, 180.42),
])
def test_table_of_gas_by_metabolic_rate(btu_h: float, oxygen: float, co2: float) -> None:
    # g/h at RQ 0.90, computed apart from this project from Weir, 22.414 L/mol: 0.2 %.
    watts = btu_h * WATTS_PER_BTU_H
    assert 60 * oxygen_g_per_min(watts, 0.90) == pytest.approx(oxygen, rel=2e-3)
    assert 60 * co2_g_per_min(watts, 0.90) == pytest.approx(co2, rel=2e-3)


def test_feedwater_of_a_thousand_btu_an_hour() -> None:
    # 293.07 W at 2.50 MJ/kg: 293.07 * 3600 / 2.5e6 = 0.4220 kg/h.
    assert 60 * water_g_per_min(293.07) == pytest.approx(422.0, abs=0.1)
