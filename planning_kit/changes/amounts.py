"""Other amounts: durations, gaps, tethers, settings, PET 0; and routes that are closed."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from planning_kit.changes.change import CREW, STEP, TASK, Cells, Change, Named, Note, Tables
from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault, parse_number
from planning_kit.inputs.records import Gap, Records
from planning_kit.inputs.row_edits import row_of, set_cell
from planning_kit.inputs.times import gmt_label
from planning_kit.inputs.typed_tables import number_text

LOW, LIKELY, HIGH = "minutes_low", "minutes_likely", "minutes_high"
MINUTES = [LOW, LIKELY, HIGH]
_DIGITS = 9  # of a minute: hides what binary fractions leave behind, and keeps what a planner typed
_CLOSEST = (STEP, TASK, CREW)


@dataclass(frozen=True)
class Amount:
    """Steps whose durations are multiplied by ``factor`` and lengthened by ``added_min`` each."""

    named: Named
    factor: float
    added_min: float

    def changed_min(self, minutes: float) -> float:
        """What becomes of a duration."""
        return minutes * self.factor + self.added_min

    @property
    def words(self) -> str:
        """What is changed, as a planner says it."""
        who = f"{self.named.kind} {self.named.id}" if self.named.kind != CREW else self.named.id
        each = " each step" if self.named.kind != STEP else ""
        if self.factor != 1.0:
            return f"{who}:{each} × {self.factor:g}"
        sign = "+" if self.added_min >= 0 else "−"
        return f"{who}:{each} {sign}{abs(self.added_min):g} min"


@dataclass(frozen=True)
class Stretch(Change):
    """Slower and faster work: of several names for one step the closest counts.

    All three estimates change alike, so that the spread of a step scales with a factor and stays with added
    minutes; none falls below 0.
    """

    kind = "stretch"
    amounts: tuple[Amount, ...]

    def _lines(self) -> Sequence[str]:
        return tuple(each.words for each in self.amounts)

    def arguments(self) -> dict[str, object]:
        """Each name, with its kind, to a factor or to minutes with a sign."""
        return {"stretch": {each.named.key: each.factor if each.factor != 1.0
                            else f"{each.added_min:+.15g}" for each in self.amounts}}

    def _edit(self, tables: Tables) -> None:
        chosen = amount_of_steps(tables.records, self.amounts)
        steps = tables["steps"]
        by_row = [chosen.get(step) for step in steps["step"]]
        factor = np.array([each.factor if each else 1.0 for each in by_row])
        added = np.array([each.added_min if each else 0.0 for each in by_row])
        for column in MINUTES:
            minutes = pd.to_numeric(steps[column])
            changed = (minutes * factor + added).round(_DIGITS)
            if column != LIKELY:  # a likely duration below 0 is a fault, told when the question is read
                changed = changed.clip(lower=0.0)
            # Steps that no amount names keep their numbers as typed: rounding would be a change of them.
            steps[column] = changed.where((factor != 1.0) | (added != 0.0), minutes)
        tables["steps"] = steps


def amount_of_steps(records: Records, amounts: Sequence[Amount]) -> dict[str, Amount]:
    """The one amount of each step: its own, else its task's, else that of its slowest crew member."""
    chosen: dict[str, Amount] = {}
    for step in records.steps:
        naming = [each for each in amounts if step.step in each.named.steps]
        for kind in _CLOSEST:
            of_kind = [each for each in naming if each.named.kind == kind]
            if of_kind:
                # Of several people the slowest: they finish together.
                chosen[step.step] = max(of_kind, key=lambda each: each.changed_min(step.minutes_likely))
                break
    return chosen


@dataclass(frozen=True)
class LikelyMinutes(Change):
    """The likely minutes of a step, from its dragged edge, to a tenth; low and high make room for them."""

    kind = "stretch"
    step: str
    minutes: float

    def _lines(self) -> Sequence[str]:
        return [f"minutes of {self.step}"]

    def _edit(self, tables: Tables) -> None:
        """Set the cells as they would be typed. Raises `ScenarioError` for a step that there is not."""
        steps = tables["steps"]
        at, likely = row_of(list(steps["step"]), self.step), max(1.0, round(self.minutes * 10) / 10)
        text = number_text(likely)
        room = room_for(text, *(steps[column].iloc[at] for column in (LOW, HIGH)))
        for column, cell in ({LIKELY: text} | room).items():
            set_cell(steps, at, column, cell)
        tables["steps"] = steps


def room_for(likely_cell: object, low_cell: object, high_cell: object) -> dict[str, str]:
    """What a step's low and high minutes become, by column, so that the likely ones lie between them.

    One that is not given, or is no number, stays as it is; so do both where the likely ones are none.
    """
    likely, low, high = map(_number, (likely_cell, low_cell, high_cell), (LIKELY, LOW, HIGH))
    return {column: number_text(likely)
            for column, is_set in ((LOW, low > likely), (HIGH, high < likely)) if is_set}


def _number(cell: object, column: str) -> float:
    """A number as typed; NaN where there is none."""
    try:
        return parse_number(str(cell), fmt.STEPS.by_name[column]) if str(cell).strip() else math.nan
    except CellFault:
        return math.nan


@dataclass(frozen=True)
class GapTo(Change):
    """``min_gap`` or ``max_gap`` (minutes) set anew, in all rows between the same ends.

    ``name`` is what the planner calls the gap, where its ends are more than that takes.
    """

    kind = "gap"
    gap: Gap
    minutes: Mapping[str, float]
    name: str = ""

    def _lines(self) -> Sequence[str]:
        return (f"gap {self.gap.words}: "
                + ", ".join(f"{column} {minutes:g} min" for column, minutes in self.minutes.items()),)

    def arguments(self) -> dict[str, object]:
        """The gap by its name or ends, to its minutes."""
        return {"gaps": {self.name or self.gap.ends: dict(self.minutes)}}

    def _edit(self, tables: Tables) -> None:
        gaps = tables["gaps"]
        rows = [gap.ends == self.gap.ends for gap in tables.records.gaps]
        for column, minutes in self.minutes.items():
            gaps.loc[rows, column] = round(float(minutes), _DIGITS)
        tables["gaps"] = gaps


@dataclass(frozen=True)
class Close(Change):
    """Routes that cannot be used, each as its two places."""

    kind = "route"
    pairs: tuple[frozenset[str], ...]

    def _lines(self) -> Sequence[str]:
        return (f"route closed: {', '.join(' to '.join(sorted(pair)) for pair in self.pairs)}",)

    def _edit(self, tables: Tables) -> None:
        routes = tables["routes"]
        # A route is two-way, whichever of its ends the row names first.
        ends = zip(routes["from_place"], routes["to_place"], strict=True)
        tables["routes"] = routes[[frozenset(pair) not in self.pairs for pair in ends]]
        # A hazard of closed routes alone goes with them, as nobody can be there.
        known, hazards = tables.records.hazards, tables["hazards"]
        left = [[pair for pair in each.routes if frozenset(pair) not in self.pairs] for each in known]
        if sum(map(len, left)) < sum(len(each.routes) for each in known):
            hazards["routes"] = [" ".join(map(":".join, pairs)) for pairs in left]
            tables["hazards"] = hazards[[bool(pairs or each.zones or each.places or each.centre)
                                         for pairs, each in zip(left, known, strict=True)]]


@dataclass(frozen=True)
class Tethers(Change):
    """Other tether lengths, metres by crew member."""

    kind = "tether"
    tether_m: Mapping[str, float]

    def _lines(self) -> Sequence[str]:
        return (f"tether of {', '.join(f'{who} {metres:g} m' for who, metres in self.tether_m.items())}",)

    def _edit(self, tables: Tables) -> None:
        Cells("crew", {"tether_m": self.tether_m}).edit(tables)


@dataclass(frozen=True)
class Set(Change):
    """Keys of ``scenario.toml``, dotted, to other values; None deletes one."""

    kind = "settings"
    keys: Mapping[str, object]

    def _lines(self) -> Sequence[str]:
        return (", ".join(f"{key} = {_as_words(value)}" for key, value in self.keys.items()),)

    def arguments(self) -> dict[str, object]:
        """The keys."""
        return {"settings": dict(self.keys)}

    def _edit(self, tables: Tables) -> None:
        tables.settings |= self.keys


def _as_words(value: object) -> str:
    return "not given" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


@dataclass(frozen=True)
class PetZero(Change):
    """Another PET 0 of the plan (UTC), which was ``before``: the scenario keeps its own.

    What shall stand in the scenario is `Set` as its ``pet_zero``.
    """

    kind = "pet_zero"
    at: datetime
    before: datetime

    @property
    def slip_min(self) -> float:
        """By how much later they leave."""
        return (self.at - self.before).total_seconds() / 60

    def _lines(self) -> Sequence[str]:
        by = self.slip_min
        how = f"{abs(by):g} min {'later' if by > 0 else 'earlier'}, " if abs(by) < 1440 else ""
        return (f"PET 0 {how}at {_day_and_gmt(self.at)}",)

    def arguments(self) -> dict[str, object]:
        """The slip."""
        return {"slip_min": self.slip_min}

    def _edit(self, tables: Tables) -> Iterator[Note]:
        """Change no table; tell where it lies outside the range that the scenario gives."""
        settings = tables.records.settings
        early, late = settings.pet_zero_earliest, settings.pet_zero_latest
        if early is not None and self.at < early:
            yield Note(f"this lies before the earliest PET 0 of the scenario, {_day_and_gmt(early)}")
        if late is not None and self.at > late:
            yield Note(f"this lies after the latest PET 0 of the scenario, {_day_and_gmt(late)}")


def _day_and_gmt(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d} GMT {gmt_label(moment)}"
