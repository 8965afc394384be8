"""Hazards in words: their class, where they are, when they are there, what is allowed, what controls them.

The class is always told as a word, in the sense of the trade (common practice; the signal words of ANSI
Z535.6, from memory): a warning can injure, a caution can damage hardware, a note is to be known.
"""

from collections.abc import Iterator
from math import inf

from planning_kit.inputs.hazard_words import Term
from planning_kit.inputs.records import HAZARD_CLASSES, Hazard, Records
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import measure
from planning_kit.plan.exposures import Exposure
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.palette import Theme
from planning_kit.show.wording import bracketed

_SIGNS = {"<=": "at most", "<": "below", ">=": "at least", ">": "above"}
_LIGHT = {"always": "always", "day": "whenever the Sun is not wholly hidden",
          "night": "whenever the Sun is not wholly clear"}
_LIMITS = {"keep_out": "keep out", "no_contact": "no contact", "stay": "at most {:g} min at a time",
           "total": "at most {:g} min a person"}


def class_rank(class_: str) -> int:
    """Warnings first, then cautions, then notes."""
    return HAZARD_CLASSES.index(class_)


def caution_words(class_: str, caution: str) -> str:
    """A caution with its class as a word, as a sentence; "" for none."""
    words = one_line(caution).rstrip(".")
    return f"{class_.upper()}: {words}." if words else ""


def title_of(hazard: Hazard) -> str:
    """The title of a hazard, or its id where it has none."""
    return one_line(hazard.title) or hazard.hazard


def limit_words(hazard: Hazard) -> str:
    """What is allowed, and to whom."""
    words = _LIMITS[hazard.limit].format(hazard.limit_min)
    return f"{words} (for {' '.join(hazard.applies_to)})" if hazard.applies_to else words


def controls_words(hazard: Hazard) -> str:
    """The inhibits that control it; "" for none."""
    return "" if hazard.controls is None else hazard.controls.words


def hazard_line(hazard: Hazard) -> str:
    """Title, limit, controls, and what stays on a person, in one line."""
    controls = controls_words(hazard)
    held = f" unless {controls} in force" if controls else ""
    stays = "; stays on whoever was inside" if hazard.kind == "contamination" else ""
    return f"{title_of(hazard)}: {limit_words(hazard)}{held}{stays}"


def hazard_text(hazard: Hazard, when: str) -> str:
    """Class, `hazard_line`, and when it is there (see `HazardWords.when`), as plain text."""
    return f"{hazard.class_.upper()} {hazard_line(hazard)}. There {when}."


def hazards_entered(plan: TimedPlan, crew: str) -> Iterator[Exposure]:
    """Where ``crew`` enters a hazard, where it is there again, and where nothing controls it any more."""
    left_min: dict[str, float] = {}
    open_min: dict[str, float] = {}
    for each in plan.tracked_exposures:
        if each.crew == crew:
            name, opened = each.hazard.hazard, each.open_spans
            is_news = opened and opened[0][0] > open_min.get(name, -inf) + ROUNDING_MIN
            if is_news or each.from_min > left_min.get(name, -inf) + ROUNDING_MIN:
                yield each
            left_min[name] = max(left_min.get(name, -inf), each.until_min)
            open_min[name] = max([open_min.get(name, -inf), *(end for _, end in opened)])


def class_inks(theme: Theme) -> dict[str, str]:
    """Class to the colour of its lines."""
    return {"warning": theme.stop, "caution": theme.concern, "note": theme.quiet_ink}


class HazardWords:
    """Words that need the titles of one scenario."""

    def __init__(self, records: Records) -> None:
        """Words of the scenario that ``records`` are of."""
        self._places = {each.place: one_line(each.title) or each.place for each in records.places}
        self._items = {each.item: one_line(each.title) or each.item for each in records.hardware}
        self._inhibits = {each.inhibit: each.inhibit + bracketed(each.title) for each in records.inhibits}
        self._settings = records.settings

    def when(self, hazard: Hazard) -> str:
        """When it is there, as a phrase."""
        return " and ".join(self._term(term) for term in hazard.when) or _LIGHT["always"]

    def _term(self, term: Term) -> str:
        if term.kind == "item":
            return f"while {self._items[term.about]} is at {self._places[term.place]}"
        if term.kind == "off":
            return f"while {self._inhibits[term.about]} is not in force"
        if term.kind in _LIGHT:
            return _LIGHT[term.kind]
        name = "beta" if term.kind == "beta" else "beta to either side"
        return f"while {name} is {_SIGNS[term.sign]} {term.degrees:g}°".replace("-", "−")

    def where(self, hazard: Hazard) -> str:
        """Where it is, as a list."""
        return "; ".join(self._where(hazard))

    def _where(self, hazard: Hazard) -> Iterator[str]:
        yield from (f"zone {one_line(zone)}" for zone in hazard.zones)
        yield from (self._places[place] for place in hazard.places)
        yield from (f"from {self._places[start]} to {self._places[end]}" for start, end in hazard.routes)
        if hazard.centre is not None:
            at = ", ".join(f"{each:g}" for each in hazard.centre).replace("-", "−")
            body_m, settings = self._settings.checks.body_m, self._settings
            body = f" (and {measure(body_m, 'm', settings, 'up')} for the body)" if body_m else ""
            yield f"within {measure(hazard.radius_m or 0.0, 'm', settings, 'up')}{body} of x, y, z = {at} m"
