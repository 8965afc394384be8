"""The orbit file of a scenario; and ephemerides: CCSDS OEM 502.0-B as KVN in UTC, the states of it."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planning_kit.inputs import omm
from planning_kit.inputs.cells import NUMBER_PATTERN, CellFault
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.folder_files import digest_of
from planning_kit.inputs.raw import decode


@dataclass(frozen=True)
class Segment:
    """States with no jump between them, to be used from ``start`` to ``stop`` (UTC).

    ``states``: little-endian doubles (k, 7), seconds after ``start``, km, km/s; some may stand before and
    behind what is used. ``nodes``: how many of them one polynomial takes.
    """

    frame: str
    is_hermite: bool
    nodes: int
    start: datetime
    stop: datetime
    digest: str
    states: bytes = field(repr=False)

    @property
    def table(self) -> NDArray[np.float64]:
        """The states, (k, 7)."""
        return np.frombuffer(self.states, dtype="<f8").reshape(-1, 7)


@dataclass(frozen=True)
class Ephemeris:
    """States of one object by time, as an OEM gives them.

    ``epoch`` (UTC): when it was made, or its last state where it was made after that; its age counts from it.
    """

    object_name: str
    object_id: str
    epoch: datetime
    segments: tuple[Segment, ...]


OrbitData = omm.Elements | Ephemeris


def orbit_from(data: bytes, where: str, faults: Faults) -> OrbitData | None:
    """The orbit in a file's bytes, or None with faults noted under the table ``where``."""
    try:
        text = "\n".join(decode(data).splitlines())
        if re.search(r"(?m)^[ \t]*CCSDS_OEM_VERS[ \t]*=", text):
            return _ephemeris(text, where, faults)
        return omm.Message(omm.entries_of(text), where, faults).elements()
    except CellFault as fault:
        faults.add(where, *fault.where, str(fault))
        return None


_WHY = "no other is read; have the ephemeris made so"
_MUST_BE = {
    "CENTER_NAME": (("EARTH",), _WHY), "TIME_SYSTEM": (("UTC",), _WHY),
    "REF_FRAME": (("EME2000", "J2000", "ICRF", "GCRF", "TEME", "ITRF", *(  # these differ by centimetres
        f"ITRF{year}" for year in ("93", "97", "-97", 2000, 2005, 2008, 2014, 2020))), _WHY),
    "INTERPOLATION": (("HERMITE", "LAGRANGE", "LINEAR"), _WHY)}
_FARTHEST_KM = 1e6


def _ephemeris(text: str, where: str, faults: Faults) -> Ephemeris | None:
    before = len(faults.rows)
    head, *parts = re.split(r"(?mi)^[ \t]*META_START[ \t]*$", text)
    row, blocks = head.count("\n") + 1, []
    for part in parts:
        keys, *data = re.split(r"(?mi)^[ \t]*(?:META_STOP|COVARIANCE_START)[ \t]*$", part)
        lines = enumerate((data or [""])[0].split("\n"), row + keys.count("\n"))
        blocks.append((omm.Message(omm.kvn_entries(keys, row), where, faults), [
            (at, line.split()) for at, line in lines
            if line.strip() and not line.lstrip().upper().startswith("COMMENT")]))
        row += part.count("\n")
    objects = dict.fromkeys((said.name("OBJECT_NAME"), said.name("OBJECT_ID")) for said, _ in blocks)
    if len(objects) != 1:
        raise omm.many(len(objects), map(" ".join, objects))
    made = omm.Message(omm.kvn_entries(head), where, faults).epoch("CREATION_DATE")
    found = [_segment(said, rows) for said, rows in blocks]
    segments = sorted((each for each in found if each is not None), key=lambda each: each.start)
    for sooner, later in pairwise(segments):
        if later.start < sooner.stop:
            faults.add(where, None, "USEABLE_START_TIME", later.start.isoformat(), "lies before "
                       f"{sooner.stop.isoformat()}, until when the segment before is used; part them")
    if len(faults.rows) > before:
        return None
    return Ephemeris(*next(iter(objects)), min(made, segments[-1].stop), tuple(segments))


def _segment(said: omm.Message, rows: Sequence[tuple[int, list[str]]]) -> Segment | None:
    before = len(said.faults.rows)
    said.check_words(_MUST_BE, "CENTER_NAME", "REF_FRAME", "TIME_SYSTEM")
    method = said.text("INTERPOLATION").upper()
    is_hermite = method in ("", "HERMITE")
    degree = said.whole("INTERPOLATION_DEGREE", 1, 27, default=1 if method == "LINEAR" else 7)
    # A polynomial of degree n takes n + 1 values; a state gives two of them where its velocity counts.
    nodes = degree // 2 + 1 if is_hermite else degree + 1
    times = [said.epoch(key if said.text(key) else key.removeprefix("USEABLE_"))
             for key in ("START_TIME", "USEABLE_START_TIME", "USEABLE_STOP_TIME", "STOP_TIME")]
    states = []
    for row, cells in rows:
        if len(cells) in (7, 10) and all(re.fullmatch(NUMBER_PATTERN, cell) for cell in cells[1:]):
            since = said.epoch("EPOCH", cells[0], row) - times[1]
            states.append([since.total_seconds(), *map(float, cells[1:7])])
        else:
            said.faults.add(said.where, row, "", " ".join(cells), "must be a time, three km and three km/s, "
                            "with blanks between them")
    if len(states) < nodes:
        said.fault("INTERPOLATION_DEGREE", degree, f"needs {nodes} states, not {len(states)}: give more")
    if len(said.faults.rows) > before:
        return None
    table = np.array(states, dtype="<f8")
    begin, first, last, end = ((each - times[1]).total_seconds() for each in times)
    if not begin <= first < last <= end or table[0, 0] > first or table[-1, 0] < last:
        said.fault("START_TIME", f"{times[1].isoformat()} to {times[2].isoformat()}", "is used: that must be "
                   f"within START_TIME to STOP_TIME and the states, {rows[0][1][0]} to {rows[-1][1][0]}")
    radius, squared = np.linalg.norm(table[:, 1:4], axis=1), (table[:, 4:] ** 2).sum(axis=1)
    for is_wrong, problem in (
            (np.diff(table[:, 0], prepend=-np.inf) <= 0, "is not later than the state before"),
            ((table[:, 0] < begin) | (table[:, 0] > end), "lies outside START_TIME to STOP_TIME"),
            (radius <= omm.EARTH_RADIUS_KM, "is under the ground; it must be km from Earth's centre"),
            (~(radius <= _FARTHEST_KM), "is beyond the Moon's orbit; it must be in km"),
            (~(squared * radius < 2 * omm.EARTH_GM_KM3_S2), "is no bound orbit; it must be in km and km/s")):
        for at in np.flatnonzero(is_wrong)[:1]:
            said.faults.add(said.where, rows[at][0], "", " ".join(rows[at][1]), problem)
    return None if len(said.faults.rows) > before else Segment(
        said.text("REF_FRAME").upper(), is_hermite, nodes, times[1], times[2],
        digest_of(table.tobytes()), table.tobytes())
