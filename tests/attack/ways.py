"""Ways to damage the files of a scenario, drawn from a seeded generator."""

from __future__ import annotations

import csv
import io
import random

from planning_kit.inputs.raw import csv_row
from tests.inputs.small_folder import as_csv
from tests.inputs.test_omm import FORMS, VALUES

HOSTILE = [
    "", " ", "nan", "inf", "-inf", "1e999", "-0", "9" * 400, "0x10", "1_000", "1,5", "NaN", "None",
    "true", "yes", "no", "both", "inside", "EV1", "EV2", "EV3", "night", "any", "s1", "s2 s2", "gun", "bag1",
    "mid", "EV1:gun", "gun<bag1", "gun>EV2", "a<b>c", ":", "<", ">", "EV1:", "\0", "\r", "\n", '"', "'",
    ",", ";", "\t", "\x1b[31m", "\ufeff", "\u2028", "\u202e", "٣", "é", "🛰",
    "<script>alert(1)</script>",
    "=cmd|' /C calc'!A0", "../../etc/passwd", "%s%n{0}", "x" * 10_001, "-1", "1e-320", "2031-05-14",
    "2031-05-14T25:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00",
]
TOML_LINES = [
    "format = 2", "format = 1", "x = ", "[limits]", "[[suit]]", "suit = 3", "limits = []",
    "pet_zero_utc = 1979-05-27",
    "pet_zero_utc = 07:32:00", "pet_zero_utc = 0001-01-01T00:00:00+05:00", "horizon_h = nan",
    "horizon_h = -inf",
    "horizon_h = 1e400", "horizon_h = true", "horizon_h = 0x" + "F" * 400, "orbit = 'steps.csv'",
    "orbit = '../x'", "orbit = ''", "orbit = 3", "airlock = []", "a.b.c = 1",
    "x_ok.deep = [{a = 1}, {b = [[[]]]}]", "title = '''\n'''",
    'title = "\\u0000"', '"" = 1', "'x_ ' = {}", "[suit.EV1.more]", "= 1", "\ufeff", "\0",
    "least_days_between = 1e308", "reserve_min = -1", "[outings]", "[outings.one]", "outings = 3",
    "crew = [[]]", "crew = [['Ada'], 3]", "earliest = 9999-12-31", "latest = 0001-01-01", "folder = '../one'",
    "folder = '/etc'", "folder = 'two'", "work_after = 'no'", "[outings.'a b']",
    "[outings.three]\nfolder = 3",
    "[relays]\nlongitudes_deg_east = [[1]]", "[limits]\nhard_min_source = 3",
]


def flip_bytes(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 8))):
        if out:
            out[rng.randrange(len(out))] = rng.randrange(256)
    return bytes(out)


def cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def splice(data: bytes, rng: random.Random) -> bytes:
    start, end = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    at = rng.randrange(len(data) + 1)
    return data[:at] + data[start:end] + data[at:] if rng.random() < 0.5 else data[:start] + data[end:]


def reencode(data: bytes, rng: random.Random) -> bytes:
    text = data.decode()
    return text.encode(rng.choice(("utf-16", "utf-32", "latin-1", "cp037", "utf-8-sig", "utf-7")), "replace")


def hostile_text(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.choice(HOSTILE).encode() + data[at:]


def bytes_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    return rng.choice((flip_bytes, flip_bytes, cut, splice, reencode, hostile_text))(data, rng)


def table_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    if not name.endswith(".csv"):
        return toml_damage(name, data, rng) if name.endswith(".toml") else orbit_damage(name, data, rng)
    rows = list(csv.reader(io.StringIO(data.decode(), newline="")))
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        row, column = rng.randrange(len(rows)), rng.randrange(len(rows[0]))
        kind = rng.randrange(8)
        if kind == 0:
            rows.insert(row, list(rows[row]))
        elif kind == 1 and len(rows) > 1:
            del rows[row]
        elif kind == 2:
            for each in rows:
                each.insert(column, each[column] if column < len(each) else "")
        elif kind == 3 and len(rows[0]) > 1:
            for each in rows:
                del each[column:column + 1]
        elif kind == 4:
            other = rng.choice(rows)
            at = rng.randrange(len(other) or 1)
            if column < len(rows[row]) and at < len(other):
                rows[row][column], other[at] = other[at], rows[row][column]
        elif kind == 5:
            rng.shuffle(rows[row])
        elif column < len(rows[row]):
            rows[row][column] = rng.choice(HOSTILE)
    return as_csv(rows).encode()


def toml_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    lines = data.decode().splitlines()
    at = rng.randrange(len(lines))
    kind = rng.randrange(5)
    if kind == 0:
        del lines[at]
    elif kind == 1:
        lines.insert(at, rng.choice(TOML_LINES))
    elif kind == 2:
        lines[at] = rng.choice(TOML_LINES)
    elif kind == 3:
        other = rng.randrange(len(lines))
        lines[at], lines[other] = lines[other], lines[at]
    else:
        value = rng.choice((*HOSTILE, '"x"', "[]", "{}", "[1, 'a']", "-5"))
        lines[at] = lines[at].partition("=")[0] + "= " + value
    return "\n".join(lines).encode()


def orbit_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    values = dict(VALUES)
    key = rng.choice(list(values))
    if rng.random() < 0.3:
        del values[key]
    else:
        values[key] = rng.choice((*HOSTILE, "0.99999999", "1e-308", "17.5", "SGP4-XP", "4",
                                  "2031-366T00:00:00"))
    try:
        text = rng.choice(FORMS)(values)
    except ValueError:  # the JSON form needs numbers
        text = FORMS[0](values)
    return text.encode() if rng.random() < 0.5 else bytes_damage(name, text.encode(), rng)


def mild_damage(name: str, data: bytes, rng: random.Random) -> bytes:
    """Cells of a table that stay plausible: of another row, of another table of ids, or another number."""
    if not name.endswith(".csv"):
        return _other_number(data, rng)
    rows = list(csv.reader(io.StringIO(data.decode(), newline="")))
    for _ in range(rng.choice((1, 1, 2, 4)) if len(rows) > 1 else 0):
        row, column = rng.randrange(1, len(rows)), rng.randrange(len(rows[0]))
        other = rng.randrange(1, len(rows))
        kind = rng.randrange(6)
        if kind == 0:
            rows[row], rows[other] = rows[other], rows[row]
        elif kind == 1:
            rows[row][column], rows[other][column] = rows[other][column], rows[row][column]
        elif kind == 2:
            rows[row][column] = ""
        elif kind == 3 and len(rows) > 2:
            del rows[row]
        elif rows[row][column].replace(".", "", 1).isdigit():
            rows[row][column] = rng.choice(("0", "0.1", "7", "33.3", "240", "1e4", "1e-9", "-5"))
        else:
            rows[row][column] = rows[other][column]
    return "".join(csv_row(row) + "\n" for row in rows).encode()


def _other_number(data: bytes, rng: random.Random) -> bytes:
    lines = data.decode().splitlines()
    numbered = [at for at, line in enumerate(lines) if "= " in line and line.rstrip()[-1:].isdigit()]
    if numbered:
        at = rng.choice(numbered)
        lines[at] = lines[at].partition("=")[0] + "= " + rng.choice(("0", "1", "0.01", "60", "900", "-1"))
    return "\n".join(lines).encode()
