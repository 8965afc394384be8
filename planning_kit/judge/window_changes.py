"""Which steps lie in another of their windows than before: of night and day, links and named periods."""

from collections.abc import Iterator
from dataclasses import dataclass

from planning_kit.inputs.times import pet_label
from planning_kit.plan.needs import link_covers
from planning_kit.plan.network import ROUNDING_MIN, Demand
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class WindowChange:
    """A step of two plans with the window that it lies in before and now ("": in none that it needs).

    ``later_min``: by how many minutes its start is later now (negative: earlier).
    """

    step: str
    was: str
    now: str
    later_min: float

    @property
    def words(self) -> str:
        """One line: what it leaves and comes into, and by how much later or earlier."""
        where = (f"leaves {self.was}" if self.was else f"comes into {self.now}") + (
            f" for {self.now}" if self.was and self.now else "")
        minutes = pet_label(abs(self.later_min), "up")
        return f"{self.step} {where}: {minutes} {'later' if self.later_min > 0 else 'earlier'}"


def window_changes(a: TimedPlan, b: TimedPlan) -> Iterator[WindowChange]:
    """The steps of ``b``, in row order, that lie in other windows than in ``a``; of one PET 0.

    A step is in a window when all of it is, guard kept. Of a link that is needed and not waited for only
    whether there is one all the time is told.
    """
    if a.pet_zero != b.pet_zero:  # windows are counted from PET 0: those of another have other numbers
        return
    before, after = _windows_used(a), _windows_used(b)
    for (step, label), (now, start) in after.items():
        was, old = before.get((step, label), (now, start))
        if was != now:
            yield WindowChange(step, was, now, start - old)


def _windows_used(plan: TimedPlan) -> dict[tuple[str, str], tuple[str, float]]:
    """By step and what it asks for: the window that it lies in, "" for none, and its start (PET min)."""
    found = {}
    for (step, start, finish), demands in zip(plan.each_step(), plan.network.as_asked.demands, strict=True):
        for demand in demands:
            found[step.step, f"{demand.kind}:{demand.label}"] = _window_of(demand, start, finish), start
    for cover in link_covers(plan):
        if cover.step.link == "yes":
            found[cover.step.step, "needs link"] = "" if cover.gaps else "its link", cover.start_min
    return found


def _window_of(demand: Demand, start: float, finish: float) -> str:
    is_in = any(begin <= start + ROUNDING_MIN and finish <= end + ROUNDING_MIN
                for begin, end in demand.windows.tolist())
    return demand.title_at(start) if is_in else ""
