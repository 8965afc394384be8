"""How far each start can slip, and what holds it where it is.

Slack: three numbers from one backward pass. It is the forward pass over the mirrored network
(`planning_kit.plan.network.mirrored`): its fixed point is the greatest set of starts that keeps every rule
and the deadline. A start at its latest is feasible together with the latest starts of the others; with
greatest gaps not every start between earliest and latest can be had. Slacks are delays of a start: an overrun
is judged by timing the plan anew.

Holders: among the bounds that are tight at a start, the one that a planner names. A bound is tight when it
alone would put the step where it is. Candidates are taken only along chains that lead back to PET 0 (tight
bounds can run in circles, as when a least and a greatest gap are equal), in the order light, link, named
window, group, greatest gap, partner, after, least gap, crew order; outside, the log comes before all of them
and "not before now" after them. A late step that is later than its earliest start is held by what it is late
for; the others are held as in the earliest plan, where no late step holds them but one that could not move.

Windows and groups look at the step itself, and greatest gaps at steps behind it: which of them was first is
not seen from the times alone. What raised a step last on the way to those times (`last_raises`) is therefore
always among the candidates; these causes never run in a circle, so every chain ends at PET 0 or a window.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush

import numpy as np
import pandas as pd

from planning_kit.inputs.shown_text import ShownTable
from planning_kit.plan import network as kinds
from planning_kit.plan.late import Keeper, late_keepers
from planning_kit.plan.network import Bound, Network, grouped, mirrored, on_grid, pinned
from planning_kit.plan.timing import Raise, earliest_starts, last_raises, outing_end, place_in_windows


@dataclass(frozen=True)
class Slack:
    """Slack of every step in minutes, arrays (steps,).

    ``to_plan``: before ingress slips. ``to_limit``: before the hard limit is missed (negative: it already
    is; -inf: no start meets it). ``to_window``: before this step or one that waits for it jumps to a later
    window (inf: no window depends on it, or none whose end is known). NaN for a step whose start is history.
    """

    to_plan: np.ndarray
    to_limit: np.ndarray
    to_window: np.ndarray


def latest_starts(network: Network, durations: np.ndarray, deadline_min: float) -> np.ndarray:
    """Latest start of every step (steps,) with both crew inside by ``deadline_min`` PET.

    inf where nothing bounds a step from above, -inf where no start meets the deadline.
    """
    backward = earliest_starts(mirrored(network, deadline_min), durations)
    origin = deadline_min if np.isfinite(deadline_min) else 0.0
    # What is infinite only changes its sign: no place in the mirror (inf) is no start that meets the
    # deadline, nothing that holds it there (-inf) leaves it free here.
    return np.where(np.isfinite(backward), origin - backward - on_grid(durations), -backward)


def slacks(network: Network, durations: np.ndarray, starts: np.ndarray, hard_min: float) -> Slack:
    """All three slacks of a plan whose starts (steps,) are finite."""
    end = float(outing_end(network, starts, durations))
    can_slip = starts.copy()
    can_slip[list(network.fixed)] = np.nan
    return Slack(
        to_plan=latest_starts(network, durations, end) - can_slip,
        to_limit=latest_starts(network, durations, hard_min) - can_slip,
        to_window=latest_starts(pinned(network, starts), durations, np.inf) - can_slip,
    )


def delay_curve(network: Network, durations: np.ndarray, starts: np.ndarray, step: int,
                delays: np.ndarray) -> pd.DataFrame:
    """Outing end against ``delays`` (minutes) of one step.

    Columns ``delay_min``, ``start_min``, ``end_min``, ``end_slip_min``. ``start_min`` may be later than start
    + delay, where the delay makes the step miss a window. Rows that cannot be timed inside the horizon have
    NaN ends.
    """
    floor = np.full((len(network.steps), len(delays)), -np.inf)
    floor[step] = starts[step] + delays
    delayed = earliest_starts(network, durations, not_before=floor)
    end = outing_end(network, delayed, durations[:, None])
    end = np.where(np.isfinite(delayed).all(axis=0), end, np.nan)
    return ShownTable({
        "delay_min": delays,
        "start_min": np.where(np.isnan(end), np.nan, delayed[step]),
        "end_min": end,
        "end_slip_min": end - float(outing_end(network, starts, durations)),
    })


_RANK = {kind: rank for rank, kind in enumerate(
    (kinds.LOGGED, kinds.LATE, kinds.LATE_END, kinds.LIGHT, kinds.LINK, kinds.WINDOW, kinds.GROUP,
     kinds.MAX_GAP, kinds.PARTNER, kinds.AFTER, kinds.MIN_GAP, kinds.ORDER, kinds.HATCH, kinds.TURN,
     kinds.NOW))}


@dataclass(frozen=True)
class Holder:
    """A tight bound on a step.

    ``text`` is ``kind:id``; ``source`` the step that it comes from (-1: PET 0 or a window). ``ready_min`` is
    when the step could have started but for its window or group (NaN for other kinds); ``bound`` the rule
    itself where it is one between two steps. ``group``: the steps that share a window, where they are why
    this window begins none too early for the step ("": its own readiness is).
    """

    kind: str
    text: str
    source: int = -1
    crew: str = ""
    ready_min: float = float("nan")
    bound: Bound | None = None
    group: str = ""


@dataclass(frozen=True)
class Holders:
    """For each step all tight bounds, best first, and for each step the chosen one.

    ``earliest``: the starts (steps,) that these bounds are of, where late steps do not stand at them;
    ``early`` the chosen ones at those starts.
    """

    tight: tuple[tuple[Holder, ...], ...]
    chosen: tuple[Holder, ...]
    earliest: np.ndarray
    early: tuple[Holder, ...]

    def for_crew(self, step: int, crew: str, shared: bool) -> Holder:
        """The holder as ``crew`` sees it: in a shared step another's order of work is the partner."""
        if not shared:
            return self.chosen[step]
        seen = [_seen_by(holder, crew) for holder in self.tight[step]]
        if any(holder.kind == kinds.ORDER for holder in seen):
            # Ready at the same minute as the other: nobody is waited for.
            seen = [holder for holder in seen if holder.kind != kinds.PARTNER]
        return min(seen, key=_rank)


def _rank(holder: Holder) -> int:
    return _RANK[holder.kind]


def _seen_by(holder: Holder, crew: str) -> Holder:
    if holder.kind == kinds.ORDER and holder.source >= 0 and holder.crew != crew:
        return replace(holder, kind=kinds.PARTNER, text=f"{kinds.PARTNER}:{holder.crew}")
    return holder


def find_holders(network: Network, durations: np.ndarray, starts: np.ndarray) -> Holders:
    """The holders of a plan whose ``starts`` (steps,) are finite, and the earliest but for late steps."""
    lengths, raises = on_grid(durations), last_raises(network, durations)
    causes = _Causes(raises)
    earliest = earliest_starts(network, durations) if network.late else starts
    candidates = [_tight_on(network, lengths, earliest, raised, causes, step)
                  for step, raised in enumerate(raises)]
    grounded = _grounded_order(candidates)
    kept = ([h for h in holders if h.source < 0 or grounded[h.source] < grounded[step]] or holders
            for step, holders in enumerate(candidates))
    tight = [tuple(sorted(holders, key=_rank)) for holders in kept]
    early = tuple(holders[0] for holders in tight)
    for step, keeper in late_keepers(network, durations, earliest).items():
        if starts[step] > earliest[step]:
            tight[step] = (_late_for(network, starts, lengths, keeper),)
    return Holders(tuple(tight), tuple(holders[0] for holders in tight), earliest, early)


def _late_for(network: Network, starts: np.ndarray, lengths: np.ndarray, keeper: Keeper) -> Holder:
    """What a late step is late for: the step that needs it, else the end of its window or of the outing."""
    if keeper.source >= 0:
        return Holder(kinds.LATE, f"{kinds.LATE}:{network.steps[keeper.source]}", keeper.source,
                      bound=keeper.bound)
    name = "outing"
    if keeper.windowed >= 0:
        start = float(starts[keeper.windowed])
        finish = start + float(lengths[keeper.windowed])
        # Windows that meet all demands end where a window of one of them does: in front of that it is.
        nearest = min(network.demands[keeper.windowed], key=lambda demand: min(
            demand.windows[demand.windows[:, 1] >= finish, 1], default=np.inf))
        name = nearest.name_at(start).partition(":")[2]
    return Holder(kinds.LATE_END, f"{kinds.LATE_END}:{name}")


def ready_holder(network: Network, durations: np.ndarray, starts: np.ndarray, step: int) -> Holder | None:
    """What made a step ready for its window or group: the latest of its bounds, greatest gaps left aside."""
    floors = _ready_bounds(_bounds_on(network, on_grid(durations), starts, step))
    latest = max((at for at, _ in floors), default=-np.inf)
    return min((holder for at, holder in floors if at == latest), key=_rank, default=None)


def _bounds_on(network: Network, lengths: np.ndarray, starts: np.ndarray,
               step: int) -> list[tuple[float, Holder]]:
    """Every release and bound on a step with the start that it asks for."""
    return [*((float(on_grid(each.at_min)), Holder(each.kind, f"{each.kind}:{each.name}", crew=each.crew))
              for each in network.releases_of[step]),
            *((float(starts[each.before] + each.weight_min(lengths)),
               Holder(each.kind, f"{each.kind}:{each.name}", each.before, each.crew, bound=each))
              for each in network.bounds_into[step])]


class _Causes:
    """Which step is where it is because of which: the forest of what raised each last, numbered in depth.

    A step's own number and those of all that rest on it follow each other, so that each question is one
    comparison, however long the chains are.
    """

    def __init__(self, raises: Sequence[Raise]) -> None:
        caused = grouped((raised.source, step) for step, raised in enumerate(raises))
        self._first, self._behind = [0] * len(raises), [0] * len(raises)
        stack, number = caused.get(-1, []), 0
        while stack:
            step = stack.pop()
            if step >= 0:
                self._first[step], number = number, number + 1
                stack += [~step, *caused.get(step, ())]
            else:  # all that rest on it have their numbers
                self._behind[~step] = number

    def rests_on(self, step: int, other: int) -> bool:
        """Whether ``step`` is where it is because of ``other``, or is ``other``."""
        return step >= 0 and self._first[other] <= self._first[step] < self._behind[other]


def _tight_on(network: Network, lengths: np.ndarray, starts: np.ndarray, raised: Raise, causes: _Causes,
              step: int) -> list[Holder]:
    floors = _bounds_on(network, lengths, starts, step)
    # Equality is safe: minutes lie on the grid, where sums are exact.
    holders = [holder for at, holder in floors if at == starts[step]]
    # A bound may ask for what the step itself has pushed up (a greatest gap, a least one below zero).
    own = [at for at, holder in floors if at < starts[step] and not causes.rests_on(holder.source, step)]
    own_ready = max(own, default=-np.inf)
    # Where it would fit by itself: where that is its start, the window holds it, whatever else is tight.
    fits_min, windows = np.inf, network.allowed[step]
    if windows is not None and (not holders or np.isfinite(own_ready)):
        fits_min = place_in_windows(np.array([own_ready]), lengths[[step]], windows)[0]
    ready_min = max((at for at, _ in _ready_bounds(floors)), default=own_ready)
    group = next((network.groups[number].name for number in network.groups_of[step]), "")
    if raised.kind == kinds.WINDOW or fits_min == starts[step]:
        demands = network.demands[step]
        # Windows that meet all demands begin where a window of one of them does: that one holds the step.
        demand = next((d for d in demands if (d.windows[:, 0] == starts[step]).any()), demands[0])
        is_by_group = raised.is_after_group and fits_min < starts[step]
        holders.append(Holder(demand.kind, demand.name_at(starts[step]), ready_min=ready_min,
                              group=group if is_by_group else ""))
    if raised.kind == kinds.GROUP:
        holders.append(Holder(kinds.GROUP, f"{kinds.GROUP}:{group}", ready_min=ready_min))
    return holders


def _ready_bounds(floors: list[tuple[float, Holder]]) -> list[tuple[float, Holder]]:
    """Those that say when a step could begin; a greatest gap says when it must not begin yet."""
    return [(at, holder) for at, holder in floors if holder.kind != kinds.MAX_GAP]


def _grounded_order(candidates: list[list[Holder]]) -> list[float]:
    """A rank for each step such that following holders to lower ranks always ends at PET 0 or a window."""
    rank = [np.inf] * len(candidates)
    missing = [sum(holder.source >= 0 for holder in holders) for holders in candidates]
    behind = grouped((holder.source, step) for step, holders in enumerate(candidates) for holder in holders)
    ready = [step for step, count in enumerate(missing) if not count]
    # Where all that wait run in circles, the first of those with one grounded holder opens them.
    opening = [step for step, holders in enumerate(candidates) if 0 < missing[step] < len(holders)]
    count = 0
    while ready := ready or _first_unranked(opening, rank):
        for step in ready:
            rank[step] = count
            count += 1
        then = []
        for other in (other for step in ready for other in behind.get(step, ()) if rank[other] == np.inf):
            missing[other] -= 1
            if missing[other]:
                heappush(opening, other)
            else:
                then.append(other)
        ready = sorted(then)
    return rank


def _first_unranked(opening: list[int], rank: Sequence[float]) -> list[int]:
    """The least step of a heap that has no rank yet, by itself; nothing where there is none."""
    while opening:
        step = heappop(opening)
        if rank[step] == np.inf:
            return [step]
    return []
