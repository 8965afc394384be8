"""A campaign as typed, frozen records: its settings, its outings, the backlog of work.

As in `planning_kit.inputs.records` the type of a field says what its key or column may hold.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from planning_kit.inputs.fields import (
    SUITED,
    Field,
    Section,
    Table,
    choice,
    column,
    columns_of,
    minutes,
    number,
    reference,
    references,
)
from planning_kit.inputs.procedure_records import BOTH, StateValue

CAMPAIGN_FORMAT = 1
Pair = tuple[str, str]


@dataclass(frozen=True)
class CampaignSettings:
    """The top of ``campaign.toml``, and where its limits come from."""

    title: Annotated[str, column("text", "name of the campaign", needed=True, example="Autumn outings")]
    station: Annotated[str, column("text", "name of the station", needed=True, example="Tern Station")]
    least_days_between: Annotated[float, number("least days from the date on which an outing ends to that of "
        "the next one's PET 0", "days", most=1000, default=0.0, example="2")]
    reserve_min: Annotated[float, minutes("what every outing keeps free before its planned length",
        default=0.0, example="15")]
    sources: Mapping[str, str]


@dataclass(frozen=True)
class Outing:
    """One outing of a campaign, ``[outings.ID]``; ``crews``: the pairs (EV1, EV2) that may go."""

    outing: str
    folder: Annotated[str, column("id", "its folder, in that of the campaign", needed=True, example="one")]
    earliest: Annotated[date, column("date", "first date of its PET 0, UTC", needed=True,
        example="2031-09-03")]
    latest: Annotated[date, column("date", "last date of its PET 0, UTC", needed=True, example="2031-09-06")]
    crew: Annotated[tuple[Pair, ...], column("people", "who may go: a pair [EV1, EV2], or several; absent: "
        "whoever its crew.csv names", example='["Ada", "Ben"]')]
    work_after: Annotated[str, column("id", "the step of the outing behind which work of the backlog goes; "
        "absent: the last but one of its own", example="A1")]


@dataclass(frozen=True)
class BacklogTask:
    """Work that some outing of the campaign is to do; in an outing its task has the same id."""

    row: int
    task: Annotated[str, column("id", "id, also in tasks.csv of the outing that does it", needed=True,
        example="REG")]
    title: Annotated[str, column("text", "name shown", example="Exchange the regulator")]
    value: Annotated[float, number("what it is worth, beside others", most=1e6, default=0.0,
        may_be_absent=True, example="10")]
    need: Annotated[str, choice("how much it is needed", "required", "optional", "get-ahead", needed=True)]
    must_by: Annotated[date | None, column("date", "last UTC date on which it may be done",
        may_be_absent=True, example="2031-09-20")]
    after: Annotated[tuple[str, ...], references("tasks that must be done first", "backlog",
        may_be_absent=True, example="CBL")]
    least_gap_days: Annotated[float, number("least days after the last of these", "days", most=1000,
        default=0.0, may_be_absent=True, example="1")]
    place: Annotated[str, reference("where its minutes are worked; empty: not known", "places",
        may_be_absent=True, example="BAY")]
    crew: Annotated[str, choice("who works its minutes", *SUITED, BOTH, default=BOTH, may_be_absent=True)]
    minutes_low: Annotated[float | None, minutes("shortest, as one block; empty: as likely",
        may_be_absent=True, example="60")]
    minutes_likely: Annotated[float | None, minutes("likely, as one block", may_be_absent=True,
        example="75")]
    minutes_high: Annotated[float | None, minutes("longest, as one block; empty: as likely",
        may_be_absent=True, example="100")]
    steps: Annotated[str, column("id", "a file of the campaign's folder, as steps.csv; its rows of this task "
        "are the steps", may_be_absent=True, example="steps-reg.csv")]
    trained: Annotated[tuple[str, ...], column("people", "who is trained for it; empty: not stated",
        may_be_absent=True, example="Ada; Ben")]
    share_done: Annotated[float, number("how much of it is done, 0 to 1", most=1, default=0.0,
        may_be_absent=True, example="0.5")]
    needs: Annotated[tuple[StateValue, ...], column("values", "what must be so when it begins",
        may_be_absent=True, example="cover-REG=open")]
    sets: Annotated[tuple[StateValue, ...], column("values", "what is so once it is done",
        may_be_absent=True, example="cover-REG=closed")]
    items: Annotated[tuple[str, ...], references("what it takes up", "hardware", may_be_absent=True,
        example="REG-2")]


BACKLOG = Table("backlog", "work of a campaign", ("task",), columns_of(BacklogTask), may_be_absent=True,
                record=BacklogTask)
CAMPAIGN = Section("", "a campaign; least_days_between and reserve_min may carry their source in a key "
                   "NAME_source", (
    Field("format", "count", "number of the format of campaigns", needed=True, least=CAMPAIGN_FORMAT,
          most=CAMPAIGN_FORMAT, example=str(CAMPAIGN_FORMAT)),
    *columns_of(CampaignSettings)), has_sources=True)
OUTINGS = Section("outings.ID", "an outing, in their order", columns_of(Outing))
