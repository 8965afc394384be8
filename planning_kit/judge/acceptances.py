"""Which findings of a plan somebody has accepted: the findings as people are told them.

An acceptance (a row of ``accepted.csv``) is of one finding by its `identity`, at the numbers that the row
gives. It holds while the margin is not worse and the limit not looser than then: against a looser limit a
margin looks better and nothing is safer, and a concern that has become a stop is held against another limit.
Of a finding without numbers it holds as long as there is such a finding. The severity stays. The file is read
each time, so that nothing counts that was deleted; where it cannot be read, nothing counts and a concern says
so. A re-timed plan inherits none: its findings say who had accepted the like before the outing.

Rows meet findings one to one: the worst finding first, by the closest row that covers it. Searches and
comparisons ask `all_checks.findings_of`, which knows nothing of this.

Rules of ``accepted``: ``no-such-finding`` (about the rule accepted), ``unreadable``.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import reviewed_of
from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.sign_offs import Acceptance, acceptances_of, add_acceptance, numbers_text
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import CONCERN, REMARK, Finding, findings_in, findings_table, identity
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.timed import TimedPlan

CHECK = "accepted"
_NAMES = ("check", "rule", "about", "crew", "step")
HOLDS, REPLACED = "holds", "not covered any more; another row accepts it"
ASK_AGAIN, NO_SUCH = "given before the outing: ask again", "the plan has no such finding"
_LONGEST_NAME, _LONGEST_FAULTS = 80, 400


@dataclass(frozen=True)
class Ruling:
    """What has become of an acceptance: its state in words, and which finding it met (by place), if any."""

    acceptance: Acceptance
    state: str
    at: int | None = None


def told_findings(plan: TimedPlan) -> pd.DataFrame:
    """Everything found wrong or worth knowing, worst first.

    Columns: ``severity`` (stop, concern, remark), ``check``, ``rule`` (the one rule of the check that is
    broken), ``about`` (the item, place, inhibit, route, ... by id), ``crew``, ``step``, ``start_min``
    (PET), ``message``, ``source``, then ``value``, ``limit`` and ``margin`` where it has numbers, and
    ``accepted``: by whom, when and why, "" for what nobody has accepted (see ``accept``).
    No plan is checked twice; ``accepted.csv`` is read each time.
    """
    try:
        rulings = rulings_of(plan)
    except ScenarioError as error:
        problem = shortened(error.words, _LONGEST_FAULTS)
        return findings_table([*findings_in(findings_of(plan)), Finding(
            CONCERN, CHECK, "unreadable", message="accepted.csv cannot be used, so nothing counts as accepted"
            f": {problem}. Mend the file; scenario.accepted lists every fault")])
    if not rulings:
        return findings_of(plan)
    met = grouped((ruling.at, ruling) for ruling in rulings)
    found = findings_in(findings_of(plan))
    told = [_told(finding, met.get(at, ())) for at, finding in enumerate(found)]
    # Outside much of what was found is past: that is no old paper.
    lost = [_lost(each.acceptance) for each in rulings if each.state == NO_SUCH and plan.outside is None]
    return findings_table([*told, *lost])


def rulings_of(plan: TimedPlan) -> list[Ruling]:
    """What has become of each acceptance beside the plan's scenario, in the order of the file.

    Raises `ScenarioError` where the file cannot be read.
    """
    given = acceptances_of(plan.scenario.folder)
    found = grouped((identity(vars(finding)), (at, finding))
                    for at, finding in enumerate(findings_in(findings_of(plan))))
    names = (identity(vars(each) | dict(zip(("check", "rule"), each.rule.partition("/")[::2], strict=True)))
             for each in given)
    rulings = [ruling for name, papers in grouped(zip(names, given, strict=True)).items()
               for ruling in _matched(papers, found.get(name, []), plan.outside is None)]
    return sorted(rulings, key=lambda ruling: ruling.acceptance.row)


def _matched(papers: Sequence[Acceptance], found: Sequence[tuple[int, Finding]],
             is_planned: bool) -> Iterator[Ruling]:
    """The rulings within one identity."""
    if not found or not is_planned:
        for paper in papers:
            yield Ruling(paper, ASK_AGAIN if found else NO_SUCH, found[0][0] if found else None)
        return
    # NaN, a finding without numbers, is as good as any other: all within one identity have none.
    worst_first = sorted(found, key=lambda each: _number(each[1].margin))
    left, accepted = list(papers), set()
    for at, finding in worst_first:
        if fitting := [paper for paper in left if _covers(paper, finding)]:
            closest = max(fitting, key=lambda paper: _number(_then(paper, finding)[0]))
            left.remove(closest)
            accepted.add(at)
            yield Ruling(closest, HOLDS, at)
    # Further rows: of a second person for the same finding, or of when it was better.
    for paper in left:
        same = next((at for at, finding in worst_first if _covers(paper, finding)), None)
        still_open = next((each for each in worst_first if each[0] not in accepted), None)
        if same is not None:
            yield Ruling(paper, HOLDS, same)
        elif still_open is None:
            yield Ruling(paper, REPLACED)
        else:
            then = f"at {_against(paper.value, paper.limit)}" if math.isfinite(paper.value) else (
                "without numbers")
            now = _against(*_numbers(still_open[1]))
            yield Ruling(paper, f"{then}, now {now}: not covered", still_open[0])


def _number(value: float) -> float:
    return value if math.isfinite(value) else -math.inf


def _numbers(finding: Finding) -> tuple[float, float]:
    """Value and limit as an acceptance writes them; the margin and 0 where it does not lie between these."""
    apart = abs(finding.value - finding.limit)
    return (finding.margin, 0.0) if not abs(abs(finding.margin) - apart) < ROUNDING_MIN else (
        finding.value, finding.limit)


def _then(paper: Acceptance, finding: Finding) -> tuple[float, float]:
    """The margin that was accepted of a finding, and how much looser the limit is now; NaN without any."""
    value, limit = _numbers(finding)
    # Whether the limit is one that the value may not pass upwards, or downwards.
    sign = 1 if abs(finding.margin - (limit - value)) <= abs(finding.margin - (value - limit)) else -1
    return sign * (paper.limit - paper.value), sign * (limit - paper.limit)


def _covers(paper: Acceptance, finding: Finding) -> bool:
    """Whether a finding of the same identity is what was accepted, or less."""
    margin, eased = _then(paper, finding)
    # Without numbers in the row both comparisons are False.
    return math.isnan(finding.margin) or (finding.margin >= margin - ROUNDING_MIN and eased <= ROUNDING_MIN)


def _against(value: float, limit: float) -> str:
    return f"{value:.6g} against {limit:.6g}".replace("-", "−")


def _by(paper: Acceptance) -> str:
    return f"by {shortened(paper.by, _LONGEST_NAME)}, {paper.date}"


def _told(finding: Finding, rulings: Sequence[Ruling]) -> Finding:
    """The finding with who accepted it, or with an acceptance that does not cover it in its message."""
    if held := [each.acceptance for each in rulings if each.state == HOLDS]:
        return replace(finding, accepted="; ".join(f"{_by(each)}: {one_line(each.why)}" for each in held))
    notes = [f"Accepted before the outing {_by(each.acceptance)}: ask again" if each.state == ASK_AGAIN else
             f"Accepted {_by(each.acceptance)}, {each.state}" for each in rulings]
    return replace(finding, message=". ".join([finding.message, *notes]))


def _lost(paper: Acceptance) -> Finding:
    about = shortened(" ".join(part for part in (paper.about, paper.crew, paper.step) if part), _LONGEST_NAME)
    bracketed = f" ({about})" if about else ""
    return Finding(
        REMARK, CHECK, "no-such-finding", about=paper.rule, crew=paper.crew, step=paper.step,
        message=f"accepted.csv row {paper.row}: {paper.rule}{bracketed} was accepted {_by(paper)}, "
                "and the plan has no such finding: delete the row, or look for a wrong word in it",
        source="accepted.csv")


def accept(plan: TimedPlan, finding: object, by: str, why: str, when: object = None) -> pd.DataFrame:
    """Write down that somebody accepts a finding of the plan (see ``Plan.accept``, raises as it)."""
    scenario = plan.scenario
    if plan.outside is not None:
        raise ScenarioError.single("is asked of the plan before the outing; a re-timed plan inherits no "
                                   "acceptance: who decides outside must be asked again", table="accept")
    scenario.stop_if_happened("accept")
    if plan.pet_zero != scenario.settings.pet_zero_utc:
        raise ScenarioError.single(
            "this plan begins at another PET 0:00 than its scenario says; change the scenario, save it, and "
            "accept what its own plan finds", table="accept", column="pet_zero_utc",
            value=f"{plan.pet_zero:%Y-%m-%dT%H:%MZ}")
    asked = _asked_for(plan, finding)
    texts = {"rule": f"{asked.check}/{asked.rule}", "about": asked.about, "crew": asked.crew,
             "step": identity(vars(asked))[-1], **numbers_text(*_numbers(asked)), "by": by, "why": why}
    add_acceptance(reviewed_of(scenario), texts, when)
    return scenario.accepted


def _is_same(given: object, known: float) -> bool:
    return given == known or (given != given and known != known)


_HOW = ("give a row of plan.findings, such as plan.findings.iloc[0], or its check, rule, about, crew and "
        "step as a tuple")


def _asked_for(plan: TimedPlan, given: object) -> Finding:
    if isinstance(given, pd.Series):
        given = given.to_dict()
    row = dict(zip(_NAMES, given, strict=False)) if isinstance(given, tuple) and len(given) == 5 else given
    if not isinstance(row, Mapping) or not all(isinstance(row.get(name), str) for name in _NAMES):
        raise ScenarioError.single(f"is no finding; {_HOW}", table="accept", column="finding",
                                   value=type(given).__name__)
    found = findings_in(findings_of(plan))
    same = [each for each in found if identity(vars(each)) == identity(row) and all(
        name not in row or _is_same(row[name], getattr(each, name)) for name in ("value", "limit", "margin"))]
    if not same:
        raise ScenarioError.single(f"is no finding of this plan; {_HOW}", table="accept", column="finding",
                                   value=" ".join(row[name] for name in _NAMES if row[name]))
    if len({_numbers(each) for each in same}) > 1:
        raise ScenarioError.single("there are several of them; give the row of plan.findings", table="accept",
                                   column="finding", value=f"{row['check']}/{row['rule']}")
    return same[0]
