"""The rows of a scenario as typed, frozen records: what the other rooms compute with.

The type of a field says what its column may hold, too: kind, meaning, unit, range. A field whose type says
nothing more is no column. `planning_kit.inputs.format` makes the tables of the format from these records.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from math import inf
from typing import Annotated

from planning_kit.inputs.fields import (
    FAR_M,
    LONGEST_MIN,
    SUITED,
    WINDOW_WORDS,
    choice,
    column,
    minutes,
    number,
    reference,
    references,
)
from planning_kit.inputs.hazard_words import Controls, Point, Term
from planning_kit.inputs.procedure_records import BOTH as BOTH
from planning_kit.inputs.procedure_records import INSIDE as INSIDE
from planning_kit.inputs.procedure_records import Action, Response, State, StateValue
from planning_kit.inputs.procedure_records import Actor as Actor
from planning_kit.inputs.setting_records import Settings
from planning_kit.inputs.shown_text import shortened
from planning_kit.inputs.station_records import HAZARD_CLASSES as HAZARD_CLASSES
from planning_kit.inputs.station_records import Body as Body
from planning_kit.inputs.station_records import Model as Model
from planning_kit.inputs.station_records import Place as Place
from planning_kit.inputs.station_records import Route as Route
from planning_kit.inputs.station_records import Shot as Shot
from planning_kit.inputs.station_records import class_of_caution
from planning_kit.inputs.times import pet_min

NONE = "none"


@dataclass(frozen=True)
class Crew:
    """A suited crew member (``EV1`` or ``EV2``)."""

    crew: Annotated[str, column("id", "EV1 or EV2", needed=True, choices=SUITED)]
    metres_per_min: Annotated[float, number("speed along handrails", "m/min", needed=True, above_least=True,
        most=600)]
    exertion_factor: Annotated[float | None, number("multiplies the watts of [exertion_w]", above_least=True,
        most=10)]
    carry_slots: Annotated[float | None, number("carry slots this person has", "slots", most=1000)]
    tether_m: Annotated[float | None, number("reach of the safety tether from its hook", "m", most=FAR_M)]
    name: Annotated[str, column("text", "who it is", may_be_absent=True)] = ""
    suit: Annotated[str, column("text", "the suit, by its number or name", may_be_absent=True,
        example="suit 4")] = ""
    size: Annotated[str, column("text", "the size of the suit", may_be_absent=True, example="L")] = ""
    trained: Annotated[tuple[str, ...], references("tasks trained for; empty: not stated", "tasks",
        words=(NONE,), may_be_absent=True)] = ()

    @property
    def label(self) -> str:
        """The id with the name, where that is given: ``EV1 (Ada)``."""
        return f"{self.crew} ({name})" if (name := shortened(self.name, 40)) else self.crew


@dataclass(frozen=True)
class Item:
    """A piece of hardware and where it starts and must end."""

    item: Annotated[str, column("id", "id", needed=True)]
    title: Annotated[str, column("text", "name shown")]
    kind: Annotated[str, choice("what it is", "tool", "bag", "spare", "cable", "foothold", "unit",
        needed=True)]
    at: Annotated[str, reference("where it is at PET 0: a place, a crew member, a bag, or inside", "places",
        "crew", "hardware", needed=True, words=("inside",))]
    end_at: Annotated[str, reference("where it must be at the end; empty: anywhere", "places",
        words=("inside",))]
    end2_at: Annotated[str, reference("where a laid cable's other end must be at the end", "places",
        words=("inside",), may_be_absent=True)]
    slots: Annotated[float | None, number("carry slots it takes", "slots", most=1000)]
    holds: Annotated[float | None, number("slots of items that fit inside (bags)", "slots", most=1000)]
    bulky: Annotated[bool | None, column("yes_no", "a hazard on tight and snag routes; empty: not known",
        may_be_unknown=True)]
    mass_kg: Annotated[float | None, number("mass", "kg", most=1e6)]
    other_end_at: Annotated[str, reference("where a cable's other end is fixed at PET 0; empty: nowhere",
        "places", words=("inside",), may_be_absent=True, example="BAY")] = ""
    leave_max_h: Annotated[float | None, number("longest that it may lie outside unfinished; empty: no limit",
        "h", most=100_000, may_be_absent=True, example="96")] = None
    leave_source: Annotated[str, column("text", "why so long (cold, unlocked, uncovered), and who says so",
        may_be_absent=True, example="its heaters are off; demo value")] = ""


@dataclass(frozen=True)
class Task:
    """An objective."""

    task: Annotated[str, column("id", "id", needed=True)]
    title: Annotated[str, column("text", "name shown")]
    need: Annotated[str, choice("how much it is needed", "required", "optional", "get-ahead", needed=True)]
    priority: Annotated[int | None, column("count", "1 is the highest", least=1, most=10_000)]
    swappable: Annotated[bool, column("yes_no", "EV1 and EV2 may trade its steps")]
    objective: Annotated[str, column("text", "what is achieved")]
    last_start_min: Annotated[float | None, minutes("PET after which it is not begun", may_be_absent=True)]
    cut_order: Annotated[int | None, column("count", "1 is dropped first", least=1, most=10_000,
        may_be_absent=True)]
    if_missed: Annotated[str, choice("what is done when a window of it is missed; empty: the next window "
        "while the outing still ends by its hard limit, else drop", "drop", "next_window",
        may_be_absent=True)] = ""
    put_back_min: Annotated[float | None, minutes("minutes to put it back once it has begun; empty: the "
        "largest safe_orderly_min of its steps", may_be_absent=True)] = None


@dataclass(frozen=True)
class ItemMove:
    """One entry of ``takes`` or ``leaves``: ``[EV1:]item[<BAG | >BAG | >EV2]``.

    ``crew`` is "" when the entry names none (the step's own crew member); ``out_of`` is the bag after ``<``,
    ``into`` the bag or the partner after ``>``.
    """

    item: str
    crew: str = ""
    out_of: str = ""
    into: str = ""


@dataclass(frozen=True)
class Step:
    """What one or both crew members (or another actor) do at one place; ``row`` is its row in the file."""

    step: Annotated[str, column("id", "id", needed=True)]
    task: Annotated[str, reference("the objective it belongs to", "tasks", needed=True)]
    crew: Annotated[str, reference("EV1, EV2, both, or an actor", "crew", "actors", needed=True,
        words=("both",))]
    place: Annotated[str, reference("where; empty: not known, of an actor's step none", "places")]
    title: Annotated[str, column("text", "what is done")]
    minutes_low: Annotated[float, minutes("shortest duration; empty: as likely")]
    minutes_likely: Annotated[float, minutes("likely duration", needed=True)]
    minutes_high: Annotated[float, minutes("longest duration; empty: as likely")]
    after: Annotated[tuple[str, ...], references("steps that must finish first", "steps")]
    light: Annotated[str, choice("the whole step lies in such a window", "any", "night", "day",
        default="any")]
    same_window: Annotated[str, column("name", "steps that share a value lie inside one and the same window")]
    windows: Annotated[tuple[str, ...], references("named windows that the step must fit in", "windows",
        may_be_absent=True)]
    exertion: Annotated[str, choice("the row of [exertion_w]", "rest", "light", "moderate", "heavy")]
    foothold: Annotated[str, reference("the foothold that must be in this place's socket", "hardware")]
    takes: Annotated[tuple[ItemMove, ...], column("moves", "items picked up at the start")]
    leaves: Annotated[tuple[ItemMove, ...], column("moves", "items put down at the finish")]
    uses: Annotated[tuple[str, ...], references("items that must be in hand or here", "hardware")]
    hooks: Annotated[tuple[str, ...], references("whose safety tethers move to this anchor at the finish",
        "crew")]
    link: Annotated[str, choice("yes: coverage is checked; wait: the step waits for it", "no", "yes", "wait",
        default="no")]
    travel_extra_min: Annotated[float, minutes("added to the travel into the step", default=0.0,
        may_be_absent=True)]
    wait_at: Annotated[str, reference("wait there instead of at the place", "places", may_be_absent=True)]
    safe_orderly_min: Annotated[float | None, minutes("minutes of work before leaving in an orderly return",
        may_be_absent=True)]
    safe_now_min: Annotated[float | None, minutes("minutes of work before leaving at once",
        may_be_absent=True)]
    make_safe: Annotated[str, column("text", "what must be done before leaving", may_be_absent=True)]
    caution: Annotated[str, column("text", "warning shown with the step")]
    caution_class: Annotated[str, class_of_caution()] = "caution"
    via_places: Annotated[tuple[str, ...], references("places that the way to it leads over, in this order",
        "places", may_be_absent=True, example="HUB KNU")] = ()
    moves: Annotated[tuple[str, ...], column("names", "zones that it sets in motion",
        may_be_absent=True)] = ()
    rides: Annotated[tuple[str, ...], references("who is on a moved zone meanwhile, as planned", "crew",
        may_be_absent=True, example="EV1")] = ()
    checks: Annotated[tuple[str, ...], column("names", "what is looked at: gloves, helmet",
        may_be_absent=True)] = ()
    clears: Annotated[tuple[str, ...], references("contamination hazards that it clears its crew of",
        "hazards", may_be_absent=True)] = ()
    when: Annotated[str, choice("asap: as early as it can; late: as late as it can without moving what "
        "is not late", "asap", "late", default="asap", may_be_absent=True)] = "asap"
    late_margin_min: Annotated[float, minutes("kept free between a late step and what it would move",
        default=0.0, may_be_absent=True, example="5")] = 0.0
    helper: Annotated[bool, column("yes_no", "it only moves a hook, takes or leaves: a search may "
        "leave it out, or do so elsewhere", may_be_absent=True)] = False
    block: Annotated[str, reference("the block that it details", "steps", may_be_absent=True,
        example="KNU")] = ""
    needs: Annotated[tuple[StateValue, ...], column("values", "what must be so at its start",
        may_be_absent=True)] = ()
    sets: Annotated[tuple[StateValue, ...], column("values", "what is so from its finish on",
        may_be_absent=True)] = ()
    row: int = 0

    @property
    def people(self) -> tuple[str, ...]:
        """Who works in it: both crew members, one of them, or another actor."""
        return SUITED if self.crew == BOTH else (self.crew,)

    @property
    def where(self) -> str:
        """Its place; someone at work without a place is inside."""
        return self.place or INSIDE

    @property
    def touches(self) -> set[str]:
        """Every item that it uses, takes or leaves, and its foothold ("" for none)."""
        return {*self.uses, self.foothold, *(move.item for move in (*self.takes, *self.leaves))}

    def as_put_back(self, minutes: float) -> Step:
        """The step in whose place its task, given up, is put back: no item moves, no window holds it."""
        return replace(self, title=f"Put {self.task} back", minutes_low=minutes, minutes_likely=minutes,
                       minutes_high=minutes, light="any", link="no", same_window="", windows=(), when="asap",
                       takes=(), leaves=(), uses=(), checks=(), clears=(), needs=(), sets=())


@dataclass(frozen=True)
class Gap:
    """A least and a greatest time between two steps; ``row`` is its row in the file, for messages."""

    row: int
    first_step: Annotated[str, reference("the earlier step", "steps", needed=True)]
    then_step: Annotated[str, reference("the later step", "steps", needed=True)]
    min_gap: Annotated[float, minutes("least time between; empty: 0; may be negative", least=-LONGEST_MIN,
        default=0.0)]
    max_gap: Annotated[float | None, minutes("greatest time between; empty: no limit", least=-LONGEST_MIN)]
    first_at: Annotated[str, choice("which end of the first step counts", "start", "finish", default="finish",
        may_be_absent=True)]
    then_at: Annotated[str, choice("which end of the later step counts", "start", "finish", default="start",
        may_be_absent=True)]
    reason: Annotated[str, column("text", "why")]
    if_missed: Annotated[str, choice("what is done when the greatest time has passed; empty: break", "drop",
        "break", may_be_absent=True)] = ""

    @property
    def ends(self) -> str:
        """Which ends of which steps it counts between, such as ``A1 finish B1 start``."""
        return f"{self.first_step} {self.first_at} {self.then_step} {self.then_at}"

    @property
    def words(self) -> str:
        """What it lies between, in words; the ends only where they are not the usual ones."""
        if (self.first_at, self.then_at) == ("finish", "start"):
            return f"from {self.first_step} to {self.then_step}"
        return f"from the {self.first_at} of {self.first_step} to the {self.then_at} of {self.then_step}"


@dataclass(frozen=True)
class Inhibit:
    """A hazard control that someone else must hold."""

    inhibit: Annotated[str, column("id", "id", needed=True)]
    title: Annotated[str, column("text", "what is inhibited")]
    owner: Annotated[str, column("text", "who holds it")]
    from_step: Annotated[str, reference("in force from the start of this step less lead_min", "steps",
        needed=True)]
    until_step: Annotated[str, reference("in force to the finish of this step", "steps", needed=True)]
    lead_min: Annotated[float, minutes("how long before from_step it must stand", default=0.0)]
    needed_by: Annotated[tuple[str, ...], references("steps that must lie inside", "steps",
        may_be_absent=True)]
    hold_max_min: Annotated[float | None, minutes("longest time it may be held", may_be_absent=True)]
    window: Annotated[str, reference("night, day or the name of a window that it must fit in", "windows",
        words=WINDOW_WORDS, may_be_absent=True)]
    reason: Annotated[str, column("text", "why")]
    safe_after_min: Annotated[float | None, minutes("from being set until the hazard is gone",
        may_be_absent=True)] = None
    confirmed_by: Annotated[str, reference("the step that confirms that it is in force", "steps",
        may_be_absent=True)] = ""
    restore_min: Annotated[float | None, minutes("what the system needs to come back after it is lifted",
        may_be_absent=True)] = None
    set_at: Annotated[datetime | float | str, column("moment", "when it was set already, before PET 0; "
        "empty: it was not", "UTC or PET", may_be_absent=True, example="-0:30")] = ""

    def set_already_min(self, pet_zero: datetime) -> float:
        """When it was set already, minutes of PET; infinite where it was not."""
        at = inf if self.set_at == "" else self.set_at
        return pet_min(at, pet_zero) if isinstance(at, datetime) else float(at)


@dataclass(frozen=True)
class Hazard:
    """What can hurt a crew member or damage hardware, where and when."""

    hazard: Annotated[str, column("id", "id", needed=True)]
    title: Annotated[str, column("text", "what it is")]
    class_: Annotated[str, choice("warning: can injure; caution: can damage hardware; note", *HAZARD_CLASSES,
        needed=True)]
    zones: Annotated[tuple[str, ...], column("names", "zones of places.csv")]
    places: Annotated[tuple[str, ...], references("places", "places")]
    routes: Annotated[tuple[tuple[str, str], ...], column("pairs", "routes")]
    x_m: Annotated[float | None, number("centre of a sphere, station body frame, x", "m", least=-FAR_M,
        most=FAR_M)]
    y_m: Annotated[float | None, number("its y", "m", least=-FAR_M, most=FAR_M)]
    z_m: Annotated[float | None, number("its z", "m", least=-FAR_M, most=FAR_M)]
    radius_m: Annotated[float | None, number("its radius", "m", above_least=True, most=FAR_M)]
    when: Annotated[tuple[Term, ...], column("when", "when it is there; empty: always")]
    limit: Annotated[str, choice("keep_out, no_contact, stay (minutes at a time) or total (minutes a person)",
        "keep_out", "no_contact", "stay", "total", needed=True)]
    limit_min: Annotated[float | None, minutes("of stay and total")]
    controls: Annotated[Controls | None, column("controls", "the inhibits that hold it")]
    applies_to: Annotated[tuple[str, ...], references("who it can hurt; empty: both", "crew", example="EV2")]
    kind: Annotated[str, column("name", "its kind; contamination stays on whoever was inside")]
    source: Annotated[str, column("text", "who says so")]

    @property
    def inhibits(self) -> tuple[str, ...]:
        """Every inhibit that its controls or conditions name, once."""
        off = (term.about for term in self.when if term.kind == "off")
        return tuple(dict.fromkeys([*(self.controls.names if self.controls else ()), *off]))

    @property
    def centre(self) -> Point | None:
        """The centre of its sphere, metres; None where it has none."""
        if self.x_m is None or self.y_m is None or self.z_m is None:
            return None
        return self.x_m, self.y_m, self.z_m


@dataclass(frozen=True)
class NamedWindow:
    """A period from others (several rows may share a name)."""

    window: Annotated[str, column("name", "name; several rows may share it", needed=True)]
    start: Annotated[datetime | float, column("moment", "begin", "UTC or PET", needed=True)]
    end: Annotated[datetime | float, column("moment", "end", "UTC or PET", needed=True)]
    source: Annotated[str, column("text", "who says so")]

    def span_min(self, pet_zero: datetime) -> tuple[float, float]:
        """Begin and end, minutes of PET of an outing with this PET 0 (UTC)."""
        ends = (self.start, self.end)
        start, end = (each if isinstance(each, float) else pet_min(each, pet_zero) for each in ends)
        return start, end

    @property
    def is_pet(self) -> bool:
        """Whether it moves with PET 0."""
        return isinstance(self.start, float)


@dataclass(frozen=True)
class Records:
    """A whole scenario, parsed and checked, in row order; ``blocks`` have steps of their own: see `apart`."""

    settings: Settings
    crew: tuple[Crew, ...]
    actors: tuple[Actor, ...]
    places: tuple[Place, ...]
    routes: tuple[Route, ...]
    hardware: tuple[Item, ...]
    tasks: tuple[Task, ...]
    steps: tuple[Step, ...]
    gaps: tuple[Gap, ...]
    inhibits: tuple[Inhibit, ...]
    windows: tuple[NamedWindow, ...]
    hazards: tuple[Hazard, ...]
    actions: tuple[Action, ...] = ()
    states: tuple[State, ...] = ()
    responses: tuple[Response, ...] = ()
    bodies: tuple[Body, ...] = ()
    shots: tuple[Shot, ...] = ()
    blocks: tuple[Step, ...] = ()
    models: tuple[Model, ...] = ()

    @property
    def lane_names(self) -> tuple[str, ...]:
        """Everyone who has an order of work: the crew members, then the actors."""
        return (*(crew.crew for crew in self.crew), *(actor.actor for actor in self.actors))
