"""Pages of a pack from outing to outing: carried over from those before, left for the next."""

from collections.abc import Iterator

import pandas as pd

from planning_kit.campaign.campaign import Around
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import gmt_label
from planning_kit.show.pack.content import Column, Section, table_of

_TITLES = {"carried": "Carried over from before", "left": "Left for the next outing"}


def handover_sections(around: Around) -> Iterator[Section]:
    """A page for each of the two, only where there is something on it; or one that says why it is unknown."""
    if isinstance(around, str):
        yield Section("carried", _TITLES["carried"], (one_line(around),), ())
        return
    for (key, title), end in zip(_TITLES.items(), around, strict=True):
        if end is not None and len(rows := end.left):
            since = [gmt_label(each) if not pd.isna(each) else "" if kind == "task" else "before"
                     for kind, each in zip(rows["kind"], rows["since_utc"], strict=True)]
            words = f"As {one_line(end.records.settings.title)} ends on {end.ended:%Y-%m-%d}."
            yield Section(key, title, (words,), (table_of(
                rows.assign(since=since), title, "Where things are, what was changed, what is to do",
                Column("What", "kind", 0.8), Column("Id", "id"), Column("Title", "title", 2.2),
                Column("Is", "is", 3.4), Column("Since, GMT", "since", 1.2)),))
