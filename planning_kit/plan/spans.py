"""Stretches of time looked up by minute, so that nothing has to look at all of them for each of them."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from itertools import accumulate


class Spans:
    """Closed stretches (start, finish) in any order and however they overlap; minutes.

    A look-up takes the logarithm of their number, plus those begun since the longest one that may still last.
    """

    def __init__(self, spans: Iterable[tuple[float, float]]) -> None:
        """Sort them once."""
        self._spans = [(float(start), float(finish)) for start, finish in spans]
        self._order = sorted(range(len(self._spans)), key=lambda position: self._spans[position][0])
        self._starts = [self._spans[position][0] for position in self._order]
        self._latest = list(accumulate((self._spans[position][1] for position in self._order), max))

    def touching(self, begin: float, end: float) -> list[int]:
        """The positions of those that share a minute with [begin, end], ends included, in their order."""
        found = []
        for rank in range(bisect_right(self._starts, end) - 1, -1, -1):
            if self._latest[rank] < begin:
                break
            if self._spans[self._order[rank]][1] >= begin:
                found.append(self._order[rank])
        return sorted(found)

    def any_inside(self, begin: float, end: float) -> bool:
        """Whether one of them begins before ``end`` and finishes after ``begin``."""
        rank = bisect_left(self._starts, end) - 1
        return rank >= 0 and self._latest[rank] > begin
