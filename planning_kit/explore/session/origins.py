"""What drafts were typed from: the states of the folder that a session has known.

A draft carries the number of its origin, so that a draft typed from an older state, come back by undo or as a
version, is never saved over what another put into the folder since.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from planning_kit.explore.session.draft import Draft, draft_of
from planning_kit.explore.session.merge import same_lines
from planning_kit.inputs.faults import SaveConflict
from planning_kit.inputs.scenario import Scenario, load_scenario


@dataclass(frozen=True)
class Origin:
    """A state of the folder: the scenario ``base`` read or written there, and the same as a draft.

    ``is_behind`` says that the folder has moved on from ``draft`` to ``base`` already.
    """

    base: Scenario
    draft: Draft
    is_behind: bool = False


class Origins:
    """The origins of one session, by number; the last is the folder as it is known now."""

    def __init__(self, scenario: Scenario) -> None:
        """Begin with ``scenario`` as it was read."""
        self._known = [Origin(scenario, draft_of(scenario))]
        self._newest = 0

    def of(self, draft: Draft) -> Origin:
        """What ``draft`` was typed from."""
        return self._known[draft.origin]

    @property
    def newest(self) -> Origin:
        """The folder as it was seen last."""
        return self._known[self._newest]

    def read(self, mine: Draft) -> Origin:
        """The folder as it is now, its rows under the ids that ``mine`` has for them; not yet an origin.

        Raises `ScenarioError` when the folder holds faults.
        """
        theirs = load_scenario(self.of(mine).base.folder)
        return Origin(theirs, same_lines(draft_of(theirs), self.of(mine).draft, mine))

    def add(self, origin: Origin) -> Draft:
        """Make it an origin; gives its draft with the number that drafts typed from it carry."""
        draft = replace(origin.draft, origin=len(self._known))
        self._known.append(replace(origin, draft=draft))
        if not origin.is_behind:
            self._newest = draft.origin
        return draft

    def number_of(self, base: Draft) -> int:
        """The number for work that another session typed from ``base``: of the folder as it is, or behind it.
        """
        if base.says_the_same_as(self.newest.draft):
            return self.newest.draft.origin
        known = (each.draft.origin for each in self._known if each.is_behind
                 and each.base is self.newest.base and each.draft.sheets == base.sheets)
        number = next(known, None)
        return number if number is not None else self.add(
            Origin(self.newest.base, base, is_behind=True)).origin

    def save(self, draft: Draft, scenario: Scenario) -> None:
        """Save ``scenario``, which ``draft`` says, to its folder.

        Raises `SaveConflict` when another has changed the folder since the origin of ``draft``.
        """
        if self.of(draft).is_behind:
            raise SaveConflict.single("the folder was changed after this work was left; nothing was saved")
        self._known[draft.origin] = Origin(scenario.save(), draft)
        self._newest = draft.origin
