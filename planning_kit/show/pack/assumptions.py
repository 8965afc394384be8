"""Assumptions and limits with their sources, and what the method leaves out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields

from planning_kit.inputs import format as fmt
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.pack.content import Cell, Column, Section, Table
from planning_kit.sky.uncertainty import DRAG_ERROR_FRACTION, FRESH_ELEMENTS_S, SEMI_MAJOR_AXIS_ERROR_KM

_NOT_GIVEN = "not given"

METHOD = (
    ("Times", "The earliest plan that keeps every rule, on likely durations: a fixed point of lower bounds. "
              "Nothing is decided by chance.",
     "Dechter, Meiri, Pearl, Temporal constraint networks, Artificial Intelligence 49, 1991"),
    ("Travel", "The fastest chain of routes at each one's own steady speed. Fatigue, load and light do not "
               "slow it, unless the scenario's travel times do.", "Dijkstra's shortest paths"),
    ("Night", "The Sun's disc wholly behind the ellipsoidal Earth; day: wholly clear. Refraction and airglow "
              "are left out (seconds).", "Sun's radius: IAU 2015 resolution B3"),
    ("Orbit", "SGP4 from the scenario's elements. Any reboost after their epoch voids the windows.",
     "Hoots and Roehrich, Spacetrack Report 3; Vallado et al., AIAA 2006-6753"),
    ("Window uncertainty", f"Assumed: {FRESH_ELEMENTS_S:g} s for fresh elements, "
                           f"{SEMI_MAJOR_AXIS_ERROR_KM * 1000:g} m of semi-major axis, "
                           f"{DRAG_ERROR_FRACTION:.0%} of the drag.", "assumptions of the package"),
    ("Links", "A relay is in view when the Earth and its mask do not hide it. Antenna blockage by the "
              "station itself is left out.", "geometry; mask from the scenario"),
    ("Suits", "Steady metabolic rates by exertion; oxygen and CO2 from energy and respiratory quotient. "
              "Leaks, thermal environment and the person's day are left out.",
     "Weir, Journal of Physiology 109, 1949 (from memory)"),
    ("Way back", "From where each one is, along the fastest routes, alone or carried by the partner, "
                 "ingress included. Unhooking and making the worksite safe are in it only where the "
                 "scenario says so.",
     "common practice, no source"),
    ("Hardware", "What the takes and leaves of the steps say, in the order of their times. What the tables "
                 "do not say is not assumed.", "scenario"),
)


def assumptions_section(plan: TimedPlan) -> Section:
    """Limits and settings with their sources, the orbit message, and the method with what it neglects."""
    method = tuple((name, words, source) for name, words, source in METHOD)
    return Section("assumptions", "Assumptions and limits", (), (
        _limits(plan),
        Table("Settings", "Settings of the scenario", (Column("Section"), Column("Key", share=1.4),
              Column("Value", share=1.4), Column("Unit", share=0.6), Column("What it is", share=3)),
              tuple(_settings(plan))),
        _elements(plan),
        Table("Method", "How it is computed, and what is left out",
              (Column("What", share=0.8), Column("Assumption", share=4), Column("Source", share=2)), method),
    ))


def _limits(plan: TimedPlan) -> Table:
    limits, section = plan.scenario.settings.limits, fmt.SECTION_BY_NAME["limits"]
    rows: list[tuple[Cell, ...]] = [
        (field.name, field.about, _text(getattr(limits, field.name)), field.unit,
         limits.sources.get(field.name) or "no source given") for field in section.fields]
    return Table("Limits", "Limits and where each comes from",
                 (Column("Limit", share=1.2), Column("What it is", share=2.5), Column("Value", share=0.6),
                  Column("Unit", share=0.5), Column("Source", share=2)), tuple(rows))


def _settings(plan: TimedPlan) -> Iterator[tuple[Cell, ...]]:
    settings = plan.scenario.settings
    yield "lighting", "night_guard_s", _text(settings.night_guard_s), "s", "kept free at each end of a window"
    yield from _of_section("exertion_w", settings.exertion_w)
    for crew, suit in settings.suits.items():
        values = {each.name: getattr(suit, each.name) for each in fields(suit)}
        yield from _of_section("suit", values, f"suit {crew}")
    relays = settings.relays
    if relays is not None:
        longitudes = " ".join(f"{each:g}" for each in relays.longitudes_deg_east)
        yield from _of_section("relays", {"longitudes_deg_east": longitudes, "mask_deg": relays.mask_deg})
    odds = settings.odds
    yield from _of_section("odds", {each.name: getattr(odds, each.name) for each in fields(odds)})


def _of_section(name: str, values: Mapping[str, object], shown_as: str = "") -> Iterator[tuple[Cell, ...]]:
    known = fmt.SECTION_BY_NAME[name].by_name
    for key, value in values.items():
        if key in known:
            yield shown_as or name, key, _text(value), known[key].unit, known[key].about


def _text(value: object) -> str:
    if value is None or value == "":
        return _NOT_GIVEN
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _elements(plan: TimedPlan) -> Table:
    elements = plan.scenario.elements
    rows = tuple((each.name, str(getattr(elements, each.name))) for each in fields(elements))
    return Table("Elements", f"Orbit message: {plan.scenario.settings.orbit}",
                 (Column("Field"), Column("Value", share=3)), rows)
