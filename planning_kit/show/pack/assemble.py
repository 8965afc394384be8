"""From a plan to the content of its pack: sections in order, facts, the stamp of every page.

Assumptions and limits with their sources, and what the method leaves out.

How likely it is to fit, and what changed since the baseline.
"""

from __future__ import annotations

import platform
from collections.abc import Iterator, Mapping
from dataclasses import fields
from importlib.metadata import PackageNotFoundError, version

import pandas as pd

from planning_kit.explore.odds.odds import TimedOdds
from planning_kit.explore.odds.odds_tables import NO_PLAN
from planning_kit.explore.revising.revisions import TimedComparison
from planning_kit.inputs import format as fmt
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.sign_offs import CURRENT, SIGN_OFF
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing import retimed_lines
from planning_kit.show.pack.content import Cell, Column, Pack, Section, Table, cell_of, table_of
from planning_kit.show.pack.lists import all_lists
from planning_kit.show.pack.map_picture import map_section
from planning_kit.show.pack.pockets import pocket_section
from planning_kit.show.pack.procedure import procedure_section, summary_section, timeline_section
from planning_kit.show.wording import OpenFindings
from planning_kit.sky.orbit import DRAG_ERROR_FRACTION, FRESH_ELEMENTS_S, SEMI_MAJOR_AXIS_ERROR_KM

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


_ITEMS = {NO_PLAN: "no plan: a greatest gap or a window cannot be kept"}


def odds_section(chances: TimedOdds) -> Section:
    """Shares of the sampled outings, with their standard errors."""
    percent = [Column("P, %", 1), Column("Standard error, %", 1)]
    summary = tuple((_ITEMS.get(row["item"], row["item"]), 100 * row["p"], 100 * row["se"])
                    for row in chances.summary.to_dict("records"))
    tasks = tuple((row["task"], row["title"], row["need"], *(100 * row[name] for name in (
        "p_planned", "p_hard", "p_hard_se", "p_dropped"))) for row in chances.tasks.to_dict("records"))
    windows = tuple((row["step"], row["window"], pet_label(row["planned_start_min"]), 100 * row["p"],
                     100 * row["se"]) for row in chances.windows.to_dict("records"))
    finish = tuple((100 * row["quantile"], row["end"], cell_of(row["se_min"]))
                   for row in chances.finish.to_dict("records"))
    words = (f"{chances.samples} sampled outings, seed {chances.seed}: the same on every run. Durations vary "
             "between low and high, together as [odds] says; what else can go wrong is not in it.",)
    open_end = sum(row["p"] for row in chances.summary.to_dict("records") if row["item"] == NO_PLAN)
    ends = ("When both are inside; a sample without a plan is never inside: a share that includes such "
            "samples has no time (–)" if open_end else "When both are inside")
    return Section("odds", "Odds", words, (
        Table("Odds", "The outing as a whole", (Column("What", share=3), *percent), summary),
        Table("Odds tasks", "Each task done",
              (Column("Task", share=0.6), Column("Title", share=2.5), Column("Need"),
               Column("By planned limit, %", 1), Column("By hard limit, %", 1),
               Column("Standard error, %", 1),
               Column("Dropped, %", 1)), tasks),
        Table("Odds windows", "Each planned window caught",
              (Column("Step or group"), Column("Window"), Column("Planned PET"), *percent), windows),
        Table("Odds finish", ends,
              (Column("Share of outings, %", 0), Column("Inside by PET"), Column("Standard error, min", 1)),
              finish),
    ))


def changes_section(revision: TimedComparison | None) -> Section:
    """The verdict list, then inputs, steps, findings and margins; without a baseline only that."""
    if revision is None:
        return Section("changes", "Changes since the baseline", ("No baseline was given.",))
    inputs = table_of(revision.inputs, "Changed inputs", "Inputs that changed",
                      [("table", Column("Table", share=0.8)), ("row", Column("Row", share=0.8)),
                       ("change", Column("Change", share=0.7)), ("words", Column("In words", share=5))])
    return Section("changes", "Changes since the baseline",
                   (f"Baseline digest {revision.a.digest}.", revision.overall),
                   (table_of(revision.verdict, "Verdict", "For the reviewer, worst first",
                             [("verdict", Column("Verdict", share=0.6)),
                              ("about", Column("About", share=0.8)),
                              ("words", Column("What", share=6))]),
                    inputs, _times(revision), _findings(revision), _margins(revision)))


def _times(revision: TimedComparison) -> Table:
    rows = tuple((row["step"], row["title"], row["change"], pet_label(row["start_a_min"]),
                  pet_label(row["start_b_min"]), cell_of(row["moved_min"]), row["held_by_a"],
                  row["held_by_b"])
                 for row in revision.times.to_dict("records"))
    return Table("Moved steps", "Steps that moved",
                 (Column("Step", share=0.6), Column("Title", share=3), Column("Change", share=0.8),
                  Column("Was PET", share=0.7), Column("Is PET", share=0.7), Column("Moved, min", 1, 0.8),
                  Column("Was held by", share=1.2), Column("Held by", share=1.2)), rows)


def _findings(revision: TimedComparison) -> Table:
    return table_of(revision.findings, "Changed findings", "Findings that came or went",
                    [("change", Column("Change", share=0.7)), ("severity", Column("Severity", share=0.7)),
                     ("check", Column("Check", share=0.8)), ("rule", Column("Rule", share=0.8)),
                     ("step", Column("Step", share=0.5)),
                     ("message", Column("Finding", share=5))])


def _margins(revision: TimedComparison) -> Table:
    return table_of(revision.margins, "Changed margins", "Margins beside each other",
                    [("margin", Column("Margin", share=2.5)), ("crew", Column("Crew", share=0.6)),
                     ("unit", Column("Unit", share=0.7)), ("a", Column("Baseline", 1)),
                     ("b", Column("Now", 1)),
                     ("change", Column("Change", 1)), ("at_a", Column("Was at")), ("at_b", Column("Is at"))])


_PACKAGES = ("planning-kit", "numpy", "pandas", "scipy", "skyfield", "sgp4")


def assemble(plan: TimedPlan, chances: TimedOdds | str | None, revision: TimedComparison | None) -> Pack:
    """The content of the pack of ``plan``; ``chances`` are its odds, or the reason why there are none."""
    settings = plan.scenario.settings
    sections = [summary_section(plan), timeline_section(plan), map_section(plan), procedure_section(plan),
                *all_lists(plan)]
    if isinstance(chances, str):
        sections.append(Section("odds", "Odds", (f"Not computed: {chances}",)))
    elif chances is not None:
        sections.append(odds_section(chances))
    sections += [assumptions_section(plan), changes_section(revision), _reviews_section(plan)]
    return Pack(
        title=one_line(settings.title) or "Outing", station=one_line(settings.station),
        facts=_facts(plan, revision), sections=tuple(sections), stamp=_stamp(plan),
        pockets=tuple(pocket_section(plan, crew) for crew in plan.travels),
    )


def _facts(plan: TimedPlan, revision: TimedComparison | None) -> tuple[tuple[str, str], ...]:
    settings, elements = plan.scenario.settings, plan.scenario.elements
    told = [(str(row["item"]), str(row["value"])) for row in plan.summary.to_dict("records")]
    told.insert(2, ("PET 0:00 is", one_line(settings.pet_zero) or "not given"))
    return (
        *told, ("Findings", OpenFindings(plan).counted),
        *([("Not the scenario's egress", f"that is {own}")] if (own := _other_egress(plan)) else []),
        *(("Re-timed", line) for line in retimed_lines(plan)),
        *([("Changed from the scenario", changes)] if (changes := _changes(plan)) else []),
        *([("Against the baseline", revision.overall)] if revision is not None else []),
        ("Signed off", _signed_off(plan)),
        ("Purpose", one_line(settings.summary) or "not given"),
        ("Elements", f"{one_line(elements.object_name)} of {elements.epoch:%Y-%m-%dT%H:%M:%SZ}"),
        ("Input digest (SHA-256)", plan.scenario.digest),
        *_planned_digest(plan),
        ("Versions", versions()),
    )


def _planned_digest(plan: TimedPlan) -> list[tuple[str, str]]:
    """Of a re-timed plan, whose own inputs hold the log: the digest of what the crew took outside."""
    return [] if plan.outside is None else [
        ("Digest before the log", plan.outside.planned.scenario.digest)]


def _changes(plan: TimedPlan) -> str:
    """What the what-ifs behind this plan changed."""
    return "; ".join(one_line(change.words) for change in plan.history)


def _other_egress(plan: TimedPlan) -> str:
    """The scenario's own egress where the plan has another one; "" where it has the same."""
    own = plan.scenario.settings.egress
    return "" if plan.egress == own else f"{own:%Y-%m-%d} GMT {gmt_label(own)}"


def _reviews_of(plan: TimedPlan) -> pd.DataFrame:
    """The reviews of the scenario; what was reviewed with its own egress says nothing of another one."""
    table, own = plan.scenario.reviews, _other_egress(plan)
    if own:
        table["state"] = [f"of the scenario's egress ({own}), not of this one" if state == CURRENT else state
                          for state in table["state"]]
    return table


def _signed_off(plan: TimedPlan) -> str:
    """Who has signed off what this plan is made of, and who something else."""
    signed = _reviews_of(plan)
    signed = signed[signed["kind"] == SIGN_OFF]
    told = [f"{by}, {at}: {state}" for by, at, state in zip(
        signed["by"].map(one_line), signed["at"].map(one_line), signed["state"], strict=True)]
    return "; ".join(told) or "by nobody yet"


def versions() -> str:
    """The versions of what computed the pack."""
    told = [f"Python {platform.python_version()}"]
    for name in _PACKAGES:
        try:
            told.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            told.append(f"{name} (not installed as a package)")
    return ", ".join(told)


def _stamp(plan: TimedPlan) -> str:
    """On every page: what inputs, which egress, which version."""
    package = versions().split(", ")[1]
    return f"inputs {plan.scenario.digest[:12]} · egress {plan.egress:%Y-%m-%dT%H:%MZ} · {package}"


def _reviews_section(plan: TimedPlan) -> Section:
    table = table_of(_reviews_of(plan), "Reviews", "Notes and sign-offs beside the scenario", [
        ("kind", Column("Kind", share=0.7)), ("by", Column("By")), ("at", Column("At (UTC)", share=1.2)),
        ("about", Column("About", share=0.8)), ("words", Column("Words", share=4)),
        ("state", Column("State", share=1.6)), ("digest", Column("Digest reviewed", share=2))])
    return Section("reviews", "Reviewers' notes and sign-offs", (
        "An entry is stale when the scenario no longer says what was reviewed. No signature: a record.",
    ), (table,))
