"""Orders as the compiled search has them: lanes of steps in arrays, pieces taken out and put in, and chance.

Steps, tasks, places and lanes are numbers; sets of steps are bits, `BITS` to a word. Chance comes from a
generator of its own (xorshift: Marsaglia 2003, "Xorshift RNGs"; from memory), so that an order is found
again.
"""

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np

from planning_kit.plan.order_kernel import inner

_BESIDE, _NEAR = 0.45, 0.8  # of all slots up to here: at the same place, then not far from where it was
_FAR = 6
BITS = 32  # fewer than fit, so that no sign is in the way
BOTH_LANES = -1
"""Whose a piece is that both do."""


class Moves(NamedTuple):
    """What moves know of n steps in m lanes, of t tasks.

    ``partner`` (m,): the lane that trades places with it, or -1; ``ahead`` and ``behind`` (n, words): the
    steps that come before and after each one whatever is chosen, as bits; ``swappable`` (t,): the tasks whose
    crew may be traded, ``tradable`` those of them that a move may trade; ``by_runs``: what one does for a
    task stays together; ``turns``: how often a stretch of time is turned round.
    """

    task: np.ndarray
    place: np.ndarray
    is_both: np.ndarray
    is_fixed: np.ndarray
    minutes: np.ndarray
    ahead: np.ndarray
    behind: np.ndarray
    partner: np.ndarray
    swappable: np.ndarray
    tradable: np.ndarray
    by_runs: bool
    turns: float


class Order(NamedTuple):
    """One order: of lane i the first ``sizes[i]`` of ``lanes`` (m, n); ``starts`` (n,) and ``traded`` (t,).

    ``sums``: PET 0, the end after it with what is broken, the others' (`Timed.cost`), the guide, what is
    broken.
    """

    lanes: np.ndarray
    sizes: np.ndarray
    starts: np.ndarray
    traded: np.ndarray
    sums: np.ndarray


PET_ZERO, END, OTHERS, GUIDE, BROKEN = range(5)
"""The places in `Order.sums`."""


def bits(sets: Sequence[Collection[int]]) -> np.ndarray:
    """Sets of n steps as bits, (n, words)."""
    words = np.zeros((len(sets), len(sets) // BITS + 1), dtype=np.int64)
    for row, steps in enumerate(sets):
        for step in steps:
            words[row, step // BITS] |= 1 << step % BITS
    return words


@inner
def copy(to: Order, of: Order) -> None:
    """Make one order equal another."""
    # Slices assigned take a second each to compile.
    for lane in range(len(to.sizes)):
        to.sizes[lane] = of.sizes[lane]
        for at in range(of.sizes[lane]):
            to.lanes[lane, at] = of.lanes[lane, at]
    for step in range(len(to.starts)):
        to.starts[step] = of.starts[step]
    for task in range(len(to.traded)):
        to.traded[task] = of.traded[task]
    for place in range(len(to.sums)):
        to.sums[place] = of.sums[place]


@inner
def uniform(chance: np.ndarray) -> float:
    """The next number in [0, 1) of the generator, whose state (1,) is never 0."""
    bits = chance[0]
    bits ^= bits << np.uint64(13)
    bits ^= bits >> np.uint64(7)
    bits ^= bits << np.uint64(17)
    chance[0] = bits
    return float(bits >> np.uint64(11)) / 9007199254740992.0


@inner
def below(chance: np.ndarray, count: int) -> int:
    """A whole number, 0 to count - 1."""
    return int(uniform(chance) * count)


@inner
def has(words: np.ndarray, step: int) -> bool:
    """Whether a step is among some, as bits."""
    return bool(words[step // BITS] >> (step % BITS) & 1)


@inner
def _reach(links: np.ndarray, lanes: np.ndarray, sizes: np.ndarray, piece: np.ndarray,
           way: int) -> np.ndarray:
    """What precedes a piece (``way`` -1) or follows it, by the tables and by all lanes, as bits."""
    width = links.shape[1]
    own, reached = np.zeros(width, np.int64), np.zeros(width, np.int64)
    for step in piece:
        own[step // BITS] |= 1 << (step % BITS)
        for word in range(width):
            reached[word] |= links[step, word]
    for word in range(width):
        reached[word] |= own[word]
    grows = True
    while grows:
        grows = False
        for lane in range(len(sizes)):
            is_reached, size = False, sizes[lane]
            for turn in range(size):
                step = lanes[lane, turn if way > 0 else size - 1 - turn]
                if is_reached:
                    word = step // BITS
                    more = reached[word] | 1 << (step % BITS)
                    grows |= more != reached[word]
                    reached[word] = more
                    for word in range(width):
                        more = reached[word] | links[step, word]
                        grows |= more != reached[word]
                        reached[word] = more
                elif has(reached, step):
                    is_reached = True
    for word in range(width):
        reached[word] &= ~own[word]
    return reached


@inner
def room(moves: Moves, lanes: np.ndarray, sizes: np.ndarray, lane: int,
         piece: np.ndarray) -> tuple[int, int]:
    """The first and the last slot of a lane in which a piece may stand; the last is less if there is none."""
    low, high = 0, sizes[lane]
    for way in (-1, 1):
        reached = _reach(moves.ahead if way < 0 else moves.behind, lanes, sizes, piece, way)
        for number in range(sizes[lane]):
            if has(reached, lanes[lane, number]):
                low = number + 1 if way < 0 else low
                high = number if way > 0 and number < high else high
    return low, high


@inner
def insert(lanes: np.ndarray, sizes: np.ndarray, lane: int, slot: int, piece: np.ndarray) -> None:
    """Put a piece into a slot of a lane."""
    size, count = sizes[lane], len(piece)
    for at in range(size - 1, slot - 1, -1):
        lanes[lane, at + count] = lanes[lane, at]
    for at in range(count):
        lanes[lane, slot + at] = piece[at]
    sizes[lane] = size + count


@inner
def take_out(lanes: np.ndarray, sizes: np.ndarray, gone: np.ndarray) -> None:
    """Leave the lanes without the steps that are ``gone`` (n,)."""
    for lane in range(len(sizes)):
        kept = 0
        for at in range(sizes[lane]):
            if not gone[lanes[lane, at]]:
                lanes[lane, kept] = lanes[lane, at]
                kept += 1
        sizes[lane] = kept


@inner
def _first_from(lane: np.ndarray, starts: np.ndarray, at_min: float) -> int:
    """The slot of a lane before the first that starts then or later."""
    for slot in range(len(lane)):
        if starts[lane[slot]] >= at_min:
            return slot
    return len(lane)


@inner
def slot_for(moves: Moves, lane: np.ndarray, piece: np.ndarray, low: int, high: int, starts: np.ndarray,
             at_min: float, chance: np.ndarray) -> int:
    """A slot of those from ``low`` to ``high``; near that minute, where one is given (else NaN)."""
    if not np.isnan(at_min):
        slot = _first_from(lane, starts, at_min) + below(chance, 3) - 1
        return min(max(slot, low), high)
    kind = uniform(chance)
    if kind < _BESIDE:
        found, count = -1, 0
        for slot in range(low, high + 1):
            if (slot and moves.place[lane[slot - 1]] == moves.place[piece[0]]) or (
                    slot < len(lane) and moves.place[lane[slot]] == moves.place[piece[-1]]):
                count += 1
                if below(chance, count) == 0:
                    found = slot
        if found >= 0:
            return found
    if kind < _NEAR:
        slot = _first_from(lane, starts, starts[piece[0]]) + below(chance, 2 * _FAR + 1) - _FAR
        return min(max(slot, low), high)
    return low + below(chance, high - low + 1)
