"""Undo and redo without limit: drafts share what they have in common, so keeping them all costs little."""

from __future__ import annotations

from collections.abc import Hashable

from planning_kit.explore.session.draft import Draft


class History:
    """The drafts of a session, each with the words for the edit that made it; one of them is current."""

    def __init__(self, draft: Draft) -> None:
        """Begin with ``draft``, which cannot be undone."""
        self._drafts: list[tuple[Draft, str]] = [(draft, "")]
        self._at = 0
        self._merges: Hashable = None

    @property
    def draft(self) -> Draft:
        """The current draft."""
        return self._drafts[self._at][0]

    @property
    def can_undo(self) -> str:
        """What undo would take back, in words; "" when there is nothing."""
        return self._drafts[self._at][1]

    @property
    def can_redo(self) -> str:
        """What redo would do again, in words; "" when there is nothing."""
        return self._drafts[self._at + 1][1] if self._at + 1 < len(self._drafts) else ""

    def push(self, draft: Draft, words: str, merges: Hashable = None) -> None:
        """Make ``draft`` current; what was undone before is gone.

        An edit with the same ``merges`` (not None) as the one just before joins it: one drag of a slider is
        one edit.
        """
        joins = merges is not None and merges == self._merges and self._at == len(self._drafts) - 1
        kept = self._drafts[: self._at if joins else self._at + 1]
        self._drafts = [*kept, (draft, words)]
        self._at = len(self._drafts) - 1
        self._merges = merges

    def undo(self) -> bool:
        """Take back the last edit; False when there is none."""
        return self._step(-1)

    def redo(self) -> bool:
        """Do again what was undone last; False when there is nothing."""
        return self._step(+1)

    def _step(self, by: int) -> bool:
        if not 0 <= self._at + by < len(self._drafts):
            return False
        self._at += by
        self._merges = None
        return True
