"""Proposals: better orders with their plans, what they change, and how far from the best they may be."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Generic, TypeVar

import pandas as pd

from planning_kit.explore.odds.odds import odds
from planning_kit.explore.propose.model import Requirement
from planning_kit.explore.propose.moves import Move
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, html_text
from planning_kit.inputs.times import pet_label
from planning_kit.judge.review import walk_min
from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan

MOVE_COLUMNS = ["kind", "crew", "what", "words"]
CLASH_COLUMNS = ["table", "row", "requirement"]
TABLE_COLUMNS = ["plan", "egress", "end_min", "gain_min", "walk_min", "p_planned", "p_hard", "left_out",
                 "changes", "new_concerns", "verdict"]
ODDS_SAMPLES = 2_000

P = TypeVar("P", bound=AnyPlan)
Faced = TypeVar("Faced", bound=AnyPlan)


@dataclass(frozen=True, eq=False, repr=False)
class Proposal(Generic[P]):
    """One better order. Its times are the timing's own: ``plan`` is ``scenario`` timed.

    ``end_min`` is the outing's end on likely durations, ``cushioned_min`` on those with the cushion that was
    asked for (the same without one), ``bound_min`` the least that the latter could be for any order under
    the same freedom, never above it (all PET minutes; proven to a second a link of the chain, for the
    solver counts in seconds);
    ``dropped`` are the tasks left out; ``is_proven`` says that neither more tasks nor an earlier end are
    possible;
    ``is_repeatable`` that no clock cut the search short; ``new_concerns`` counts those that the current plan
    does not have.
    """

    name: str
    scenario: Scenario
    plan: P
    current: P | None
    changes: tuple[Move, ...]
    dropped: frozenset[str]
    cushioned_min: float
    bound_min: float
    tasks_proven: bool
    end_proven: bool
    is_repeatable: bool
    new_concerns: int

    @property
    def end_min(self) -> float:
        """End of the outing, PET minutes."""
        return as_plan(self.plan).end_min

    @property
    def is_proven(self) -> bool:
        """Whether nothing better exists under the same freedom."""
        return self.tasks_proven and self.end_proven

    @property
    def verdict(self) -> str:
        """"proven best", or "best found" and how far from the best at most."""
        if self.is_proven:
            return "proven best"
        if not self.tasks_proven:
            return "best found; whether more tasks fit is not proven"
        return f"best found, at most {max(self.cushioned_min - self.bound_min, 0.0):.1f} min from best"

    @property
    def moves(self) -> pd.DataFrame:
        """What it changes against the current plan: ``kind``, ``crew``, ``what``, ``words``."""
        return TextTable([asdict(move) for move in self.changes], columns=MOVE_COLUMNS)

    @cached_property
    def p_planned(self) -> float:
        """Odds of keeping the planned limit."""
        return odds_of_limits(as_plan(self.plan))[0]

    @cached_property
    def p_hard(self) -> float:
        """Odds of keeping the hard limit."""
        return odds_of_limits(as_plan(self.plan))[1]

    def __repr__(self) -> str:
        return (f"<Proposal {self.name}: both inside at {pet_label(self.end_min)}, {len(self.changes)} "
                f"changes; odds {self.p_planned:.3f} for the planned limit, {self.p_hard:.3f} for the hard "
                f"one; {self.verdict}>")


@dataclass(frozen=True, eq=False, repr=False)
class Proposals(Generic[P]):
    """What `propose` found, best first; empty where nothing better was found or nothing fits.

    ``current`` is the plan as it stands (None where it has none); ``verdict`` says in a sentence how it went;
    ``clashing`` are requirements that cannot be met together, where nothing fits.
    """

    current: P | None
    found: tuple[Proposal[P], ...]
    verdict: str
    clashing: tuple[Requirement, ...] = ()
    is_repeatable: bool = True
    rejected: int = 0

    def __len__(self) -> int:
        return len(self.found)

    def __iter__(self) -> Iterator[Proposal[P]]:
        return iter(self.found)

    def __getitem__(self, number: int) -> Proposal[P]:
        return self.found[number]

    def faced(self, face: Callable[[P], Faced]) -> Proposals[Faced]:
        """The same, with what ``face`` makes of each plan."""
        current = None if self.current is None else face(self.current)
        found = tuple(Proposal(each.name, each.scenario, face(each.plan), current, each.changes, each.dropped,
                               each.cushioned_min, each.bound_min, each.tasks_proven, each.end_proven,
                               each.is_repeatable, each.new_concerns) for each in self.found)
        return Proposals(current, found, self.verdict, self.clashing, self.is_repeatable, self.rejected)

    @property
    def best(self) -> Proposal[P] | None:
        """The best proposal, or None."""
        return self.found[0] if self.found else None

    @property
    def clash(self) -> pd.DataFrame:
        """Requirements that cannot be met together, if so: ``table``, ``row``, ``requirement``."""
        rows = [(each.table, each.row, each.words) for each in self.clashing]
        return TextTable(rows, columns=CLASH_COLUMNS)

    @property
    def table(self) -> pd.DataFrame:
        """The current plan and each proposal, a row each.

        ``plan``, ``egress`` (UTC), ``end_min`` (PET), ``gain_min`` (earlier end), ``walk_min`` (both crew
        members), ``p_planned`` and ``p_hard`` (odds of keeping the limits, `ODDS_SAMPLES` samples),
        ``left_out`` (tasks), ``changes`` (how many), ``new_concerns``, ``verdict``.
        """
        return self._table.copy()

    @cached_property
    def _table(self) -> pd.DataFrame:
        current = None if self.current is None else as_plan(self.current)
        rows = [] if current is None else [_row("current", current, current, None)]
        rows += [_row(each.name, as_plan(each.plan), current, each) for each in self.found]
        return TextTable(rows, columns=TABLE_COLUMNS)

    def __repr__(self) -> str:
        return f"<Proposals: {self.verdict}>" if self.best is None else (
            f"<Proposals: {self.verdict}; odds {self.best.p_planned:.3f} for the planned limit, "
            f"{self.best.p_hard:.3f} for the hard one>")

    def _repr_html_(self) -> str:
        table = self.table._repr_html_() or ""  # type: ignore[operator]
        return f"<p>{html_text(self.verdict)}</p>{table}"


def odds_of_limits(plan: TimedPlan, samples: int = ODDS_SAMPLES) -> tuple[float, float]:
    """How likely a plan keeps the planned and the hard limit; equal samples have equal random numbers."""
    ends, limits = odds(plan, samples).tally.end_min, plan.scenario.settings.limits
    return float((ends <= limits.planned_min).mean()), float((ends <= limits.hard_min).mean())


def _row(name: str, plan: TimedPlan, current: TimedPlan | None,
         proposal: Proposal[P] | None) -> dict[str, object]:
    p_planned, p_hard = (proposal.p_planned, proposal.p_hard) if proposal else odds_of_limits(plan)
    gain = current.end_min - plan.end_min if current else float("nan")
    return {
        "plan": name, "egress": pd.Timestamp(plan.egress), "end_min": round(plan.end_min, 1),
        "gain_min": round(gain, 1), "walk_min": round(walk_min(plan), 1),
        "p_planned": round(p_planned, 3), "p_hard": round(p_hard, 3),
        "left_out": " ".join(sorted(proposal.dropped)) if proposal else "",
        "changes": len(proposal.changes) if proposal else 0,
        "new_concerns": proposal.new_concerns if proposal else 0,
        "verdict": proposal.verdict if proposal else "",
    }
