"""What is left in each suit over the outing: oxygen, carbon dioxide capacity, energy, cooling water.

Every activity has a metabolic rate: ``[exertion_w]`` by its exertion, times the crew member's
``exertion_factor``. Rates are steady within an activity, so what is left falls along straight lines between
activity boundaries. What a working body takes in and gives off follows from the metabolic rate:

Energy and gas: J. B. de V. Weir, "New methods for calculating metabolic rate with special reference to
protein metabolism", Journal of Physiology 109 (1949): kcal = 3.941 V(O2) + 1.106 V(CO2), volumes in litres
at standard temperature and pressure, dry (STPD). With V(CO2) = RQ V(O2) a rate in watts gives both gases.
Valid for steady work at a respiratory quotient RQ of 0.7 to 1.0. Neglected: the protein term (Weir: about
1 %), oxygen debt in short heavy work, suit leakage and purges.

Cooling: all metabolic and equipment heat is carried off by evaporating or subliming feedwater at 2.50 MJ/kg,
the latent heat of vaporisation at 0 degrees Celsius. Neglected: external work (at most a few per cent of the
metabolic rate), heat through the suit's wall (but for ``worst_sun_factor``, where a scenario states one: all
heat is taken times it), sensible heat of the water, water not evaporated.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planning_kit.inputs.records import Crew, Records
from planning_kit.inputs.setting_records import Settings, Suit
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.plan.activities import TRAVEL, WAIT, Activity

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


Numbers = NDArray[np.float64]

UNITS = {"oxygen": "g", "co2": "g", "energy": "wh", "water": "g"}
"""The consumables of a suit and the unit of their amounts, as in the keys of ``[suit]``."""
WORDS = {"oxygen": "oxygen", "co2": "CO2 capacity", "energy": "energy", "water": "cooling water"}
UNIT_WORDS = {"g": "g", "wh": "W h"}
DEFAULT_EXERTION = "moderate"
INGRESS_EXERTION = "light"
BEFORE_PET_ZERO_EXERTION = "rest"
SUIT_SUMMARY_COLUMNS = ["crew", "consumable", "unit", "usable", "used_before", "used", "left", "reserve",
                        "margin", "runs_out_min", "first"]
_LOAD_KEYS = {
    "oxygen": ("respiratory_quotient",), "co2": ("respiratory_quotient",), "energy": ("power_w",),
    "water": ("equipment_heat_w",),
}


@dataclass(frozen=True)
class Store:
    """One consumable of one suit. Amounts in grams, or watt-hours for energy; rates per minute.

    ``left`` is the amount at ``at_min`` (PET minutes, both (n,)), negative once it has run out; ``rates``
    (n - 1,) is the use between them. ``missing`` names the scenario keys without which nothing is known; all
    numbers are then NaN. ``reserve`` is NaN where no reserve fraction is given. ``travel_rate``,
    ``wait_rate`` and ``carry_rate`` are the use in travel, waiting and bringing a disabled partner,
    ``used_before`` is the amount used before PET 0.
    """

    crew: str
    consumable: str
    usable: float
    reserve: float
    at_min: Numbers
    left: Numbers
    rates: Numbers
    travel_rate: float
    wait_rate: float
    carry_rate: float
    missing: tuple[str, ...]
    used_before: float

    @property
    def unit(self) -> str:
        """``g`` or ``wh``."""
        return UNITS[self.consumable]

    @property
    def is_known(self) -> bool:
        """Whether everything needed was given."""
        return not self.missing

    @property
    def left_at_end(self) -> float:
        """What is left when the outing ends."""
        return float(self.left[-1])

    @property
    def mean_rate(self) -> float:
        """Mean use per minute from PET 0 to the end of the outing."""
        minutes = float(self.at_min[-1] - self.at_min[0])
        return float(self.left[0] - self.left[-1]) / minutes if minutes > 0 else 0.0

    @property
    def runs_out_min(self) -> float:
        """PET at which nothing is left; after the outing at its mean rate; inf where nothing is used."""
        if not self.is_known:
            return float("nan")
        if self.left[-1] < 0:
            # np.interp wants numbers that rise, and what is left falls.
            return float(np.interp(0.0, -self.left, self.at_min))
        return float(self.at_min[-1]) + self.left_at_end / self.mean_rate if self.mean_rate > 0 else np.inf

    @property
    def floor(self) -> float:
        """The reserve, or 0 where none is given."""
        return 0.0 if np.isnan(self.reserve) else self.reserve

    def left_at(self, pet_min: Numbers) -> Numbers:
        """What is left at these moments (PET minutes)."""
        return np.interp(pet_min, self.at_min, self.left)

    def rate_at(self, pet_min: Numbers) -> Numbers:
        """The use per minute at these moments (PET minutes), where two activities meet that of the later."""
        spans = np.diff(self.at_min)
        # An activity of no length has no rate.
        begins, used = self.at_min[:-1][spans > 0], -np.diff(self.left)[spans > 0]
        if not len(begins):
            return np.zeros(len(pet_min))
        which = np.searchsorted(begins, pet_min, side="right") - 1
        return (used / spans[spans > 0])[np.maximum(which, 0)]


@dataclass(frozen=True)
class SuitHistory:
    """One crew member's suit through the outing; ``metabolic_w`` (n - 1,) between the ``at_min`` (n,)."""

    crew: str
    at_min: Numbers
    metabolic_w: Numbers
    stores: tuple[Store, ...]

    @property
    def first_out(self) -> Store | None:
        """The known consumable that runs out first; None where none is known."""
        known = (store for store in self.stores if store.is_known)
        return min(known, key=lambda store: store.runs_out_min, default=None)


def suit_histories(records: Records, lanes: Mapping[str, Sequence[Activity]]) -> tuple[SuitHistory, ...]:
    """The suit of each crew member through what their lane does."""
    exertion = {step.step: step.exertion or DEFAULT_EXERTION for step in records.steps}
    return tuple(_history(records.settings, crew, lanes[crew.crew], exertion) for crew in records.crew)


def _history(settings: Settings, crew: Crew, lane: Sequence[Activity],
             exertion: dict[str, str]) -> SuitHistory:
    suit, factor = settings.suits[crew.crew], 1.0 if crew.exertion_factor is None else crew.exertion_factor
    watts = {key: given * factor for key, given in settings.exertion_w.items()}
    travel, wait = ("travel" if "travel" in watts else "moderate"), ("wait" if "wait" in watts else "rest")
    carry = "carry" if "carry" in watts else travel
    keys = [travel if activity.kind == TRAVEL else wait if activity.kind == WAIT else
            exertion[activity.step] if activity.step else INGRESS_EXERTION for activity in lane]
    # Minutes at rest before PET 0 that each store is used; none where its amount is given. The umbilical
    # feeds oxygen, energy and cooling, but the cartridge takes up carbon dioxide all the while.
    battery, umbilical = suit.used_before.battery_min or 0.0, suit.used_before.umbilical_min or 0.0
    before = {name: 0.0 if getattr(suit.used_before, f"{name}_{unit}") is not None else
              battery + umbilical if name == "co2" else battery for name, unit in UNITS.items()}
    # Travel and waiting also where the lane has none: ways home and waits at the airlock use their rates.
    at_rest = [BEFORE_PET_ZERO_EXERTION] if any(before.values()) else []
    needed = dict.fromkeys([*keys, travel, wait, carry, *at_rest])
    missing = tuple(f"[exertion_w] {key}" for key in needed if key not in watts)
    before_w = watts.get(BEFORE_PET_ZERO_EXERTION, np.nan) if at_rest else 0.0
    metabolic_w = np.array([before_w, *(watts.get(key, np.nan) for key in (*keys, travel, wait, carry))])
    at_min = np.array([lane[0].start_min, *(activity.finish_min for activity in lane)])
    stores = tuple(_store(crew.crew, name, suit, at_min, before[name], metabolic_w, missing)
                   for name in UNITS)
    return SuitHistory(crew.crew, at_min, metabolic_w[1:-3], stores)


def _store(crew: str, consumable: str, suit: Suit, at_min: Numbers, before_min: float, metabolic_w: Numbers,
           missing_w: tuple[str, ...]) -> Store:
    """``metabolic_w``: before PET 0, of each activity, in travel, waiting, carrying; ``missing_w``: keys."""
    unit = UNITS[consumable]
    keys = (f"{consumable}_{unit}", *_LOAD_KEYS[consumable])
    missing = tuple(f"[suit] {key}" for key in keys if getattr(suit, key) is None)
    # Energy is what the equipment uses, whatever the body does.
    if consumable != "energy":
        missing += missing_w
    usable = np.nan if missing else float(getattr(suit, keys[0]))
    fraction = getattr(suit, f"{consumable}_reserve_fraction")
    rates = np.nan * metabolic_w if missing else _rates(consumable, suit, metabolic_w)
    used = np.cumsum(rates[:-3] * np.array([before_min, *np.diff(at_min)]))
    used += getattr(suit.used_before, keys[0]) or 0.0
    return Store(crew, consumable, usable=usable, at_min=at_min, left=usable - used, missing=missing,
                 reserve=np.nan if fraction is None else usable * fraction, rates=rates[1:-3],
                 travel_rate=float(rates[-3]), wait_rate=float(rates[-2]), carry_rate=float(rates[-1]),
                 used_before=float(used[0]))


def _rates(consumable: str, suit: Suit, metabolic_w: Numbers) -> Numbers:
    """Use per minute at metabolic rates (W): grams, or watt-hours for energy. All keys are given."""
    if consumable == "oxygen":
        return np.asarray(oxygen_g_per_min(metabolic_w, suit.respiratory_quotient or 0.0))
    if consumable == "co2":
        return np.asarray(co2_g_per_min(metabolic_w, suit.respiratory_quotient or 0.0))
    if consumable == "water":
        heat_w = metabolic_w + (suit.equipment_heat_w or 0.0)
        return np.asarray(water_g_per_min(heat_w * (suit.worst_sun_factor or 1.0)))
    return np.full(len(metabolic_w), (suit.power_w or 0.0) / 60.0)


def reserve_reached_min(at_min: Numbers, at_start: Numbers, rates: Numbers, floor: Numbers,
                        then_rate: Numbers) -> Numbers:
    """First PET at which each of k stores is down to its ``floor`` in each of n timings, (k, n).

    It begins with ``at_start`` (k,) and is used at ``rates`` (k, m) between the edges ``at_min`` (m + 1, n),
    then at ``then_rate`` (k,); inf where nothing is used then.
    """
    spans, over = np.diff(at_min, axis=0), (at_start - floor)[:, None]
    over_at_end = over - rates @ spans
    lasts = np.full(over_at_end.shape, np.inf)
    np.divide(np.maximum(over_at_end, 0.0), then_rate[:, None], out=lasts, where=then_rate[:, None] > 0)
    reached: Numbers = at_min[-1] + np.where(over_at_end > 0, lasts, 0.0)
    for store, early in enumerate(over_at_end <= 0):
        if early.any():
            reached[store, early] = _crossing(float(over[store, 0]), rates[store], at_min[:, early],
                                              spans[:, early])
    return reached


def _crossing(over: float, rates: Numbers, at_min: Numbers, spans: Numbers) -> Numbers:
    """When what is ``over`` the floor is used up, (n,), between the edges ``at_min`` (m + 1, n)."""
    reached: Numbers = at_min[-1 if over > 0 else 0].copy()
    left, is_open = np.full(len(reached), over), np.full(len(reached), over > 0)
    # Edge by edge, which stays in the processor's cache: sums over all edges at once do not.
    for begin, rate, span in zip(at_min, rates.tolist(), spans, strict=False):
        used = rate * span
        here = np.flatnonzero(is_open & (left <= used))
        if len(here):
            reached[here] = begin[here] + left[here] / used[here] * span[here]
            is_open[here] = False
        left -= used
    return reached


def suits_table(histories: Sequence[SuitHistory]) -> pd.DataFrame:
    """A row a crew member and activity boundary: what is left, then the reserves."""
    return pd.concat((ShownTable(
        {"crew": history.crew, "at_min": history.at_min}
        | {f"{store.consumable}_left_{store.unit}": store.left for store in history.stores}
        | {f"{store.consumable}_reserve_{store.unit}": store.reserve for store in history.stores})
        for history in histories), ignore_index=True)


def suit_summary_table(histories: Sequence[SuitHistory]) -> pd.DataFrame:
    """A row a crew member and consumable at the end; ``margin`` is what is left over the reserve."""
    rows = [
        (store.crew, store.consumable, UNIT_WORDS[store.unit], store.usable, store.used_before,
         store.usable - store.left_at_end, store.left_at_end, store.reserve,
         store.left_at_end - store.reserve, store.runs_out_min, store is history.first_out)
        for history in histories for store in history.stores]
    return ShownTable(rows, columns=SUIT_SUMMARY_COLUMNS)
