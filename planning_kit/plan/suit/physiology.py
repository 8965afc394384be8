"""What a working body takes in and gives off, from its metabolic rate: oxygen, carbon dioxide, cooling water.

Energy and gas: J. B. de V. Weir, "New methods for calculating metabolic rate with special reference to
protein metabolism", Journal of Physiology 109 (1949): kcal = 3.941 V(O2) + 1.106 V(CO2), volumes in litres
at standard temperature and pressure, dry (STPD). With V(CO2) = RQ V(O2) a rate in watts gives both gases.
Valid for steady work at a respiratory quotient RQ of 0.7 to 1.0. Neglected: the protein term (Weir: about
1 %), oxygen debt in short heavy work, suit leakage and purges.

Cooling: all metabolic and equipment heat is carried off by evaporating or subliming feedwater at 2.50 MJ/kg,
the latent heat of vaporisation at 0 degrees Celsius. Neglected: external work (at most a few per cent of the
metabolic rate), heat through the suit's wall, sensible heat of the water, water not evaporated.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Watts = float | NDArray[np.float64]

WEIR_KCAL_PER_LITRE_O2 = 3.941
WEIR_KCAL_PER_LITRE_CO2 = 1.106
JOULES_PER_KCAL = 4186.8
"""International Table kilocalorie, as in the Btu; the thermochemical one (4184 J) gives 0.07 % more gas."""
LITRES_PER_MOL = 22.414
"""Ideal gas at 273.15 K and 101 325 Pa."""
O2_G_PER_MOL = 31.998
CO2_G_PER_MOL = 44.0095
VAPORISATION_J_PER_G = 2500.0
"""Latent heat of vaporisation of water at 0 degrees Celsius, rounded as in common tables."""


def kcal_per_litre_o2(respiratory_quotient: float) -> float:
    """Energy released per litre of oxygen (STPD), kcal/L (Weir 1949)."""
    return WEIR_KCAL_PER_LITRE_O2 + WEIR_KCAL_PER_LITRE_CO2 * respiratory_quotient


def oxygen_g_per_min(metabolic_w: Watts, respiratory_quotient: float) -> Watts:
    """Oxygen taken up at a metabolic rate (W), g/min."""
    return _oxygen_mol_per_min(metabolic_w, respiratory_quotient) * O2_G_PER_MOL


def co2_g_per_min(metabolic_w: Watts, respiratory_quotient: float) -> Watts:
    """Carbon dioxide given off at a metabolic rate (W), g/min."""
    return _oxygen_mol_per_min(metabolic_w, respiratory_quotient) * respiratory_quotient * CO2_G_PER_MOL


def water_g_per_min(heat_w: Watts) -> Watts:
    """Feedwater that carries off a heat load (W), g/min."""
    return heat_w * 60.0 / VAPORISATION_J_PER_G


def _oxygen_mol_per_min(metabolic_w: Watts, respiratory_quotient: float) -> Watts:
    litres_per_j = 1.0 / (JOULES_PER_KCAL * kcal_per_litre_o2(respiratory_quotient))
    return metabolic_w * 60.0 * litres_per_j / LITRES_PER_MOL
