"""Format 2 of a scenario folder: its tables, the sections of ``scenario.toml``, and how large things may be.

What a column may hold stands at its field in `planning_kit.inputs.records`. Reading, faults, the JSON Schema,
the reference table and typed table editors follow from both. Columns marked ``may_be_absent`` need not stand
in the header. Names that begin with ``x_`` are free: kept and ignored.
"""

from dataclasses import replace
from typing import Any

from planning_kit.inputs import procedure_records as procedure
from planning_kit.inputs import records as rec
from planning_kit.inputs import setting_records
from planning_kit.inputs.fields import SUITED as SUITED
from planning_kit.inputs.fields import WINDOW_WORDS as WINDOW_WORDS
from planning_kit.inputs.fields import Field, Section, Table, columns_of

FORMAT = 2
SCENARIO_FILE, WORKBOOK, MODEL = "scenario.toml", ".xlsx", ".glb"
SIGN_OFFS_FILE, ACCEPTED_FILE = "sign_offs.toml", "accepted.csv"
CAMPAIGN_FILE, ABOVE = "campaign.toml", "../"  # a file of the folder above is called with these dots
FREE_PREFIX = "x_"
SOURCE_SUFFIX = "_source"
PLACEHOLDER = "placeholder"  # what a cell, or the source of a limit, begins with that nobody has typed yet

CAUTION = ("A planning aid, not a certified tool. The flight rules and licensed, responsible people decide. "
           "Limits are the scenario's own.")

PARTNER = {"EV1": "EV2", "EV2": "EV1"}
RESERVED_IDS = ("inside", "both")
SHARED_ID_TABLES = ("places", "hardware", "crew", "actors")

MAX_FILE_BYTES = 50_000_000
MAX_TEXT_BYTES = 1_000_000
"""Of scenario.toml and of the orbit message."""
MAX_STEPS, MAX_LOG_ROWS = 5_000, 50_000
MAX_ROWS = 5_000
"""Of any other table; blank rows do not count, but no table has more lines than `MAX_LINES`."""
MAX_LINES = 100_000
MAX_MODELS, MAX_MODEL_BYTES, MAX_TRIANGLES = 10, 2_000_000, 20_000
"""Of the .glb files of bodies: how many, bytes of each, and triangles drawn of all rows: a page holds them,
and a machine without a graphics card draws them."""
MAX_NAMES = 200
"""In one cell that holds a list."""
MAX_COLUMNS = 200
MAX_CELL_CHARS = 10_000
EARLIEST_YEAR = 1957
LATEST_YEAR = 2199


def _table(record: type, name: str, about: str, *key: str, **more: Any) -> Table:
    return Table(name, about, key, columns_of(record), record=record, **more)


CREW = _table(rec.Crew, "crew", "a suited crew member", "crew")
ACTORS = _table(procedure.Actor, "actors", "someone else at work: no travel, suit or tether", "actor",
                may_be_absent=True)
PLACES = _table(rec.Place, "places", "a worksite or waypoint", "place")
ROUTES = _table(rec.Route, "routes", "a two-way handrail route", "from_place", "to_place")
HARDWARE = _table(rec.Item, "hardware", "an item", "item")
TASKS = _table(rec.Task, "tasks", "an objective", "task")
STEPS = _table(rec.Step, "steps",
               "what one or both do at one place; the row order is each one's order of work", "step")
GAPS = _table(rec.Gap, "gaps", "a least or greatest time between two steps", "first_step", "then_step",
              is_unique=False)
INHIBITS = _table(rec.Inhibit, "inhibits", "a hazard control someone else must hold", "inhibit")
WINDOWS = _table(rec.NamedWindow, "windows", "a period from others", "window", "start", may_be_absent=True)
HAZARDS = _table(rec.Hazard, "hazards", "what can hurt a crew member or damage hardware", "hazard",
                 may_be_absent=True)
ACTIONS = _table(procedure.Action, "actions", "a line of the procedure of a step", "step", "number",
                 may_be_absent=True)
STATES = _table(procedure.State, "states", "what steps need and set: a cover, a connector", "state",
                may_be_absent=True)
RESPONSES = _table(procedure.Response, "responses", "what is done when something goes wrong", "response",
                   may_be_absent=True)
BODIES = _table(rec.Body, "bodies", "a solid that the station is drawn of", "body", may_be_absent=True)
SHOTS = _table(rec.Shot, "shots", "a shot of the film, in its order", "shot", may_be_absent=True)

TABLES: tuple[Table, ...] = (CREW, ACTORS, PLACES, ROUTES, HARDWARE, TASKS, STEPS, GAPS, INHIBITS, WINDOWS,
                             HAZARDS, ACTIONS, STATES, RESPONSES, BODIES, SHOTS)
TABLE_BY_NAME: dict[str, Table] = {table.name: table for table in TABLES}
SHARED_TABLES = (ACTORS, PLACES, ROUTES, HARDWARE, WINDOWS, HAZARDS, STATES, RESPONSES, BODIES)
"""Tables of the station: what an outing's folder lacks of them, the folder of its campaign says."""

_USED_BEFORE = Section("used_before", "what is used before PET 0, by store; an amount wins over minutes",
                       columns_of(setting_records.UsedBefore))

SECTIONS: tuple[Section, ...] = (
    Section("", "the outing", (
        Field("format", "count", "number of this format", needed=True, least=FORMAT, most=FORMAT),
        *columns_of(setting_records.Settings))),
    Section("limits", "limits of the outing; each may carry its source in a sibling key NAME_source",
            columns_of(setting_records.Limits), has_sources=True),
    Section("airlock", "the airlock in time; each may carry its source in a sibling key NAME_source",
            columns_of(setting_records.Airlock), has_sources=True),
    Section("lighting", "how light windows are used", (
        Field("night_guard_s", "number", "kept free at each end of a window", "s", least=0, most=3600,
              default=0.0),)),
    Section("exertion_w", "metabolic rates", tuple(
        Field(name, "number", about, "W", least=0, most=5000) for name, about in (
            ("rest", "at rest"), ("light", "light work"), ("moderate", "moderate work"),
            ("heavy", "heavy work"), ("wait", "waiting; absent: as rest"),
            ("travel", "travelling; absent: as moderate"),
            ("carry", "bringing a disabled partner; absent: as travel")))),
    Section("suit", "what each suit holds at its start; [suit.EV1] and [suit.EV2] override single keys",
            columns_of(setting_records.Suit), sub_sections=(_USED_BEFORE, *(
                Section(crew, f"what the suit of {crew} holds otherwise", columns_of(setting_records.Suit),
                        sub_sections=(replace(_USED_BEFORE, is_override=True),), is_override=True)
                for crew in SUITED))),
    Section("checks", "looks at the suit, and voice; each may carry its source in a sibling key NAME_source",
            columns_of(setting_records.CrewChecks), has_sources=True),
    Section("relays", "geostationary relays", columns_of(setting_records.Relays)),
    Section("odds", "how durations vary together", columns_of(setting_records.OddsSettings)),
    Section("gives_way", "what gives way first where no plan keeps all rules",
            columns_of(setting_records.GivesWay)),
    Section("attitude", "how the station flies; absent: x ahead, y to the right, z to Earth",
            columns_of(setting_records.Attitude)),
    Section("display", "how the plan is told", (
        Field("units", "choice", "units in words; si and us: feet, pounds and Btu stand beside SI",
              choices=(setting_records.SI, "si and us"), default=setting_records.SI),)),
)
SECTION_BY_NAME: dict[str, Section] = {section.name: section for section in SECTIONS}
NEEDED_SECTIONS = ("limits", "airlock")


def most_rows(table: str) -> int:
    """How many rows a table of this name may have."""
    return {"steps": MAX_STEPS, "log": MAX_LOG_ROWS}.get(table, MAX_ROWS)


def most_bytes(file: str) -> int:
    """How many bytes a file of this name may have: tables and reviews grow, settings and messages do not."""
    grows = file.lower().endswith(WORKBOOK) or file in (
        SIGN_OFFS_FILE, ACCEPTED_FILE, *(table.file for table in TABLES))
    return MAX_FILE_BYTES if grows else MAX_MODEL_BYTES if file.lower().endswith(MODEL) else MAX_TEXT_BYTES
