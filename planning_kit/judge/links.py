"""Check: steps that need a link and fall in a gap.

Rules: ``not-covered``; ``no-relays`` (about the steps that need a link).
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan, nan

from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.plan.needs import LinkCover, gaps_text
from planning_kit.plan.timed import TimedPlan

CHECK = "links"


def check_links(plan: TimedPlan) -> Iterator[Finding]:
    """A step with ``link`` yes or wait of which some part has no relay (concern)."""
    for cover in plan.link_covers:
        if cover.gaps:
            yield _gap(cover)


def check_link_data(plan: TimedPlan) -> Iterator[Finding]:
    """A remark when steps need a link and the scenario names no relay."""
    wanting = [step.step for step in plan.steps if step.link in ("yes", "wait")]
    if wanting and not plan.relays:
        yield Finding(
            REMARK, CHECK, "no-relays", " ".join(wanting), "", "", nan,
            f"links are not checked for {', '.join(wanting)}: the scenario names no relays ([relays] "
            "longitudes_deg_east)",
        )


def _gap(cover: LinkCover) -> Finding:
    if isnan(cover.next_cover_min):
        remedy = "no full coverage before the horizon: shorten the step or split it"
    else:
        remedy = (f"the next full coverage begins at {pet_label(cover.next_cover_min)} (link = wait waits "
                  "for it)")
    return Finding(
        CONCERN, CHECK, "not-covered", "", cover.step.crew, cover.step.step, cover.start_min,
        f"{cover.step.step} needs a link from {pet_label(cover.start_min)} to {pet_label(cover.finish_min)}; "
        f"{100 * cover.share:.0f} % is covered, none from {gaps_text(cover.gaps)}: {remedy}",
        "steps.link", cover.share, 1.0, cover.share - 1.0,
    )
