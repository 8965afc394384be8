"""Work in pieces: who runs it may do something else between two of them, such as answer an edit."""

from collections.abc import Generator
from typing import TypeVar

T = TypeVar("T")
InPieces = Generator[None, None, T]
"""Yields between its pieces, each of some hundredths of a second; what it returns is the answer."""


def at_once(work: InPieces[T]) -> T:
    """The answer, without a pause."""
    while True:
        try:
            next(work)
        except StopIteration as done:
            answer: T = done.value
            return answer
