"""The four written forms of an orbit message (CCSDS 502.0-B): text to a flat list of entries.

JSON and XML nest their entries in blocks; the blocks carry nothing that SGP4 needs, so they are taken apart.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from typing import NamedTuple

import defusedxml.ElementTree as SafeTree
from defusedxml.common import DefusedXmlException


class Entry(NamedTuple):
    """One keyword of a message, its value as text, and its unit where the message gives one."""

    key: str
    text: str
    unit: str = ""


class MessageFault(ValueError):  # noqa: N818 - a fault of the user's, as in `Faults`
    """Why the text is no orbit message, and what to do."""


_NOT_ELEMENTS = ("COMMENT", "USER_DEFINED")
_MANY = "holds {} objects; keep the one whose orbit is meant"
_KVN_LINE = re.compile(r"([A-Za-z][A-Za-z0-9_]*)\s*=\s*(.*)")


def entries_of(text: str) -> list[Entry]:
    """The entries of a message, its form told by its first characters; raises `MessageFault`."""
    start = text.lstrip()[:1]
    if start in ("{", "["):
        entries = _json_entries(text)
    elif start == "<":
        entries = _xml_entries(text)
    elif any(_KVN_LINE.match(line.strip()) for line in text.splitlines()):
        entries = _kvn_entries(text)
    else:
        entries = _csv_entries(text)
    return [entry for entry in entries if not entry.key.startswith(_NOT_ELEMENTS)]


def _json_entries(text: str) -> list[Entry]:
    try:
        data = json.loads(text, parse_float=str, parse_int=str, object_pairs_hook=list)
    except RecursionError:
        raise MessageFault("is nested too deeply") from None
    except ValueError as error:
        raise MessageFault(f"starts like JSON but is not: {error}") from None
    is_object = bool(data) and isinstance(data[0], tuple)
    if not is_object and len(data) != 1:
        raise MessageFault(_MANY.format(len(data)))
    pairs = data if is_object else data[0]
    if not isinstance(pairs, list):
        raise MessageFault("must hold one JSON object")
    return list(_flat(pairs))


def _flat(pairs: list[object]) -> Iterator[Entry]:
    """Name-value pairs of an object and of the objects in it; lists of anything else hold no element."""
    todo = [pairs]
    while todo:
        for pair in todo.pop():
            if isinstance(pair, list):
                todo.append(pair)
            elif isinstance(pair, tuple):
                key, value = pair
                if isinstance(value, list):
                    todo.append(value)
                elif value is not None:
                    yield Entry(key.strip().upper(), str(value).strip())


def _xml_entries(text: str) -> list[Entry]:
    try:
        root = SafeTree.fromstring(text, forbid_dtd=True)
    except DefusedXmlException:
        raise MessageFault("declares a document type or entities; delete them") from None
    except (SyntaxError, ValueError, LookupError) as error:  # ParseError is a SyntaxError
        raise MessageFault(f"starts like XML but is not: {error}") from None
    objects = [each for each in root.iter() if _local(each.tag) == "OMM"]
    if len(objects) > 1:
        raise MessageFault(_MANY.format(len(objects)))
    return [Entry(_local(each.tag), (each.text or "").strip(), each.get("units", "").strip())
            for each in root.iter() if len(each) == 0]


def _local(tag: object) -> str:
    """A tag without its namespace."""
    return str(tag).rpartition("}")[2].upper()


def _kvn_entries(text: str) -> list[Entry]:
    entries = []
    for number, line in enumerate(text.splitlines(), start=1):
        line = line.strip()
        if not line or line.upper().startswith("COMMENT"):
            continue
        match = _KVN_LINE.fullmatch(line)
        if not match:
            raise MessageFault(f"line {number} is not KEYWORD = value")
        key, value = match[1].upper(), match[2].strip()
        text, mark, unit = value.removesuffix("]").rpartition("[")
        has_unit = bool(mark) and value.endswith("]") and "]" not in unit
        entries.append(Entry(key, text.rstrip(), unit.strip()) if has_unit else Entry(key, value))
    return entries


def _csv_entries(text: str) -> list[Entry]:
    try:
        rows = [row for row in csv.reader(io.StringIO(text, newline=""), strict=True) if any(row)]
    except csv.Error as error:
        raise MessageFault(f"is none of JSON, XML, KVN and CSV ({error})") from None
    if not rows or not {"EPOCH", "ECCENTRICITY"} & {cell.strip().upper() for cell in rows[0]}:
        raise MessageFault("is not an orbit message: none of JSON, XML, KVN and CSV of CCSDS 502.0-B")
    if len(rows) != 2:
        raise MessageFault(_MANY.format(len(rows) - 1))
    if len(rows[0]) != len(rows[1]):
        raise MessageFault(f"has {len(rows[1])} values under {len(rows[0])} names")
    return [Entry(key.strip().upper(), value.strip()) for key, value in zip(*rows, strict=True)]
