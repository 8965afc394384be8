"""A small mapping that cannot change and can be pickled (a worker process gets a scenario that way)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TypeVar

Key = TypeVar("Key")
Value = TypeVar("Value", covariant=True)


class FrozenMapping(Mapping[Key, Value]):
    """A copy of a mapping, without a way to change it; equal to any mapping with the same entries."""

    __slots__ = ("_entries",)

    def __init__(self, entries: Mapping[Key, Value]) -> None:
        """Copy ``entries``."""
        self._entries = dict(entries)

    def __getitem__(self, key: Key) -> Value:
        return self._entries[key]

    def __iter__(self) -> Iterator[Key]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def __hash__(self) -> int:
        return hash(frozenset(self._entries.items()))

    def __repr__(self) -> str:
        return repr(self._entries)
