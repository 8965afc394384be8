"""What is beside the board of a campaign, as plain data: a thread, the season, what an early end costs.

All of it is what the tables of a campaign say, as it stands on the board: with the open outing as it is
typed, and with the move that is asked about and not kept. A picture is rows of bars: a row has a label, a bar
its begin and end as shares of the width, words, a fill ("" for none) and a longer text.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from functools import lru_cache
from itertools import groupby, pairwise
from typing import Any

import pandas as pd

from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.check_campaign import campaign_findings
from planning_kit.campaign.early_end import (
    Onward,
    begins_otherwise,
    early_end_table,
    left_if_ended,
    new_over_outings,
    onward,
)
from planning_kit.campaign.standing import (
    IS_ON,
    MAY_BE,
    MUST_BY,
    REST,
    dates_table,
    left_before,
    thread_table,
    threads_table,
)
from planning_kit.desk.candidate import later_told, soon_told
from planning_kit.desk.messages import Message, rows_of_frame
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, one_line
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.findings import STOP
from planning_kit.plan.network import grouped
from planning_kit.show.campaign_charts import near_dates, pet_ticks, season_of
from planning_kit.show.chart import signed
from planning_kit.show.palette import TASK_FILLS

_NOWHERE = "no outing"
_DAY = timedelta(days=1)
_MOST_DATE_TICKS = 12
_MOST_DAYS_TOLD = 40
_LEAST_TOLD, _LAST_TICK = 0.03, 0.96  # shares of the width: narrower, or later, words would be cut off
Bar = list[object]


def look_told(campaign: TimedCampaign, asked: Message, open_one: str) -> Message:
    """What a view looks at: ``what`` it is, and of that ``name``, ``outing`` and ``minute`` where it has any.

    What is not named is the first there is, or the outing that is open. Raises `ScenarioError`.
    """
    return LOOKS[asked["what"]](campaign, asked, open_one)


def _thread(campaign: TimedCampaign, asked: Message, _open_one: str) -> Message:
    known = threads_table(campaign).to_dict("records")
    if not known:
        return {"words": "No outing has an item, a state or an inhibit to be followed."}
    twice = {name for name, count in Counter(str(row["name"]) for row in known).items() if count > 1}
    picks = {f"{row['kind']} {row['name']}" if row["name"] in twice else str(row["name"]): row
             for row in known}
    told = [[value, one_line(f"{row['name']} {row['title']}" + f", {row['kind']}" * (row["name"] in twice)),
             f"{row['kind']}s"] for value, row in picks.items()]
    value = str(asked.get("name") or next(iter(picks)))
    if value not in picks:
        gone = one_line(value)
        return {"name": value, "picks": [[value, f"{gone} (there no more)", ""], *told],
                "words": f"{gone} is no item, state or inhibit of any outing by now: choose another one."}
    chosen = picks[value]
    kind, name = str(chosen["kind"]), str(chosen["name"])
    thread = thread_table(campaign, name)
    thread = thread[thread["kind"] == kind]
    rows, last = thread.to_dict("records"), max(campaign.timed_plan(each).end_min for each in campaign.ids)
    kinds = list(dict.fromkeys(row["is"] for row in rows))

    def bar(row: dict[Any, Any]) -> Bar:
        span = f"PET {pet_label(row['from_min'])} to {pet_label(row['until_min'])}"
        by = f", by {row['by_step']}" if row["by_step"] else ""
        return [_share(row["from_min"], 0.0, last), _share(row["until_min"], 0.0, last), one_line(row["is"]),
                TASK_FILLS[kinds.index(row["is"]) % len(TASK_FILLS)], one_line(f"{row['is']}: {span}{by}")]

    named = str(chosen["outings"]).split()
    missing = grouped((_without(campaign, each, kind, name, each in named), each) for each in campaign.ids
                      if each not in {row["outing"] for row in rows})
    return {
        "name": value, "picks": told,
        "words": one_line("; ".join((f"{kind} {name} {chosen['title']}: an outing a row, PET h:mm", *(
            f"{words} on {', '.join(names)}" for words, names in missing.items())))),
        "rows": [{"label": each, "bars": [bar(row) for row in rows if row["outing"] == each]}
                 for each in campaign.ids],
        "ticks": [[_share(each, 0.0, last), pet_label(each)] for each in pet_ticks(last)
                  if each <= _LAST_TICK * last],
        "tables": [_table("All stretches", thread.drop(columns=["kind", "from_utc", "until_utc"]))]}


def _without(campaign: TimedCampaign, outing: str, kind: str, name: str, is_named: bool) -> str:
    """What there is to say of a thread where an outing has no stretch of it."""
    if is_named:  # an inhibit; an item or a state always is somewhere, or something
        return "not set"
    left = left_before(campaign, outing, kind, name)
    return f"{left}; no row of it" if left else "nothing of it"


def _share(value: float, first: float, last: float) -> float:
    return round(min(max((value - first) / (last - first), 0.0), 1.0), 5) if last > first else 0.0


def _table(caption: str, frame: pd.DataFrame) -> Message:
    return {"caption": caption, **rows_of_frame(frame)}


# The season


def _season(campaign: TimedCampaign, _asked: Message, _open_one: str) -> Message:
    dates = dates_table(campaign)
    near, far = near_dates(dates)
    rows, lit = near.to_dict("records"), _light(campaign.scenario(campaign.ids[0]), near)
    first, last = (lit[0][0], lit[-1][0] + _DAY) if lit else (min(near["first"]), max(near["last"]) + _DAY)
    late = {row["about"]: one_line(row["message"]) for row in campaign_findings(campaign).to_dict("records")
            if row["rule"] == "must-by"} | _missed(campaign, dates)

    def bar(row: dict[Any, Any], words: str, fill: str, more: str) -> Bar:
        ends = (_days(first, each, last) for each in (row["first"], row["last"] + _DAY))
        return [*ends, words, fill, more]

    def bars(name: str) -> Iterator[Bar]:
        for row in (each for each in rows if each["outing"] == name):
            span = f"{row['first']}" + (f" to {row['last']}" if row["last"] > row["first"] else "")
            if row["kind"] == MUST_BY:
                yield bar(row, f"{row['about']} by", "late" if row["about"] in late else "by",
                          late.get(row["about"]) or f"{row['about']} must be done by {row['last']}")
            else:
                yield bar(row, f"{row['first'].day}" if row["kind"] == IS_ON else "", {
                    MAY_BE: "may", IS_ON: "is", REST: "rest"}[row["kind"]], f"{name} {row['kind']} {span}")

    days = [[*(_days(first, each, last) for each in (day, day + _DAY))] for day, _, _ in lit]
    every = max(1, math.ceil(len(lit) / _MOST_DATE_TICKS))
    told = {at for at in range(len(lit)) if len(lit) <= _MOST_DAYS_TOLD or at % every == 0}
    night = [[*ends, number_label(minutes, "down", 0) if at in told else "", f"night {minutes / 60:.3f}",
              f"{day}: night {number_label(minutes, 'down')} min a revolution"]
             for at, (ends, (day, _, minutes)) in enumerate(zip(days, lit, strict=True))]
    # A sign and two digits need more room than a night.
    spaced = {at for at in told if len(lit) <= _MOST_DAYS_TOLD // 2 or at % every == 0}
    beta = [[*ends, signed(round(degrees) + 0.0, 0).lstrip("+") if at in spaced else "", "",
             f"{day}: beta {signed(degrees)}°"]
            for at, (ends, (day, degrees, _)) in enumerate(zip(days, lit, strict=True))]
    has_open = any(row["kind"] == MUST_BY and not row["outing"] for row in rows)
    limits = TextTable([[row["about"], one_line(campaign.tasks[row["about"]].title),
                         row["outing"] or _NOWHERE, str(row["last"]),
                         late.get(row["about"], "in time" if row["outing"] else "not planned")]
                        for row in dates.to_dict("records") if row["kind"] == MUST_BY],
                       columns=["task", "title", "outing", "must_by", "now"])
    spans = {(row["kind"], row["outing"]): row for row in dates.to_dict("records")}
    light = TextTable([[str(day), signed(deg), number_label(least, "down")] for day, deg, least in lit],
                      columns=["day", "beta, °", "night, min a revolution"])
    table = TextTable([[name, *(_span(spans.get((kind, name))) for kind in (IS_ON, MAY_BE, REST))]
                       for name in campaign.ids], columns=["outing", "date", "may be", "rest after it"])
    return {
        "words": f"{first} to {last - _DAY}, UTC. " + (
            "Night (min a revolution) and beta (degrees) by the orbit data of the first outing" if lit else
            "The outings are too far apart for night and beta") + one_line("".join(
                f". Not drawn, as it is too far from the outings: {each}" for each in far)),
        "rows": [*({"label": name, "bars": [*bars(name)]} for name in campaign.ids),
                 *([{"label": _NOWHERE, "bars": [*bars("")]}] if has_open else []),
                 *([{"label": "night, min", "bars": night}, {"label": "beta, °", "bars": beta}] if lit
                   else [])],
        "ticks": [[days[at][0], f"{lit[at][0]:%m-%d}"] for at in range(0, len(lit), every)
                  if days[at][0] < _LAST_TICK],
        "key": [["may", "dates that it may have"], ["is", "its date"], ["rest", "rest"],
                ["by", "last date of a task"], *([["late", "missed"]] if late else [])],
        "tables": [_table("Outings", table), *([_table("Last dates of open tasks", limits)]
                                               if len(limits) else []),
                   *([_table("Light by day", light) | {"is_long": True}] if lit else [])]}


def _missed(campaign: TimedCampaign, dates: pd.DataFrame) -> dict[str, str]:
    """Tasks on no outing whose last date is before every one that an outing to come may have, in words."""
    to_come = {row["first"] for row in dates.to_dict("records") if row["kind"] in (MAY_BE, IS_ON)
               and not campaign.has_log(row["outing"])}
    return {row["about"]: "missed: no outing to come is by then" for row in dates.to_dict("records")
            if row["kind"] == MUST_BY and not row["outing"] and row["last"] < min(to_come, default=date.max)}


def _span(row: dict[Any, Any] | None) -> str:
    if row is None:
        return ""
    return str(row["first"]) + (f" to {row['last']}" if row["last"] > row["first"] else "")


def _days(first: date, day: date, last: date) -> float:
    return _share((day - first).days, 0.0, (last - first).days)


def _light(scenario: Scenario, dates: pd.DataFrame) -> Sequence[tuple[date, float, float]]:
    """Day, beta and mean night of the season around the dates; an edit leaves it mostly as it is."""
    return _lit(scenario, min(dates["first"]), max(dates["last"]))


@lru_cache(maxsize=4)
def _lit(scenario: Scenario, first: date, last: date) -> Sequence[tuple[date, float, float]]:
    lit = season_of(scenario, pd.DataFrame({"first": [first], "last": [last]}))
    return [(pd.Timestamp(row["day"]).date(), float(row["beta_deg"]),
             0.0 if math.isnan(row["night_min_per_rev"]) else float(row["night_min_per_rev"]))
            for row in lit.to_dict("records")]


# What an early end costs


def _early_end(campaign: TimedCampaign, asked: Message, open_one: str) -> Message:
    able = [each for each in campaign.ids if not campaign.has_log(each)]
    if not able:
        return {"words": "Every outing has a log: what each left stands in its own state and on the board."}
    outing = next(each for each in (asked.get("outing"), open_one, able[0]) if each in able)
    plan = campaign.timed_plan(outing)
    last = math.floor(plan.end_min)
    given = asked.get("minute")
    minute = float(min(max(given if isinstance(given, int | float) else last // 2, 0), last))
    row = left_if_ended(campaign, outing, [minute]).iloc[0]
    names = str(row["tasks_left"]).split()
    left = (f"{', '.join(names)}: value {row['value_left']:g}, {int(row['required_left'])} of "
            f"{len(names)} required, up to {number_label(row['minutes_left'], 'up', 0)} min of work"
            if names else "nothing of the backlog")
    now, then = (onward(campaign, outing, end) for end in (None, minute))
    end = then.campaign.end_state(outing)
    own = [f"{each.task.task} ({number_label(each.left_min, 'up', 0)} min)" for each in end.tasks
           if each.share < 1 and each.task.need == "required" and each.task.task not in campaign.tasks]
    columns = ["kind", "id", "title", "is"]
    home = end.frame.query("kind == 'way home'")
    return {
        "outing": outing, "minute": minute, "last": last, "at": pet_label(minute),
        "picks": [[each, one_line(f"{each} {campaign.scenario(each).settings.title}"), ""]
                  for each in able],
        "words": f"If work on {outing} ends at PET {pet_label(minute)}, both are inside by PET "
                 f"{pet_label(end.end_min, 'up')} (planned: {pet_label(plan.end_min)}). Left for later: "
                 f"{left}" + (f". Not done of its own required work: {', '.join(own)}" if own else ""),
        "rows": [*_curves(campaign, outing, last)], "now": _share(minute, 0.0, last),
        "ticks": [[_share(each, 0.0, last), pet_label(each)] for each in pet_ticks(last)
                  if each <= _LAST_TICK * last],
        "lines": [*_cost(campaign, outing, now, then)],
        "tables": [_table("How they come home", home[["id", "is"]]),
                   _table("What the next outing must know, once all is made safe", end.left[columns])]}


def _curves(campaign: TimedCampaign, outing: str, last: float) -> Iterator[Message]:
    """What would be left by the minute of the end: bars as long as it is the same."""
    table = early_end_table(campaign, outing).to_dict("records")
    for name, column in (("value left", "value_left"), ("min left", "minutes_left")):
        runs = [(key, next(rows)["minute"]) for key, rows in groupby(table, key=lambda row: row[column])]
        most = max(key for key, _ in runs) or 1.0
        ends = [*(begin for _, begin in runs), float(last)]
        yield {"label": name, "bars": [
            [_share(begin, 0.0, last), _share(end, 0.0, last),
             number_label(key, "up", 0) if end - begin > _LEAST_TOLD * last else "",
             f"left {key / most:.3f}", f"{name} {number_label(key, 'up', 0)} from PET {pet_label(begin)}"]
            for (key, _), (begin, end) in zip(runs, pairwise(ends), strict=True)]}


def _cost(campaign: TimedCampaign, outing: str, now: Onward, then: Onward) -> Iterator[list[str]]:
    """What the outings to come are then, against what they are if this one does all its work: lines."""
    later = [each for each in campaign.ids[campaign.ids.index(outing) + 1:] if not campaign.has_log(each)]
    if later:
        yield ["", f"{later[0]} then, against {later[0]} after the planned end; work left over is not in it "
                   "before it is put there:"]
        if later[0] not in (now.stopped_at, then.stopped_at):
            yield from _next_cost(campaign, now.campaign, then.campaign, later[0])
    else:
        yield ["", "It is the last outing: none follows that could do what is left."]
    for each, which in ((now, "after the planned end"), (then, "then")):
        if each.stopped_at:
            yield [STOP, one_line(f"{each.stopped_at} has no plan {which}, what follows is not known: "
                                  f"{each.why}")]
    for row in new_over_outings(now, then, later[1:]):
        head = "" if row["outing"] in ("", *later[:1]) else f"{row['outing']}: "
        yield [row["severity"], one_line(f"{head}{row['message']}")]


def _next_cost(before: TimedCampaign, now: TimedCampaign, then: TimedCampaign,
               following: str) -> Iterator[list[str]]:
    planned, early = (each.timed_plan(following) for each in (now, then))
    soon, later = soon_told(planned, early), later_told(planned, early)
    yield ["", soon["end"]]
    yield from ([STOP, words] for words in soon["limits"])
    yield from (["", words] for *_, words in soon["windows"])
    yield [later["level"], f"{following} by itself: {later['found']}"]
    if later["worst"]:
        yield [later["level"], later["worst"]]
    scenarios = (each.scenario(following) for each in (before, now, then))
    yield from (["", f"begins otherwise: {words}"] for words in begins_otherwise(*scenarios))


LOOKS: Mapping[str, Callable[[TimedCampaign, Message, str], Message]] = {
    "thread": _thread, "season": _season, "end": _early_end}
"""By the name that a view has for it."""
