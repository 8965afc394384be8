"""From a plan to the content of its pack: sections in order, facts, the stamp of every page.

Here are also the sections that are no list of the plan itself: assumptions and limits with their sources and
what the method leaves out, how likely it is to fit, and what changed since the baseline.
"""

import platform
from collections.abc import Iterator, Mapping
from dataclasses import fields
from functools import partial
from importlib.metadata import PackageNotFoundError, version

import pandas as pd

from planning_kit.campaign.campaign import Around
from planning_kit.explore.comparison import TimedComparison
from planning_kit.explore.odds.odds import TimedOdds
from planning_kit.explore.odds.odds_tables import BROKEN, NOT_KNOWN
from planning_kit.inputs import format as fmt
from planning_kit.inputs.fields import columns_of
from planning_kit.inputs.setting_records import CONSUMABLES, UsedBefore
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.sign_offs import CURRENT, SIGN_OFF
from planning_kit.inputs.times import gmt_label
from planning_kit.plan.activities import summarise
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing import crew_line, retimed_lines
from planning_kit.show.pack.cards import configuration_section, responses_section
from planning_kit.show.pack.content import Cell, Column, Pack, Section, Table, percent, pet, table_of
from planning_kit.show.pack.handover_page import handover_sections
from planning_kit.show.pack.inside import inside_section
from planning_kit.show.pack.key_moments import map_section
from planning_kit.show.pack.lists import all_lists, cautions_section, tightest_section
from planning_kit.show.pack.pockets import pocket_section
from planning_kit.show.pack.procedure_page import procedure_section, summary_section
from planning_kit.show.pack.suit_picture import suit_section
from planning_kit.show.pack.timeline import timeline_section
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
    ("Orbit", "SGP4 from the scenario's elements, or its ephemeris interpolated as it says. Any later "
              "reboost that no ephemeris holds voids the windows.",
     "Hoots and Roehrich, Spacetrack Report 3; Vallado et al., AIAA 2006-6753"),
    ("Window uncertainty", f"Assumed: {FRESH_ELEMENTS_S:g} s for fresh elements, "
                           f"{SEMI_MAJOR_AXIS_ERROR_KM * 1000:g} m of semi-major axis, "
                           f"{DRAG_ERROR_FRACTION:.0%} of the drag.", "assumptions of the package"),
    ("Links", "A relay is in view when the Earth and its mask do not hide it. Antenna blockage by the "
              "station itself is left out.", "geometry; mask from the scenario"),
    ("Suits", "Steady metabolic rates by exertion; oxygen and CO2 from energy and respiratory quotient. "
              "Leaks, thermal environment and the person's day are left out.",
     "Weir, Journal of Physiology 109, 1949 (from memory)"),
    ("Way home", "From where each one is, along the fastest routes, alone or carried by the partner, hook "
                 "moves and ingress included. What makes the step under way safe comes first, whole at every "
                 "minute of it: at once (abort) against the emergency oxygen, in good order (terminate) "
                 "against the suits and the hard limit; in a rescue that of both. A step that says nothing "
                 "takes none. Help comes, and brings home, only where places and routes allow a rescue.",
     "common practice, no source"),
    ("Hazards", "Asked of each crew member at work, on the way and waiting, along straight lines or the "
                "points of a route, and of the way home of each alone. What is not known counts as inside. "
                "While a part of the station turns, its places stay where the tables have them.", "scenario"),
    ("Hardware", "What the takes and leaves of the steps say, in the order of their times. What the tables "
                 "do not say is not assumed.", "scenario"),
)


def assumptions_section(plan: TimedPlan) -> Section:
    """Limits and settings with their sources, the orbit message, and the method with what it neglects."""
    elements, settings = plan.scenario.elements, plan.scenario.settings
    given = (("limits", settings.limits), ("airlock", settings.airlock), ("checks", settings.checks))
    return Section("assumptions", "Assumptions and limits", (), (
        table_of([{"about": field.about, "name": field.name,
                   "value": _text(getattr(values, field.name)) + (  # beside what follows from the plan
                       f": {plan.hard_limit.label}" if getattr(values, field.name) == CONSUMABLES else ""),
                   "unit": field.unit,
                   "source": values.sources.get(field.name) or "no source given"}
                  for section, values in given for field in fmt.SECTION_BY_NAME[section].fields],
                 "Limits", "Limits and where each comes from", Column("Limit", "name", 1.2),
                 Column("What it is", "about", 2.5), Column("Value", "value", 0.6),
                 Column("Unit", "unit", 0.5), Column("Source", "source", 2)),
        Table("Settings", "Settings of the scenario", (Column("Section"), Column("Key", share=1.4),
              Column("Value", share=1.4), Column("Unit", share=0.6), Column("What it is", share=3)),
              tuple(_settings(plan))),
        Table("Elements", f"Orbit message: {plan.scenario.settings.orbit}",
              (Column("Field"), Column("Value", share=3)),
              tuple((each.name, str(getattr(elements, each.name))) for each in fields(elements))),
        Table("Method", "How it is computed, and what is left out",
              (Column("What", share=0.8), Column("Assumption", share=4), Column("Source", share=2)), METHOD),
    ))


def _settings(plan: TimedPlan) -> Iterator[tuple[Cell, ...]]:
    settings = plan.scenario.settings
    yield from _of_section("lighting", vars(settings))
    yield from _of_section("exertion_w", settings.exertion_w)
    for crew, suit in settings.suits.items():
        yield from _of_section("suit", vars(suit), f"suit {crew}")
        yield from ((f"suit {crew}", f"used_before.{field.name}",
                     _text(getattr(suit.used_before, field.name)), field.unit, field.about)
                    for field in columns_of(UsedBefore))
    yield from _of_section("relays", vars(settings.relays) if settings.relays else {})
    yield from _of_section("odds", vars(settings.odds))


def _of_section(name: str, values: Mapping[str, object], shown_as: str = "") -> Iterator[tuple[Cell, ...]]:
    known = fmt.SECTION_BY_NAME[name].by_name
    for key, value in values.items():
        if key in known:
            yield shown_as or name, key, _text(value), known[key].unit, known[key].about


def _text(value: object) -> str:
    if value is None or value == "":
        return _NOT_GIVEN
    if isinstance(value, tuple):
        return " ".join(map(_text, value))
    return f"{value:g}" if isinstance(value, int | float) else str(value)


_ITEMS = {BROKEN: "a window overrun or a clock broken, as listed below"}


def odds_section(chances: TimedOdds | str) -> Section:
    """Shares of the sampled outings, with their standard errors; or why there are none."""
    if isinstance(chances, str):
        return Section("odds", "Odds", (f"Not computed: {chances}",))
    chance = partial(percent, unknown=NOT_KNOWN)
    share = (Column("P, %", chance("p"), digits=1), Column("Standard error, %", chance("se"), digits=1))
    words = (f"{chances.samples} sampled outings, seed {chances.seed}: the same on every run. Durations vary "
             "between low and high, together as [odds] says; what else can go wrong is not in it. Nobody in "
             "a sample knows how long anything will take: a step once begun is finished wherever its window "
             "ends, and what cannot be done any more is given up.",)
    return Section("odds", "Odds", words, (
        table_of(chances.summary, "Odds", "The outing as a whole",
                 Column("What", lambda row: _ITEMS.get(row["item"], row["item"]), 3), *share),
        table_of(chances.tasks, "Odds tasks", "Each task done", Column("Task", "task", 0.6),
                 Column("Title", "title", 2.5), Column("Need", "need"),
                 Column("Done, %", chance("p_done"), digits=1),
                 Column("By planned limit, %", chance("p_planned"), digits=1),
                 Column("By hard limit, %", chance("p_hard"), digits=1),
                 Column("Standard error, %", chance("p_hard_se"), digits=1),
                 Column("Dropped, %", chance("p_dropped"), digits=1),
                 Column("Put back, %", chance("p_put_back"), digits=1)),
        table_of(chances.windows, "Odds windows", "Each planned window caught",
                 Column("Step or group", "step"), Column("Window", "window"),
                 Column("Planned PET", pet("planned_start_min")), *share,
                 Column("Overrun, %", chance("p_overrun"), digits=1)),
        table_of(chances.broken, "Odds broken", "What is broken in samples",
                 Column("What", "reason", 4), *share),
        table_of(chances.clocks, "Odds clocks", "Each clock", Column("From", "first_step"),
                 Column("To", "then_step"), Column("Greatest gap, min", "max_gap_min", digits=1),
                 Column("Broken, %", chance("p_broken"), digits=1),
                 Column("Standard error, %", chance("se"), digits=1),
                 Column("Over, mean min", "over_mean_min", digits=1),
                 Column("Over, most min", "over_max_min", digits=1, side="up")),
        table_of(chances.finish, "Odds finish", "When both are inside",
                 Column("Share of outings, %", chance("quantile"), digits=0), Column("Inside by PET", "end"),
                 Column("Standard error, min", "se_min", digits=1)),
    ))


def changes_section(revision: TimedComparison | None) -> Section:
    """The verdict list, then inputs, steps, findings and margins; without a baseline only that."""
    if revision is None:
        return Section("changes", "Changes since the baseline", ("No baseline was given.",))
    return Section("changes", "Changes since the baseline", (
        f"Baseline digest {revision.a.digest}.", revision.overall), (
        table_of(revision.verdict, "Verdict", "For the reviewer, worst first",
                 Column("Verdict", "verdict", 0.6), Column("About", "about", 0.8),
                 Column("What", "words", 6)),
        table_of(revision.inputs, "Changed inputs", "Inputs that changed", Column("Table", "table", 0.8),
                 Column("Row", "row", 0.8), Column("Change", "change", 0.7), Column("In words", "words", 5)),
        table_of(revision.times, "Moved steps", "Steps that moved", Column("Step", "step", 0.6),
                 Column("Title", "title", 3), Column("Change", "change", 0.8),
                 Column("Was PET", pet("start_a_min"), 0.7), Column("Is PET", pet("start_b_min"), 0.7),
                 Column("Moved, min", "moved_min", 0.8, 1), Column("Was held by", "held_by_a", 1.2),
                 Column("Held by", "held_by_b", 1.2)),
        table_of(revision.findings, "Changed findings", "Findings that came or went",
                 Column("Change", "change", 0.7), Column("Severity", "severity", 0.7),
                 Column("Check", "check", 0.8), Column("Rule", "rule", 0.8), Column("Step", "step", 0.5),
                 Column("Finding", "message", 5)),
        table_of(revision.margins, "Changed margins", "Margins beside each other",
                 Column("Margin", "margin", 2.5), Column("Crew", "crew", 0.6), Column("Unit", "unit", 0.7),
                 Column("Baseline", "a", digits=1, side="down"), Column("Now", "b", digits=1, side="down"),
                 Column("Change", "change", digits=1), Column("Was at", "at_a"), Column("Is at", "at_b"))))


_PACKAGES = ("planning-kit", "numpy", "pandas", "scipy", "skyfield", "sgp4")


def assemble(plan: TimedPlan, chances: TimedOdds | str, revision: TimedComparison | None,
             around: Around = (None, None)) -> Pack:
    """The content of the pack of ``plan``; ``chances`` are its odds, or the reason why there are none."""
    settings, package = plan.scenario.settings, versions().split(", ")[1]
    responses = responses_section(plan)
    sections = (tightest_section(plan), summary_section(plan), timeline_section(plan), suit_section(plan),
                cautions_section(plan), procedure_section(plan), inside_section(plan), responses,
                configuration_section(plan), map_section(plan), *all_lists(plan), odds_section(chances),
                assumptions_section(plan), changes_section(revision), *handover_sections(around),
                _reviews_section(plan))
    return Pack(
        title=one_line(settings.title) or "Outing", station=one_line(settings.station),
        facts=_facts(plan, revision), sections=sections,
        stamp=f"inputs {plan.scenario.digest[:12]} · PET 0 {plan.pet_zero:%Y-%m-%dT%H:%MZ} · {package}",
        pockets=tuple(pocket_section(plan, crew) for crew in plan.travels),
        cues=(responses,) if plan.scenario.records.responses else (),
    )


def _facts(plan: TimedPlan, revision: TimedComparison | None) -> tuple[tuple[str, str], ...]:
    settings, elements = plan.scenario.settings, plan.scenario.elements
    own, changes = _other_pet_zero(plan), "; ".join(one_line(change.words) for change in plan.history)
    # Of a re-timed plan, whose own inputs hold the log: the digest of what the crew took outside, too.
    planned = None if plan.outside is None else plan.outside.planned.scenario.digest
    facts = [
        *((str(item), str(value)) for item, value in summarise(plan, plan.lanes).itertuples(index=False)),
        ("Crew", crew_line(plan) or None),
        ("Findings", OpenFindings(plan).counted),
        ("Not the scenario's PET 0", f"that is {own}" if own else None),
        *(("Re-timed", line) for line in retimed_lines(plan)),
        ("Changed from the scenario", changes or None),
        ("Against the baseline", None if revision is None else revision.overall),
        ("Signed off", "; ".join(
            f"{one_line(row['by'])}, {one_line(row['at'])}: {row['state']}"
            for row in _reviews_of(plan).to_dict("records") if row["kind"] == SIGN_OFF) or "by nobody yet"),
        ("Purpose", one_line(settings.summary) or _NOT_GIVEN),
        ("Elements", f"{one_line(elements.object_name)} of {elements.epoch:%Y-%m-%dT%H:%M:%SZ}"),
        ("Input digest (SHA-256)", plan.scenario.digest),
        ("Digest before the log", planned),
        ("Versions", versions()),
    ]
    return tuple((name, value) for name, value in facts if value is not None)


def _other_pet_zero(plan: TimedPlan) -> str:
    """The scenario's own PET 0 where the plan has another one; "" where it has the same."""
    own = plan.scenario.settings.pet_zero_utc
    return "" if plan.pet_zero == own else f"{own:%Y-%m-%d} GMT {gmt_label(own)}"


def _reviews_of(plan: TimedPlan) -> pd.DataFrame:
    """The reviews of the scenario; what was reviewed with its own PET 0 says nothing of another one."""
    table, own = plan.scenario.reviews, _other_pet_zero(plan)
    if own:
        table["state"] = [f"of the scenario's PET 0 ({own}), not of this one" if state == CURRENT else state
                          for state in table["state"]]
    return table


def versions() -> str:
    """The versions of what computed the pack."""
    told = [f"Python {platform.python_version()}"]
    for name in _PACKAGES:
        try:
            told.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            told.append(f"{name} (not installed as a package)")
    return ", ".join(told)


def _reviews_section(plan: TimedPlan) -> Section:
    table = table_of(
        _reviews_of(plan), "Reviews", "Notes and sign-offs beside the scenario", Column("Kind", "kind", 0.7),
        Column("By", "by"), Column("At (UTC)", "at", 1.2), Column("About", "about", 0.8),
        Column("Words", "words", 4), Column("State", "state", 1.6), Column("Digest reviewed", "digest", 2))
    return Section("reviews", "Reviewers' notes and sign-offs", (
        "An entry is stale when the scenario no longer says what was reviewed. No signature: a record.",
    ), (table,))
