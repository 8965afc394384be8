"""What a drag in the chart means for the table of steps: another order, lane, or likely minutes."""

from __future__ import annotations

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.sheet import Cell, Sheet, with_cells, with_lines_moved
from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault, parse_number
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.frames import number_text
from planning_kit.inputs.records import BOTH

STEPS = "steps"
_SNAP_MIN = 1.0
_LOW, _LIKELY, _HIGH = "minutes_low", "minutes_likely", "minutes_high"


def with_step_moved(draft: Draft, step: str, lane: str, before: str | None) -> Draft:
    """``draft`` with ``step`` in ``lane`` just before the step ``before`` of that lane (None: its end).

    A step of EV1 or EV2 may change to the other's lane and takes the hooks of its own tether along; a step of
    both, or of an actor, keeps its lane. Raises `ScenarioError` where the lane is not open to the step.
    """
    sheet = draft[STEPS]
    line = _line(sheet, step)
    crew = sheet.text(line, "crew")
    if not _may_go(crew, lane):
        raise ScenarioError.single(f"a step of {crew} cannot go to the lane of {lane}", table=STEPS,
                                   column="crew", value=step)
    if crew not in (lane, BOTH):
        hooks = _other_hook(sheet, line, crew, lane)
        sheet = with_cells(sheet, {(line, "crew"): lane, (line, "hooks"): hooks})
    return draft.with_sheet(with_lines_moved(sheet, [line], _place_in(sheet, line, lane, before)))


def _may_go(crew: str, lane: str) -> bool:
    return crew == lane or (lane in fmt.SUITED and crew in (*fmt.SUITED, BOTH))


def _other_hook(sheet: Sheet, line: int, crew: str, lane: str) -> str:
    hooks = sheet.text(line, "hooks").split()
    return " ".join(dict.fromkeys(lane if hook == crew else hook for hook in hooks))


def _place_in(sheet: Sheet, line: int, lane: str, before: str | None) -> int | None:
    """The line to stand before: that of ``before``, or the one behind the last step of the lane."""
    if before is not None:
        return _line(sheet, before)
    at = sheet.columns.index("crew")
    whole = [position for position, each in enumerate(sheet.lines)
             if each.id != line and each.cells[at] in (lane, BOTH if lane in fmt.SUITED else lane)]
    behind = max(whole, default=len(sheet.lines) - 1) + 1
    return sheet.lines[behind].id if behind < len(sheet.lines) else None


def with_minutes(draft: Draft, step: str, minutes: float) -> Draft:
    """``draft`` with the likely minutes of ``step`` set, to whole minutes; low and high make room for it."""
    sheet = draft[STEPS]
    line = _line(sheet, step)
    likely = max(_SNAP_MIN, round(minutes / _SNAP_MIN) * _SNAP_MIN)
    texts: dict[Cell, str] = {(line, _LIKELY): number_text(likely)}
    low, high = _number(sheet, line, _LOW), _number(sheet, line, _HIGH)
    if low is not None and low > likely:
        texts[(line, _LOW)] = number_text(likely)
    if high is not None and high < likely:
        texts[(line, _HIGH)] = number_text(likely)
    return draft.with_sheet(with_cells(sheet, texts))


def _number(sheet: Sheet, line: int, column: str) -> float | None:
    text = sheet.text(line, column)
    try:
        return parse_number(text, fmt.STEPS.by_name[column]) if text.strip() else None
    except CellFault:
        return None


def _line(sheet: Sheet, step: str) -> int:
    line = sheet.find("step", step)
    if line is None:
        raise ScenarioError.single("there is no such step in the table", table=STEPS, column="step",
                                   value=step)
    return line
