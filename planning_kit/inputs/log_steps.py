"""How far each step of an outing has come: what the log says of it, without a judgement."""

from __future__ import annotations

from dataclasses import dataclass, field

from planning_kit.inputs.records import Step

TO_DO, IN_PROGRESS, DONE, LEFT, DROPPED = "to do", "in progress", "done", "left", "skipped"
OPEN = (TO_DO, LEFT)
"""Nobody is at work on it, and something is still to be done."""


@dataclass
class State:
    """How far one step has come. PET minutes.

    ``pieces``: start and finish of each spell of work, the last finish NaN while it runs. ``reported_min``
    and ``remaining_min``: when it was last said how long it will still take, and how long (None: never).
    ``called_by``: who of the two called the last start or finish of a step of both ("": both of them);
    ``apart``: in words, where the two did not begin or finish it together. ``is_left_undone``: both went in
    before it was done.
    """

    step: Step
    status: str = TO_DO
    pieces: list[tuple[float, float]] = field(default_factory=list)
    reported_min: float = float("nan")
    remaining_min: float | None = None
    called_by: str = ""
    apart: list[str] = field(default_factory=list)
    is_left_undone: bool = False

    @property
    def worked_min(self) -> float:
        """Minutes of all finished spells of work."""
        return sum(finish - start for start, finish in self.pieces if finish == finish)

    def left_to_do_min(self, now_min: float) -> float:
        """Minutes still to work at ``now_min``, 0 when the estimate is used up."""
        if self.remaining_min is not None:
            runs = self.status == IN_PROGRESS
            since = now_min - max(self.reported_min, self.pieces[-1][0]) if runs else 0.0
            return max(0.0, self.remaining_min - since)
        running = now_min - self.pieces[-1][0] if self.status == IN_PROGRESS else 0.0
        return max(0.0, self.step.minutes_likely - self.worked_min - running)


@dataclass(frozen=True)
class Suited:
    """The last metabolic rate logged for one crew member: mean W since egress, at PET minutes."""

    crew: str
    at_min: float
    metabolic_w: float


@dataclass
class States:
    """All steps by id, the latest metabolic rates, and whoever is at work on what.

    ``inside_min``: when both were logged to be inside, PET minutes.
    """

    by_step: dict[str, State]
    suited: dict[str, Suited] = field(default_factory=dict)
    at_work: dict[str, str] = field(default_factory=dict)
    last_min: float = 0.0
    inside_min: float | None = None
