"""Mean elements: a tolerant reader for CCSDS OMM 502.0-B as JSON, XML, KVN and CSV, and for two-line sets.

Each form becomes a flat list of entries, and from these come the elements. JSON and XML nest their entries in
blocks; the blocks carry nothing that SGP4 needs, so they are taken apart. Only elements that belong to SGP4
are read: those of other theories have the same names and mean something else. What the standard lets a
message leave out may be left out.
"""

import csv
import io
import json
import math
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import defusedxml.ElementTree as SafeTree
from defusedxml.common import DefusedXmlException
from sgp4.api import Satrec
from sgp4.earth_gravity import wgs72
from sgp4.exporter import export_omm
from sgp4.io import compute_checksum, twoline2rv

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import NUMBER_PATTERN, CellFault
from planning_kit.inputs.faults import Faults


class Entry(NamedTuple):
    """One keyword of a message, its value as text, and its unit where the message gives one."""

    key: str
    text: str
    unit: str = ""


_NOT_ELEMENTS = ("COMMENT", "USER_DEFINED")
_TLE_LINE = re.compile(r"[12] [0-9A-Z ][0-9 ]{4}")
_KVN_LINE = re.compile(r"([A-Za-z][A-Za-z0-9_]*)\s*=\s*(.*)")


def entries_of(text: str) -> list[Entry]:
    """The entries of a message, its form told by its first characters; raises `CellFault`."""
    start = text.lstrip()[:1]
    if start not in ("{", "[", "<") and any(_TLE_LINE.match(line) for line in text.splitlines()):
        entries = _tle_entries(text)
    elif start in ("{", "["):
        entries = _json_entries(text)
    elif start == "<":
        entries = _xml_entries(text)
    elif any(_KVN_LINE.match(line.strip()) for line in text.splitlines()):
        entries = kvn_entries(text)
    else:
        entries = _csv_entries(text)
    # These may stand often and say different things; of an element that is a fault.
    return [entry for entry in entries if not entry.key.startswith(_NOT_ELEMENTS)]


def many(count: int, names: Iterable[str]) -> CellFault:
    """The fault of a file that holds another number of objects than one; ``names`` of them."""
    told = f" ({told[:400]})" if (told := ", ".join(dict.fromkeys(names))) else ""
    return CellFault(f"holds {count} objects{told}; keep the one whose orbit is meant")


def _json_entries(text: str) -> list[Entry]:
    entries: list[Entry] = []

    def noted(pairs: list[tuple[str, object]]) -> list[tuple[str, object]]:
        """Of each object, whatever it stands in; lists of anything else hold no element."""
        entries.extend(Entry(key.strip().upper(), str(value).strip()) for key, value in pairs
                       if value is not None and not isinstance(value, list))
        return pairs

    try:
        # Pairs, not dicts, so that a name that stands twice is seen; numbers as they are written.
        data = json.loads(text, parse_float=str, parse_int=str, object_pairs_hook=noted)
    except RecursionError:
        raise CellFault("is nested too deeply") from None
    except ValueError as error:
        raise CellFault(f"starts like JSON but is not: {error}") from None
    is_object = bool(data) and isinstance(data[0], tuple)
    if not is_object and len(data) != 1:
        raise many(len(data), (each.text for each in entries if each.key == "OBJECT_NAME"))
    if not is_object and not isinstance(data[0], list):
        raise CellFault("must hold one JSON object")
    return entries


def _xml_entries(text: str) -> list[Entry]:
    try:
        root = SafeTree.fromstring(text, forbid_dtd=True)
    except DefusedXmlException:
        raise CellFault("declares a document type or entities; delete them") from None
    except (SyntaxError, ValueError, LookupError) as error:  # ParseError is a SyntaxError
        raise CellFault(f"starts like XML but is not: {error}") from None
    tags = [_local(each.tag) for each in root.iter()]
    entries = [Entry(_local(each.tag), (each.text or "").strip(), each.get("units", "").strip())
               for each in root.iter() if len(each) == 0]
    if "OEM" in tags:
        raise CellFault("is an ephemeris as XML; these are read as KVN (KEYWORD = value): have it made so")
    if tags.count("OMM") > 1:
        raise many(tags.count("OMM"), (each.text for each in entries if each.key == "OBJECT_NAME"))
    return entries


def _local(tag: object) -> str:
    """A tag without its namespace."""
    return str(tag).rpartition("}")[2].upper()


def kvn_entries(text: str, first_line: int = 1) -> list[Entry]:
    """The entries of lines ``KEYWORD = value [unit]``. Raises `CellFault`."""
    entries = []
    for number, line in enumerate(text.splitlines(), start=first_line):
        line = line.strip()
        if not line or line.upper().startswith("COMMENT"):
            continue
        match = _KVN_LINE.fullmatch(line)
        if not match:
            raise CellFault(f"line {number} is not KEYWORD = value")
        key, value = match[1].upper(), match[2].strip()
        text, mark, unit = value.removesuffix("]").rpartition("[")
        has_unit = bool(mark) and value.endswith("]") and "]" not in unit
        entries.append(Entry(key, text.rstrip(), unit.strip()) if has_unit else Entry(key, value))
    return entries


def _csv_entries(text: str) -> list[Entry]:
    try:
        rows = [row for row in csv.reader(io.StringIO(text, newline=""), strict=True) if any(row)]
    except csv.Error as error:
        raise CellFault(f"is none of JSON, XML, KVN and CSV ({error})") from None
    if not rows or not {"EPOCH", "ECCENTRICITY"} & {cell.strip().upper() for cell in rows[0]}:
        raise CellFault("is not an orbit message: none of JSON, XML, KVN and CSV of CCSDS 502.0-B, "
                        "and no two-line elements")
    if len(rows) != 2:
        raise many(len(rows) - 1, (row[0] for row in rows[1:]))
    if len(rows[0]) != len(rows[1]):
        raise CellFault(f"has {len(rows[1])} values under {len(rows[0])} names")
    return [Entry(key.strip().upper(), value.strip()) for key, value in zip(*rows, strict=True)]


def _tle_entries(text: str) -> list[Entry]:
    """Two lines of elements, with or without the object's name in a line before them."""
    lines = [(row, line.rstrip()) for row, line in enumerate(text.splitlines(), 1) if line.strip()]
    order = "".join(line[0] if _TLE_LINE.match(line) else "n" for _, line in lines)
    if order.count("1") > 1:
        raise many(order.count("1"), (line[2:7] for _, line in lines if line[:2] == "1 "))
    if order.removeprefix("n") != "12":
        raise CellFault("ends no set of two-line elements: a name, if any, line 1 and line 2, each once; "
                        "copy all of it again", lines[-1][0], value=lines[-1][1])
    for row, line in lines[-2:]:
        if len(line) != 69 or line[68] != str(compute_checksum(line)):
            raise CellFault("must have 69 characters, the last one the checksum of the others; copy all "
                            "of the set again", row, value=line)
    one, two = lines[-2][1], lines[-1][1]
    try:
        twoline2rv(one, two, wgs72)  # strict, which the fast reader is not
        satrec = Satrec.twoline2rv(one, two)
        designator, satrec.intldesg = satrec.intldesg, satrec.intldesg or "00"
        said = export_omm(satrec, lines[0][1].removeprefix("0 ").strip() if len(lines) == 3 else "")
        year = int(one[18:20]) + (1900 if int(one[18:20]) >= 57 else 2000)
        epoch = datetime(year, 1, 1) + timedelta(days=float(one[20:32]) - 1)  # theirs may miss a microsecond
    except (ValueError, ArithmeticError, LookupError) as error:
        raise CellFault(f"and the line before are no two-line elements: {' '.join(str(error).split())[:200]}"
                        "; copy all of it again", lines[-1][0], value=two) from None
    said |= {"EPOCH": epoch.isoformat(), "OBJECT_ID": designator and said["OBJECT_ID"]}
    # Their numbers were radians in between: with as many digits as a line has.
    return [Entry(key, f"{value:.12g}" if isinstance(value, float) else str(value).strip())
            for key, value in said.items()]


# WGS 72, the constants of SGP4 (Hoots and Roehrich, Spacetrack Report No. 3, 1980; values from memory).
EARTH_RADIUS_KM = 6378.135
EARTH_GM_KM3_S2 = 398600.8
DAY_S = 86400.0

_EPOCH = re.compile(
    r"(?P<year>\d{4})-(?:(?P<month>\d{2})-(?P<day>\d{2})|(?P<day_of_year>\d{3}))[T ]"
    r"(?P<hour>\d{2}):(?P<minute>\d{2})(?::(?P<second>\d{2}(?:\.\d*)?))?(?:Z|[+-]00:00)?", re.ASCII)
_ANGLE_UNITS = ("deg", "degree", "degrees")
_UNITS = {
    "MEAN_MOTION": ("rev/day", "rev/d"), "SEMI_MAJOR_AXIS": ("km",), "INCLINATION": _ANGLE_UNITS,
    "RA_OF_ASC_NODE": _ANGLE_UNITS, "ARG_OF_PERICENTER": _ANGLE_UNITS, "MEAN_ANOMALY": _ANGLE_UNITS,
}
_MUST_BE = {
    "MEAN_ELEMENT_THEORY": (("SGP4", "SGP/SGP4"), "only SGP4 mean elements are read"),
    "EPHEMERIS_TYPE": (("0", "2"),
                       "only SGP4 elements (type 0 or 2) are read; type 4, SGP4-XP, is another theory"),
    "REF_FRAME": (("TEME", "TEMEOFDATE"), "SGP4 elements are in TEME"),
    "TIME_SYSTEM": (("UTC",), "SGP4 elements are given in UTC"),
    "CENTER_NAME": (("EARTH",), "SGP4 is for orbits of the Earth"),
}


@dataclass(frozen=True)
class Elements:
    """SGP4 mean elements of one object, as an OMM gives them (TEME, UTC).

    Units: rev/day and its derivatives (``mean_motion_dot`` is the half first derivative in rev/day²,
    ``mean_motion_ddot`` a sixth of the second in rev/day³, as the message carries them), degrees,
    ``bstar`` in 1/Earth radii.
    """

    object_name: str
    object_id: str
    epoch: datetime
    mean_motion_rev_per_day: float
    eccentricity: float
    inclination_deg: float
    raan_deg: float
    arg_perigee_deg: float
    mean_anomaly_deg: float
    bstar: float
    mean_motion_dot: float
    mean_motion_ddot: float
    norad_cat_id: int

    @property
    def semi_major_axis_km(self) -> float:
        """Kepler's semi-major axis for the mean motion (km); differs from SGP4's own by a few km."""
        rate = math.tau / (DAY_S / 60 / self.mean_motion_rev_per_day * 60)
        return float((EARTH_GM_KM3_S2 / rate**2) ** (1 / 3))


class Message:
    """Takes the entries of one message apart and notes what is wrong with each."""

    def __init__(self, entries: Iterable[Entry], where: str, faults: Faults) -> None:
        """Note the keywords that stand twice; ``where`` is the table of all faults."""
        self.where, self.faults = where, faults
        self.entries: dict[str, Entry] = {}
        for entry in entries:
            if self.entries.setdefault(entry.key, entry) != entry:
                self.fault(entry.key, entry.text, "stands twice with different values; keep one")

    def fault(self, key: str, value: object, problem: str) -> None:
        """Note what is wrong with a keyword."""
        self.faults.add(self.where, None, key, value, problem)

    def text(self, key: str) -> str:
        """The value of a keyword, "" where there is none."""
        return self.entries[key].text if key in self.entries else ""

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A finite number in [low, high]; NaN, with a fault noted, when it is not."""
        text = self.text(key)
        if text == "" and default is not None:
            return default
        value = float(text) if re.fullmatch(NUMBER_PATTERN, text) else math.nan
        unit = self.entries[key].unit.lower() if text else ""
        if text == "":
            problem = "is missing; the orbit needs it"
        elif not math.isfinite(value):
            problem = "must be a finite number"
        elif not low <= value <= high:
            problem = f"must lie between {low:g} and {high:g}"
        elif unit and unit not in _UNITS.get(key, (unit,)):
            problem = f"is given in {unit}; it must be in {_UNITS[key][0]}"
        else:
            return value
        self.fault(key, text, problem)
        return math.nan

    def elements(self) -> Elements | None:
        """The elements, or None where a fault is noted."""
        before = len(self.faults.rows)
        self.check_words(_MUST_BE)
        epoch = self.epoch("EPOCH")
        values = Elements(
            object_name=self.name("OBJECT_NAME"), object_id=self.name("OBJECT_ID"), epoch=epoch,
            mean_motion_rev_per_day=self.mean_motion(),
            eccentricity=self._eccentricity(),
            inclination_deg=self.number("INCLINATION", 0, 180),
            raan_deg=self.number("RA_OF_ASC_NODE", -360, 360),
            arg_perigee_deg=self.number("ARG_OF_PERICENTER", -360, 360),
            mean_anomaly_deg=self.number("MEAN_ANOMALY", -360, 360),
            bstar=self.number("BSTAR", -1, 1, default=0.0),
            mean_motion_dot=self.number("MEAN_MOTION_DOT", -10, 10, default=0.0),
            mean_motion_ddot=self.number("MEAN_MOTION_DDOT", -10, 10, default=0.0),
            norad_cat_id=self.whole("NORAD_CAT_ID", 0, 999_999_999, default=0),
        )
        self._check_perigee(values)
        return values if len(self.faults.rows) == before else None

    def check_words(self, must_be: Mapping[str, tuple[tuple[str, ...], str]], *needed: str) -> None:
        """Note the keywords that say another word; those that are ``needed`` must say one."""
        for key, (allowed, why) in must_be.items():
            text = self.text(key).upper()
            if key == "EPHEMERIS_TYPE":
                text = text.removesuffix(".0")
            if text not in allowed and (text or key in needed):
                self.fault(key, self.text(key), f"must be {' or '.join(allowed)}: {why}")

    def name(self, key: str) -> str:
        """Text that can be shown in a line."""
        text = self.text(key)
        if len(text) > 200 or not text.isprintable():
            self.fault(key, text, "must be printable and at most 200 characters long")
        return text

    def epoch(self, key: str, text: str | None = None, row: int | None = None) -> datetime:
        """The time of a keyword, or ``text`` in its place; some time, and a fault noted, where it is none."""
        text, epoch = self.text(key) if text is None else text, datetime(2000, 1, 1, tzinfo=UTC)
        problem = "must be a UTC time such as 2031-05-14T03:12:45.5 or 2031-134T03:12:45.5"
        with suppress(ValueError):
            epoch = parse_epoch(text)
            problem = f"lies outside the years {fmt.EARLIEST_YEAR} to {fmt.LATEST_YEAR}"
            if fmt.EARLIEST_YEAR <= epoch.year <= fmt.LATEST_YEAR:
                return epoch
        self.faults.add(self.where, row, key, text, problem)
        return epoch

    def _eccentricity(self) -> float:
        value = self.number("ECCENTRICITY", 0, math.inf)
        if value >= 1:
            self.fault("ECCENTRICITY", self.text("ECCENTRICITY"),
                       "is not that of a bound orbit; it must be below 1")
        return value

    def mean_motion(self) -> float:
        """Mean motion in rev/day, by Kepler's third law where the message gives the semi-major axis instead.

        n = sqrt(GM/a³). Neglected: SGP4's mean motion is Kozai's, which differs from this by the order of J2.
        """
        axis_only = self.text("SEMI_MAJOR_AXIS") and not self.text("MEAN_MOTION")
        key = "SEMI_MAJOR_AXIS" if axis_only else "MEAN_MOTION"
        # Any number at first, so that 0 and less are told as what they are: no bound orbit.
        value = self.number(key, -math.inf, math.inf)
        if value <= 0:
            self.fault(key, self.text(key), "is not that of a bound orbit; it must be more than 0")
            return math.nan
        low, high = (1e-3, 1e3) if key == "MEAN_MOTION" else (1.0, 1e7)
        if not low <= value <= high and not math.isnan(value):
            self.fault(key, self.text(key), f"must lie between {low:g} and {high:g}")
            return math.nan
        if key == "MEAN_MOTION" or math.isnan(value):
            return value
        gm = self.number("GM", 398_000, 399_000, default=EARTH_GM_KM3_S2)
        return math.sqrt(gm / value) / value * DAY_S / math.tau

    def whole(self, key: str, low: int, high: int, default: int) -> int:
        """As `number`, a whole one."""
        value = self.number(key, low, high, default)
        if value % 1 > 0:
            self.fault(key, self.text(key), "must be a whole number")
        return default if math.isnan(value) else int(value)

    def _check_perigee(self, values: Elements) -> None:
        """Perigee radius a(1 − e), a by Kepler's third law (two-body), against the equatorial radius."""
        if not 0 < values.mean_motion_rev_per_day < math.inf or not 0 <= values.eccentricity < 1:
            return
        axis_km = values.semi_major_axis_km
        perigee_km = axis_km * (1 - values.eccentricity) - EARTH_RADIUS_KM
        is_far = not math.isfinite(axis_km) or axis_km > 1e6
        if is_far or perigee_km <= 0:
            self.fault("MEAN_MOTION", f"{values.mean_motion_rev_per_day:g}",
                       "puts the orbit beyond the Moon's" if is_far else
                       f"puts the perigee {-perigee_km:.0f} km under the ground (with this eccentricity)")


def parse_epoch(text: str) -> datetime:
    """A UTC time in calendar or day-of-year form (CCSDS 301.0-B, ASCII codes A and B), to the microsecond.

    A leap second is read as the first second of the next minute. Raises `ValueError`.
    """
    match = _EPOCH.fullmatch(text)
    if match is None:
        raise ValueError(text)
    second = float(match["second"] or 0)
    if second >= 61:
        raise ValueError(text)
    year, day_of_year = int(match["year"]), match["day_of_year"]
    if day_of_year:
        moment = datetime(year, 1, 1, tzinfo=UTC) + timedelta(days=int(day_of_year) - 1)
        # Day 0, and day 366 of a common year, fall into another year.
        if moment.year != year:
            raise ValueError(text)
    else:
        moment = datetime(year, int(match["month"]), int(match["day"]), tzinfo=UTC)
    try:
        return moment.replace(hour=int(match["hour"]),
                              minute=int(match["minute"])) + timedelta(seconds=second)
    except OverflowError:
        raise ValueError(text) from None
