"""Pages of a pack from outing to outing: carried over from the last one, left for the next one."""

from collections.abc import Iterator

import pandas as pd

from planning_kit.campaign.end_state import EndState
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import gmt_label
from planning_kit.show.pack.content import Column, Section, table_of

Around = tuple[EndState | None, EndState | None]
"""What the outing before left, and what this one leaves for the one after it; None where there is none."""


def handover_sections(around: Around) -> Iterator[Section]:
    """A page for each of the two, only where there is something on it."""
    for key, title, end in zip(("carried", "left"), ("Carried over from the last outing",
                                                     "Left for the next outing"), around, strict=True):
        if end is not None and len(rows := end.left):
            since = ["before" if pd.isna(each) else gmt_label(each) for each in rows["since_utc"]]
            words = f"As {one_line(end.records.settings.title)} ends on {end.ended:%Y-%m-%d}."
            yield Section(key, title, (words,), (table_of(
                rows.assign(since=since), title[:31], "Where things are, what was changed, what is to do",
                Column("What", "kind", 0.8), Column("Id", "id"), Column("Title", "title", 2.2),
                Column("Is", "is", 3.4), Column("Since, GMT", "since", 1.2)),))
