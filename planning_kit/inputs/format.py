"""Format 1 of a scenario folder: the one definition.

Reading, faults, the JSON Schema, the reference table and typed table editors follow from it. Columns marked
``may_be_absent`` need not stand in the header. Names that begin with ``x_`` are free: kept and ignored.
"""

from __future__ import annotations

from typing import Any

from planning_kit.inputs.fields import Field, Section, Table

FORMAT = 1
SCENARIO_FILE = "scenario.toml"
SIGN_OFFS_FILE = "sign_offs.toml"
FREE_PREFIX = "x_"
SOURCE_SUFFIX = "_source"

SUITED = ("EV1", "EV2")
PARTNER = {"EV1": "EV2", "EV2": "EV1"}
RESERVED_IDS = ("inside", "both")
SHARED_ID_TABLES = ("places", "hardware", "crew", "actors")
WINDOW_WORDS = ("night", "day")

MAX_FILE_BYTES = 50_000_000
MAX_TEXT_BYTES = 1_000_000
"""Of scenario.toml and of the orbit message."""
MAX_STEPS, MAX_LOG_ROWS = 5_000, 50_000
MAX_ROWS = 5_000
"""Of any other table; blank rows do not count, but no table has more lines than `MAX_LINES`."""
MAX_LINES = 100_000
MAX_NAMES = 200
"""In one cell that holds a list."""
MAX_COLUMNS = 200
MAX_CELL_CHARS = 10_000
MAX_HORIZON_H = 240.0
EARLIEST_YEAR = 1957
LATEST_YEAR = 2199

_LONGEST_MIN = MAX_HORIZON_H * 60
_FAR_M = 100_000.0


def _minutes(name: str, about: str, *, least: float = 0, **more: Any) -> Field:
    return Field(name, "number", about, "min", least=least, most=_LONGEST_MIN, **more)


CREW = Table("crew", "a suited crew member", ("crew",), (
    Field("crew", "id", "EV1 or EV2", needed=True, choices=SUITED),
    Field("metres_per_min", "number", "speed along handrails", "m/min", needed=True, least=0,
          above_least=True, most=600),
    Field("exertion_factor", "number", "multiplies the watts of [exertion_w]", least=0, above_least=True,
          most=10),
    Field("carry_slots", "number", "carry slots this person has", "slots", least=0, most=1000),
    Field("tether_m", "number", "reach of the safety tether from its hook", "m", least=0, most=_FAR_M),
))

ACTORS = Table("actors", "someone else at work: no travel, suit or tether", ("actor",), (
    Field("actor", "id", "id, allowed in steps.crew", needed=True),
    Field("title", "text", "who or what this is"),
), may_be_absent=True)

PLACES = Table("places", "a worksite or waypoint", ("place",), (
    Field("place", "id", "id", needed=True),
    Field("title", "text", "name shown"),
    *(Field(f"{axis}_m", "number", f"station body frame, {axis}", "m", needed=True, least=-_FAR_M,
            most=_FAR_M) for axis in "xyz"),
    Field("crew_at_once", "count", "how many people may be here at once; empty: not known", least=0,
          most=100),
    Field("anchor", "yes_no", "takes a tether hook"),
    Field("socket", "yes_no", "takes a foothold"),
    Field("caution", "text", "warning to whoever comes here"),
))

ROUTES = Table("routes", "a two-way handrail route", ("from_place", "to_place"), (
    Field("from_place", "reference", "one end", needed=True, refers_to=("places",)),
    Field("to_place", "reference", "the other end", needed=True, refers_to=("places",)),
    Field("metres", "number", "length along the handrails", "m", needed=True, least=0, most=_FAR_M),
    _minutes("minutes", "overrides the time that metres give"),
    Field("tight", "yes_no", "bulky items do not pass easily; empty: not known", may_be_unknown=True),
    Field("snag", "yes_no", "tethers and cables can catch; empty: not known", may_be_unknown=True),
    Field("caution", "text", "warning on this route"),
))

HARDWARE = Table("hardware", "an item", ("item",), (
    Field("item", "id", "id", needed=True),
    Field("title", "text", "name shown"),
    Field("kind", "choice", "what it is", needed=True,
          choices=("tool", "bag", "spare", "cable", "foothold", "unit")),
    Field("at", "reference", "where it is at PET 0: a place, a crew member, a bag, or inside", needed=True,
          refers_to=("places", "crew", "hardware"), words=("inside",)),
    Field("end_at", "reference", "where it must be at the end; empty: anywhere", refers_to=("places",),
          words=("inside",)),
    Field("end2_at", "reference", "where a laid cable's other end must be at the end", refers_to=("places",),
          words=("inside",), may_be_absent=True),
    Field("slots", "number", "carry slots it takes", "slots", least=0, most=1000),
    Field("holds", "number", "slots of items that fit inside (bags)", "slots", least=0, most=1000),
    Field("bulky", "yes_no", "a hazard on tight and snag routes; empty: not known", may_be_unknown=True),
    Field("mass_kg", "number", "mass", "kg", least=0, most=1e6),
))

TASKS = Table("tasks", "an objective", ("task",), (
    Field("task", "id", "id", needed=True),
    Field("title", "text", "name shown"),
    Field("need", "choice", "how much it is needed", needed=True,
          choices=("required", "optional", "get-ahead")),
    Field("priority", "count", "1 is the highest", least=1, most=10_000),
    Field("swappable", "yes_no", "EV1 and EV2 may trade its steps"),
    Field("objective", "text", "what is achieved"),
    _minutes("last_start_min", "PET after which it is not begun", may_be_absent=True),
    Field("cut_order", "count", "1 is dropped first", least=1, most=10_000, may_be_absent=True),
))

STEPS = Table("steps", "what one or both do at one place; the row order is each one's order of work",
              ("step",), (
    Field("step", "id", "id", needed=True),
    Field("task", "reference", "the objective it belongs to", needed=True, refers_to=("tasks",)),
    Field("crew", "reference", "EV1, EV2, both, or an actor", needed=True, refers_to=("crew", "actors"),
          words=("both",)),
    Field("place", "reference", "where; may be empty in an actor's step", refers_to=("places",)),
    Field("title", "text", "what is done"),
    _minutes("minutes_low", "shortest duration; empty: as likely"),
    _minutes("minutes_likely", "likely duration", needed=True),
    _minutes("minutes_high", "longest duration; empty: as likely"),
    Field("after", "references", "steps that must finish first", refers_to=("steps",)),
    Field("light", "choice", "the whole step lies in such a window", choices=("any", "night", "day"),
          default="any"),
    Field("same_window", "name", "steps that share a value lie inside one and the same window"),
    Field("windows", "references", "named windows that the step must fit in", refers_to=("windows",),
          may_be_absent=True),
    Field("exertion", "choice", "the row of [exertion_w]", choices=("rest", "light", "moderate", "heavy")),
    Field("foothold", "reference", "the foothold that must be in this place's socket",
          refers_to=("hardware",)),
    Field("takes", "moves", "items picked up at the start"),
    Field("leaves", "moves", "items put down at the finish"),
    Field("uses", "references", "items that must be in hand or here", refers_to=("hardware",)),
    Field("hooks", "references", "whose safety tethers move to this anchor at the finish",
          refers_to=("crew",)),
    Field("link", "choice", "yes: coverage is checked; wait: the step waits for it",
          choices=("no", "yes", "wait"), default="no"),
    _minutes("travel_extra_min", "added to the travel into the step", default=0.0, may_be_absent=True),
    Field("wait_at", "reference", "wait there instead of at the place", refers_to=("places",),
          may_be_absent=True),
    _minutes("safe_orderly_min", "minutes of work before leaving in an orderly return", may_be_absent=True),
    _minutes("safe_now_min", "minutes of work before leaving at once", may_be_absent=True),
    Field("make_safe", "text", "what must be done before leaving", may_be_absent=True),
    Field("caution", "text", "warning shown with the step"),
))

GAPS = Table("gaps", "a least or greatest time between two steps", ("first_step", "then_step"), (
    Field("first_step", "reference", "the earlier step", needed=True, refers_to=("steps",)),
    Field("then_step", "reference", "the later step", needed=True, refers_to=("steps",)),
    _minutes("min_gap", "least time between; empty: 0; may be negative", least=-_LONGEST_MIN, default=0.0),
    _minutes("max_gap", "greatest time between; empty: no limit", least=-_LONGEST_MIN),
    Field("first_at", "choice", "which end of the first step counts", choices=("start", "finish"),
          default="finish", may_be_absent=True),
    Field("then_at", "choice", "which end of the later step counts", choices=("start", "finish"),
          default="start", may_be_absent=True),
    Field("reason", "text", "why"),
), is_unique=False)

INHIBITS = Table("inhibits", "a hazard control someone else must hold", ("inhibit",), (
    Field("inhibit", "id", "id", needed=True),
    Field("title", "text", "what is inhibited"),
    Field("owner", "text", "who holds it"),
    Field("from_step", "reference", "in force from the start of this step less lead_min", needed=True,
          refers_to=("steps",)),
    Field("until_step", "reference", "in force to the finish of this step", needed=True,
          refers_to=("steps",)),
    _minutes("lead_min", "how long before from_step it must stand", default=0.0),
    Field("needed_by", "references", "steps that must lie inside", refers_to=("steps",), may_be_absent=True),
    _minutes("hold_max_min", "longest time it may be held", may_be_absent=True),
    Field("window", "reference", "night, day or the name of a window that it must fit in",
          refers_to=("windows",), words=WINDOW_WORDS, may_be_absent=True),
    Field("reason", "text", "why"),
))

WINDOWS = Table("windows", "a period from others", ("window", "start"), (
    Field("window", "name", "name; several rows may share it", needed=True),
    Field("start", "datetime", "begin", "UTC", needed=True),
    Field("end", "datetime", "end", "UTC", needed=True),
    Field("source", "text", "who says so"),
), may_be_absent=True)

TABLES: tuple[Table, ...] = (CREW, ACTORS, PLACES, ROUTES, HARDWARE, TASKS, STEPS, GAPS, INHIBITS, WINDOWS)
TABLE_BY_NAME: dict[str, Table] = {table.name: table for table in TABLES}

_TOP = Section("", "the outing", (
    Field("format", "count", "number of this format", needed=True, least=FORMAT, most=FORMAT),
    Field("title", "text", "name of the outing", needed=True),
    Field("station", "text", "name of the station", needed=True),
    Field("summary", "text", "what the outing is for"),
    Field("egress", "datetime", "start of phase elapsed time, PET 0:00", "UTC", needed=True),
    Field("egress_earliest", "datetime", "earliest egress to consider", "UTC"),
    Field("egress_latest", "datetime", "latest egress to consider", "UTC"),
    Field("pet_zero", "text", "in words, the event that PET 0:00 is"),
    Field("horizon_h", "number", "how far windows are computed", "h", needed=True, least=0, above_least=True,
          most=MAX_HORIZON_H),
    Field("airlock", "reference", "the place where the outing begins and ends", needed=True,
          refers_to=("places",)),
    Field("orbit", "file", "a CCSDS OMM 502.0-B message: JSON, XML, KVN or CSV", needed=True),
))

_LIMITS = Section("limits", "limits of the outing; each may carry its source in a sibling key NAME_source", (
    _minutes("planned_min", "planned length of the outing", needed=True, above_least=True),
    _minutes("hard_min", "longest length of the outing", needed=True, above_least=True),
    _minutes("ingress_min", "from the airlock to the end of the outing", needed=True),
    _minutes("return_reserve_min", "least allowed return margin"),
    _minutes("emergency_oxygen_min", "how long the emergency oxygen lasts"),
    Field("partner_carry_factor", "number", "how much slower one moves with a disabled partner", least=1,
          most=100),
    _minutes("hook_move_min", "time to move a tether hook"),
), has_sources=True)

_LIGHTING = Section("lighting", "how light windows are used", (
    Field("night_guard_s", "number", "kept free at each end of a window", "s", least=0, most=3600,
          default=0.0),
))

_EXERTION = Section("exertion_w", "metabolic rates", tuple(
    Field(name, "number", about, "W", least=0, most=5000) for name, about in (
        ("rest", "at rest"), ("light", "light work"), ("moderate", "moderate work"), ("heavy", "heavy work"),
        ("wait", "waiting; absent: as rest"), ("travel", "travelling; absent: as moderate"))))

_SUIT = Section("suit", "what each suit holds; [suit.EV1] and [suit.EV2] override single keys", (
    Field("oxygen_g", "number", "usable oxygen", "g", least=0, most=1e5),
    Field("co2_g", "number", "usable carbon dioxide removal", "g", least=0, most=1e5),
    Field("energy_wh", "number", "usable battery energy", "W h", least=0, most=1e5),
    Field("water_g", "number", "usable cooling water", "g", least=0, most=1e5),
    Field("power_w", "number", "electric power drawn", "W", least=0, most=1e4),
    Field("respiratory_quotient", "number", "CO2 out over O2 in, by volume", least=0.7, most=1.0),
    Field("equipment_heat_w", "number", "heat of equipment that the cooling carries off", "W", least=0,
          most=1e4),
    *(Field(f"{store}_reserve_fraction", "number", "kept in reserve", least=0, most=1)
      for store in ("oxygen", "co2", "energy", "water")),
    _minutes("used_before_egress_min", "suit use before PET 0, at rest"),
), sub_sections=SUITED)

_RELAYS = Section("relays", "geostationary relays", (
    Field("longitudes_deg_east", "numbers", "where each relay stands", "deg", needed=True, least=-180,
          most=360),
    Field("mask_deg", "number", "elevation kept free above the Earth's limb", "deg", least=0, most=90,
          default=0.0),
))

_ODDS = Section("odds", "how durations vary together", (
    # At most 1: a percentage typed as a whole number would give odds of another world.
    Field("common_sd", "number", "log-scale standard deviation of the whole outing, 0.06 for 6 %", least=0,
          most=1),
    Field("crew_sd", "number", "log-scale standard deviation of each crew member, 0.05 for 5 %", least=0,
          most=1),
    Field("travel_sd", "number", "log-scale standard deviation of travel, 0.1 for 10 %", least=0, most=1),
    Field("distribution", "name", "name of the distribution of durations"),
))

SECTIONS: tuple[Section, ...] = (_TOP, _LIMITS, _LIGHTING, _EXERTION, _SUIT, _RELAYS, _ODDS)
SECTION_BY_NAME: dict[str, Section] = {section.name: section for section in SECTIONS}
NEEDED_SECTIONS = ("limits",)


def most_rows(table: str) -> int:
    """How many rows a table of this name may have."""
    return {"steps": MAX_STEPS, "log": MAX_LOG_ROWS}.get(table, MAX_ROWS)


def most_bytes(file: str) -> int:
    """How many bytes a file of this name may have: tables and reviews grow, settings and messages do not."""
    grows = file == SIGN_OFFS_FILE or any(file == table.file for table in TABLES)
    return MAX_FILE_BYTES if grows else MAX_TEXT_BYTES
