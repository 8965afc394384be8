"""What two scenarios say differently: by table and row, in words."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import number_said
from planning_kit.inputs.fields import Field, Table
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.source import Checked, content_digest
from planning_kit.inputs.typed_settings import keys_in, setting_fields

INPUT_CHANGES = ["table", "row", "change", "column", "before", "after", "words"]
ADDED, REMOVED, CHANGED, MOVED, RENAMED = "added", "removed", "changed", "moved", "renamed"

Change = tuple[str, str, str, str, str, str, str]
Row = Mapping[str, str]


def compare_inputs(a: Checked, b: Checked) -> pd.DataFrame:
    """Every input of a scenario ``b`` that differs from ``a``; empty when both say the same.

    ``table`` (a CSV table, ``scenario.toml``, ``orbit`` or ``model``), ``row`` (its key, or the dotted key),
    ``change`` (``added``, ``removed``, ``changed``, ``renamed``, ``moved`` in the row order), ``column``,
    ``before`` and ``after`` as the files have them, and the same in ``words``. How a number or a list is
    spelled does not count. A row that went and one that came are one that was renamed where all but the key
    is the same. Of steps that changed their order, the fewest are named that explain it; the order of other
    tables means nothing, and one line says that it is another.
    """
    rows: list[Change] = []
    if content_digest(a) != content_digest(b):
        rows = [*_keys(fmt.SCENARIO_FILE, _written, keys_in(a.source.toml), keys_in(b.source.toml)),
                *_keys("orbit", str, vars(a.elements), vars(b.elements)),
                *_keys("model", str, *({model.file: model.digest[:12] for model in each.records.models}
                                       for each in (a, b))), *_tables(a, b)]
    return TextTable(rows, columns=INPUT_CHANGES)


def _keys(file: str, written: Callable[[object], str], before: Mapping[str, object],
          after: Mapping[str, object]) -> Iterator[Change]:
    fields = setting_fields()
    for key in dict.fromkeys([*before, *after]):
        old, new = before.get(key), after.get(key)
        if _number_or_itself(old, fields.get(key)) != _number_or_itself(new, fields.get(key)):
            yield _cell(file, key, "", written(old), written(new))


def _number_or_itself(value: object, field: Field | None) -> object:
    """A setting; one that was typed with a unit as its number."""
    if field is not None and field.is_number and isinstance(value, str) and value not in field.words:
        return number_said(value, field)
    return value


def _written(value: object) -> str:
    if isinstance(value, list):
        return " ".join(_written(each) for each in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _tables(a: Checked, b: Checked) -> Iterator[Change]:
    for table in fmt.TABLES:
        before, after = _rows(a, table), _rows(b, table)
        titles = {key: row.get("title", "").strip() for rows in (before, after) for key, row in rows.items()}
        renamed = _renamed(table, before, after)
        for key in before:
            if key in renamed:
                new = renamed[key]
                yield (table.name, new, RENAMED, "", key, new, f"{_named(key, titles[key])} renamed {new}")
            elif key not in after:
                yield _whole(table.name, key, REMOVED, titles[key], before[key])
        for key, row in after.items():
            if key in before:
                yield from _cells(table, key, titles[key], before[key], row)
            elif key not in renamed.values():
                yield _whole(table.name, key, ADDED, titles[key], row)
        moved = list(_moves(table.name, [renamed.get(key, key) for key in before], list(after), titles))
        if table.name == "steps":
            yield from moved
        elif moved:
            keys = " ".join(change[1] for change in moved)
            yield (table.name, "", MOVED, "", "", "",
                   f"rows stand in another order ({keys}): only the order of the steps means something")


def _renamed(table: Table, before: Mapping[str, Row], after: Mapping[str, Row]) -> dict[str, str]:
    """Keys that went to keys that came, where the rest of the row says the same; each at most once."""
    if len(table.key) != 1:
        return {}
    came = {key: _rest(table, row) for key, row in after.items() if key not in before}
    renamed: dict[str, str] = {}
    for key, row in before.items():
        same = [new for new, rest in came.items() if rest == _rest(table, row) and any(rest.values())]
        if key not in after and len(same) == 1:
            renamed[key] = same[0]
            del came[same[0]]
    return renamed


def _rest(table: Table, row: Row) -> dict[str, object]:
    """What a row says beside its key; empty cells and absent columns say the same."""
    found = {name: _meaning(cell, table.by_name.get(name)) for name, cell in row.items()
             if name not in table.key}
    return {name: value for name, value in found.items() if value not in (None, "", ())}


def _named(key: str, title: str) -> str:
    return f"{key} ({title})" if title else key


def _rows(scenario: Checked, table: Table) -> dict[str, Row]:
    """The rows as text by their key; rows that share a key are numbered."""
    raw = scenario.source.tables.get(table.name)
    rows: dict[str, Row] = {}
    seen: Counter[str] = Counter()
    for cells in raw.rows if raw is not None else ():
        assert raw is not None
        row = dict(zip(raw.header, cells, strict=True))
        key = " ".join(row.get(name, "").strip() for name in table.key)
        seen[key] += 1
        rows[key if seen[key] == 1 else f"{key} ({seen[key]})"] = row
    return rows


def _cells(table: Table, key: str, title: str, before: Row, after: Row) -> Iterator[Change]:
    for name in dict.fromkeys([*before, *after]):
        old, new = before.get(name, ""), after.get(name, "")
        field = table.by_name.get(name)
        if _meaning(old, field) != _meaning(new, field):
            yield _cell(table.name, key, name, old.strip(), new.strip(), title)


def _meaning(text: str, field: Field | None) -> object:
    """What a cell says, whatever its spelling."""
    text = text.strip()
    if field is None:
        return text
    if not text and field.default is not None:
        text = str(field.default)
    if field.is_number:
        return number_said(text, field) if text else None
    if field.is_list:
        return tuple(text.split())
    return text or ("no" if field.kind == "yes_no" else "")


def _cell(table: str, row: str, column: str, old: str, new: str, title: str = "") -> Change:
    name = row if column == "title" else _named(row, title)
    what = f"{name}, {column}:" if column else f"{name}:"
    words = f"was {old}, is {new}" if old and new else f"now {new}" if new else f"no longer {old}"
    change = CHANGED if column or (old and new) else ADDED if new else REMOVED
    return table, row, change, column, old, new, f"{what} {words}"


def _whole(table: str, key: str, change: str, title: str, row: Row) -> Change:
    cells = [(name, cell.strip()) for name, cell in row.items() if name != "title"]
    told = ", ".join(f"{name} {cell}" for name, cell in cells if cell)
    before, after = (told, "") if change == REMOVED else ("", told)
    return table, key, change, "", before, after, f"{_named(key, title)} {change}: {told}"


def _moves(table: str, before: Sequence[str], after: Sequence[str],
           titles: Mapping[str, str]) -> Iterator[Change]:
    place = {key: number for number, key in enumerate(before)}
    common = [key for key in after if key in place]
    stayed = _longest_rising([place[key] for key in common])
    old_order = [key for key in before if key in set(common)]
    for key in common:
        if place[key] not in stayed:
            old, new = (f"after {order[at - 1]}" if (at := order.index(key)) else "first"
                        for order in (old_order, common))
            yield (table, key, MOVED, "", old, new,
                   f"{_named(key, titles[key])} moved in the row order: was {old}, is {new}")


def _longest_rising(numbers: Sequence[int]) -> set[int]:
    """A longest rising subsequence (patience sorting): what kept its order while the rest moved."""
    ends, came_from, chain = list[int](), dict[int, int | None](), set[int]()
    for number in numbers:
        at = bisect_left(ends, number)
        came_from[number] = ends[at - 1] if at else None
        ends[at:at + 1] = [number]
    last = ends[-1] if ends else None
    while last is not None:
        chain.add(last)
        last = came_from[last]
    return chain
