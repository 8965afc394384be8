"""``scenario.toml`` as typed, frozen records: the settings of an outing, its limits, suits and the sky.

As in `planning_kit.inputs.records` the type of a field says what its key may hold, too.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from immutabledict import immutabledict

from planning_kit.inputs.fields import GIVING_WAY, MAX_HORIZON_H, choice, column, minutes, number, reference

FrozenMapping = immutabledict
CONSUMABLES = "consumables"
SI = "si"
_Added = Annotated[float | None, minutes("of a step that a search adds; absent: none is", above_least=True,
                                         example="3")]


@dataclass(frozen=True)
class Limits:
    """The scenario's limits, most in minutes, and where each comes from.

    ``partner_carry_factor`` has no unit; ``partner_rescue`` is a severity, "" where it is not typed.
    """

    planned_min: Annotated[float, minutes("planned length of the outing", needed=True, above_least=True)]
    hard_min: Annotated[float | str, minutes("longest length of the outing; consumables: as long as the "
        "suits last along the plan", needed=True, above_least=True, words=(CONSUMABLES,))]
    return_reserve_min: Annotated[float | None, minutes("least allowed return margin")]
    emergency_oxygen_min: Annotated[float | None, minutes("how long the emergency oxygen lasts")]
    partner_carry_factor: Annotated[float | None, number("how much slower one moves with a disabled partner",
        least=1, most=100)]
    hook_move_min: Annotated[float | None, minutes("time to move a tether hook")]
    sources: Mapping[str, str]
    partner_rescue: Annotated[str, choice("how grave it is that a partner brings the other in too late, or "
        "cannot; absent: concern", "stop", "concern")] = ""
    wait_remark_min: Annotated[float | None, minutes("a wait longer than this is a remark; "
        "absent: none is", example="10")] = None
    carry_weight: Annotated[float | None, number("minutes of outing end that an hour of carrying one slot is "
        "worth where orders are compared; absent: none", "min", most=1440, example="2")] = None
    helper_hook_min: _Added = None
    helper_item_min: _Added = None
    helper_foothold_min: _Added = None

    @property
    def fixed_hard_min(self) -> float | None:
        """``hard_min`` as a number; None where it follows from what the suits have (``consumables``)."""
        return None if isinstance(self.hard_min, str) else self.hard_min


END_WORDS = {
    "hatch_closed": "both are inside and the hatch is closed",
    "repress_start": "both are inside and repressurisation begins",
    "repress_safe": "both are inside and the pressure can be breathed",
}
"""What may end an outing, in their order, in words."""


@dataclass(frozen=True)
class Airlock:
    """The airlock: minutes from when the second one is there, and minutes of PET, with their sources."""

    hatch_closed_min: Annotated[float, minutes("from the second one at the airlock until the hatch is closed",
        needed=True)]
    repress_start_min: Annotated[float, minutes("from the second one at the airlock until repressurisation "
        "begins", needed=True)]
    repress_safe_min: Annotated[float, minutes("from the second one at the airlock until the pressure can be "
        "breathed", needed=True)]
    emergency_repress_safe_min: Annotated[float | None, minutes("the same in an emergency; absent: as "
        "repress_safe_min")]
    depress_start_min: Annotated[float | None, minutes("PET at which depressurisation begins")]
    hatch_open_min: Annotated[float | None, minutes("PET at which the hatch opens: nobody is outside before")]
    ends: Annotated[str, choice("the end of the outing, which the planned and the hard limit bound; absent: "
        "repress_safe, the safe side", *END_WORDS, default="repress_safe")]
    sources: Mapping[str, str]

    @property
    def ends_min(self) -> float:
        """From the second one at the airlock until the end that the limits bound."""
        return float(getattr(self, f"{self.ends}_min"))

    @property
    def after_end_min(self) -> float:
        """From that end until the pressure can be breathed: stores and emergency oxygen must last so long."""
        return self.repress_safe_min - self.ends_min

    @property
    def safety(self) -> str:
        """What a way home leads to, in words."""
        return "a pressure that can be breathed" if self.after_end_min else "being inside"


@dataclass(frozen=True)
class CrewChecks:
    """Looks at the suit, and how far a body reaches, with where each comes from."""

    every_min: Annotated[float | None, minutes("longest time between two looks at each thing",
        above_least=True)]
    body_m: Annotated[float | None, number("how far a suited body reaches beyond the point where it is; "
        "added to every radius", "m", most=100)]
    sources: Mapping[str, str]
    voice_lost_min: Annotated[float | None, minutes("farthest from a fall-back place (voice lost); absent: "
        "not checked", example="10")] = None


@dataclass(frozen=True)
class Relays:
    """Geostationary relays and the elevation of the Earth mask above the limb, in degrees."""

    longitudes_deg_east: Annotated[tuple[float, ...], column("numbers", "where each relay stands", "deg",
        needed=True, least=-180, most=360)]
    mask_deg: Annotated[float, number("elevation kept free above the Earth's limb", "deg", most=90,
        default=0.0)]


@dataclass(frozen=True)
class UsedBefore:
    """What one suit uses before PET 0: an amount by store, else minutes at rest; None where not given."""

    oxygen_g: Annotated[float | None, number("oxygen used before PET 0", "g", most=1e5, example="30")]
    co2_g: Annotated[float | None, number("carbon dioxide removal used before PET 0", "g", most=1e5,
        example="25")]
    energy_wh: Annotated[float | None, number("battery energy used before PET 0", "W h", most=1e5,
        example="40")]
    water_g: Annotated[float | None, number("cooling water used before PET 0", "g", most=1e5, example="100")]
    umbilical_min: Annotated[float | None, minutes("in the suit on the umbilical, which feeds oxygen, energy "
        "and cooling: at rest, only carbon dioxide removal is used")]
    battery_min: Annotated[float | None, minutes("in the suit on its own supplies: at rest, all are used")]


@dataclass(frozen=True)
class Suit:
    """One crew member's suit: usable amounts, loads and reserves; None where not given."""

    oxygen_g: Annotated[float | None, number("usable oxygen", "g", most=1e5)]
    co2_g: Annotated[float | None, number("usable carbon dioxide removal", "g", most=1e5)]
    energy_wh: Annotated[float | None, number("usable battery energy", "W h", most=1e5)]
    water_g: Annotated[float | None, number("usable cooling water", "g", most=1e5)]
    power_w: Annotated[float | None, number("electric power drawn", "W", most=1e4)]
    respiratory_quotient: Annotated[float | None, number("CO2 out over O2 in, by volume", least=0.7,
        most=1.0)]
    equipment_heat_w: Annotated[float | None, number("heat of equipment that the cooling carries off", "W",
        most=1e4)]
    oxygen_reserve_fraction: Annotated[float | None, number("kept in reserve", most=1)]
    co2_reserve_fraction: Annotated[float | None, number("kept in reserve", most=1)]
    energy_reserve_fraction: Annotated[float | None, number("kept in reserve", most=1)]
    water_reserve_fraction: Annotated[float | None, number("kept in reserve", most=1)]
    worst_sun_factor: Annotated[float | None, number("the heat that the cooling carries off is taken times "
        "this, as if always in full Sun", least=1, most=10, example="1.2")]
    used_before: UsedBefore


@dataclass(frozen=True)
class Attitude:
    """How the station's axes are turned against those of the orbit (x ahead, y right, z to Earth: LVLH).

    First yaw about z, then pitch about the new y, then roll about the new x.
    """

    yaw_deg: Annotated[float, number("turn about z, Earthward", "deg", least=-360, most=360, default=0.0,
        example="0")] = 0.0
    pitch_deg: Annotated[float, number("then about y", "deg", least=-360, most=360, default=0.0,
        example="-2")] = 0.0
    roll_deg: Annotated[float, number("then about x", "deg", least=-360, most=360, default=0.0,
        example="0")] = 0.0
    source: Annotated[str, column("text", "who says so", example="the attitude timeline")] = ""


@dataclass(frozen=True)
class GivesWay:
    """What gives way first where no plan keeps all rules, and who says so."""

    order: Annotated[tuple[str, ...], column("names", "what gives way, the soonest first: all of "
        + ", ".join(GIVING_WAY), example=" ".join(GIVING_WAY))]
    source: Annotated[str, column("text", "who says so", example="the flight rules of this outing")]


@dataclass(frozen=True)
class OddsSettings:
    """How durations vary together: log-scale standard deviations and the name of the distribution."""

    common_sd: Annotated[float | None,
        number("log-scale standard deviation of the whole outing, 0.06 for 6 %", most=1)]
    crew_sd: Annotated[float | None, number("log-scale standard deviation of each crew member, 0.05 for 5 %",
        most=1)]
    travel_sd: Annotated[float | None, number("log-scale standard deviation of travel, 0.1 for 10 %", most=1)]
    distribution: Annotated[str, column("name", "name of the distribution of durations")]
    go_if: Annotated[str, choice("the estimate of what is left that must fit for a window to be entered; "
        "absent: likely", "likely", "high")] = ""


@dataclass(frozen=True)
class Settings:
    """``scenario.toml``, parsed."""

    title: Annotated[str, column("text", "name of the outing", needed=True)]
    station: Annotated[str, column("text", "name of the station", needed=True)]
    summary: Annotated[str, column("text", "what the outing is for")]
    pet_zero_utc: Annotated[datetime, column("datetime", "start of phase elapsed time, PET 0:00", "UTC",
        needed=True)]
    pet_zero_earliest: Annotated[datetime | None, column("datetime", "earliest PET 0 to consider", "UTC")]
    pet_zero_latest: Annotated[datetime | None, column("datetime", "latest PET 0 to consider", "UTC")]
    pet_zero_event: Annotated[str, column("text", "in words, the event that PET 0:00 is")]
    outing_end_event: Annotated[str, column("text", "in words, the event that ends the outing; absent: what "
        "[airlock] ends says", example="both inside, hatch closed")]
    horizon_h: Annotated[float, number("how far windows are computed", "h", needed=True, above_least=True,
        most=MAX_HORIZON_H)]
    airlock_place: Annotated[str, reference("the place where the outing begins and ends", "places",
                                            needed=True)]
    orbit: Annotated[str, column("file", "a CCSDS 502.0-B OMM or OEM, or two-line elements", needed=True)]
    limits: Limits
    airlock: Airlock
    night_guard_s: float
    exertion_w: Mapping[str, float]
    suits: Mapping[str, Suit]
    checks: CrewChecks
    relays: Relays | None
    odds: OddsSettings
    gives_way: GivesWay | None = None
    units: str = SI
    attitude: Attitude = Attitude()

    @property
    def outing_end_words(self) -> str:
        """The event that ends the outing, as typed or as ``[airlock] ends`` says."""
        return self.outing_end_event or END_WORDS[self.airlock.ends]
