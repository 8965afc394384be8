"""From a plan to the content of its pack: sections in order, facts, the stamp of every page."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

import pandas as pd

from planning_kit.explore.odds.odds import TimedOdds
from planning_kit.explore.revising.revisions import TimedComparison
from planning_kit.inputs.sign_offs import CURRENT, SIGN_OFF
from planning_kit.inputs.times import gmt_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_ends import retimed_lines
from planning_kit.show.escape import one_line
from planning_kit.show.open_findings import OpenFindings
from planning_kit.show.pack.assumptions import assumptions_section
from planning_kit.show.pack.changes import changes_section, odds_section
from planning_kit.show.pack.content import Column, Pack, Section, table_of
from planning_kit.show.pack.map_picture import map_section
from planning_kit.show.pack.pockets import pocket_section
from planning_kit.show.pack.procedure import procedure_section, summary_section, timeline_section
from planning_kit.show.pack.tables import all_lists

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
