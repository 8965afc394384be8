"""How likely it is to fit, and what changed since the baseline."""

from __future__ import annotations

from planning_kit.explore.odds.odds import TimedOdds
from planning_kit.explore.odds.tables import NO_PLAN
from planning_kit.explore.revising.revisions import TimedComparison
from planning_kit.inputs.times import pet_label
from planning_kit.show.pack.content import Column, Section, Table, cell_of, table_of

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
