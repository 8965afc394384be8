"""Checks of a campaign: what is wrong between outings. Each outing's own findings are those of its plan.

``campaign``: rules ``out-of-order``, ``date``, ``rest-days``, ``reserve``, ``crew``, ``station`` (another
name), ``no-source`` (about the key); about the place or route ``station-otherwise``.

``backlog``, about the task: ``too-soon`` (before a prerequisite, or too soon after it), ``must-by``,
``not-planned``, ``done-twice``, ``not-trained``, ``training-unknown``; about the state: ``state-unset``.

``carried``, about the item, state or inhibit: ``item-elsewhere``, ``item-twice``, ``item-lost``,
``state-otherwise``, ``inhibit-left``, ``left-too-long``; about both steps of a gap: ``min-gap``, ``max-gap``,
``clock-runs`` (nobody comes to its end).
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from datetime import datetime
from itertools import pairwise
from math import nan

import pandas as pd

from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.carrying import starts
from planning_kit.campaign.end_state import EndState
from planning_kit.changes.dropping import is_at_its_end, touched_by
from planning_kit.inputs.records import INSIDE, Item, Place, Route
from planning_kit.inputs.shown_text import TextTable, one_line
from planning_kit.inputs.times import moment_at, number_label
from planning_kit.judge.findings import CONCERN, FINDING_COLUMNS, RANK, REMARK, STOP, Finding
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.procedures import before
from planning_kit.plan.timed import TimedPlan

_CAMPAIGN, _BACKLOG, _CARRIED = "campaign", "backlog", "carried"
Found = Iterator[tuple[str, Finding]]
"""Findings, each with its outing ("" for none)."""


def campaign_findings(campaign: TimedCampaign) -> pd.DataFrame:
    """What is wrong between the outings: ``outing``, then the columns of ``plan.findings``, worst first."""
    found = sorted((each for check in CHECKS for each in check(campaign)),
                   key=lambda each: RANK[each[1].severity])
    return TextTable([{"outing": outing, **asdict(finding)} for outing, finding in found],
                     columns=["outing", *FINDING_COLUMNS])


def check_dates(campaign: TimedCampaign) -> Found:
    """Outings out of their order or dates (stop), too few days between, a reserve that is not kept."""
    settings, last = campaign.source.settings, ""
    for name, outing in campaign.source.outings.items():
        plan, day = campaign.timed_plan(name), campaign.date_of(name)
        if not outing.earliest <= day <= outing.latest:
            yield name, Finding(STOP, _CAMPAIGN, "date", name, message=(
                f"its PET 0 is on {day}, and it may be from {outing.earliest} to {outing.latest}: move it "
                "(scenario.shift_dates)"), source="campaign.toml")
        if last:
            ended = campaign.end_state(last).ended
            days = (day - ended.date()).days
            if plan.pet_zero <= ended:
                yield name, Finding(STOP, _CAMPAIGN, "out-of-order", last, message=(
                    f"it begins on {day}, before {last} has ended on {ended.date()}: put the outings in "
                    "their order, or move one"), source="campaign.toml")
            elif days < settings.least_days_between:
                yield name, Finding(STOP, _CAMPAIGN, "rest-days", last, message=(
                    f"it begins {days} days after {last}, and at least {settings.least_days_between:g} are "
                    "needed: move one of the two"), source=settings.sources.get("least_days_between", ""),
                    value=days, limit=settings.least_days_between, margin=days - settings.least_days_between)
        last = name
        left = plan.scenario.settings.limits.planned_min - plan.end_min
        if plan.outside is None and left < settings.reserve_min - 1e-6:
            yield name, Finding(CONCERN, _CAMPAIGN, "reserve", name, message=(
                f"it keeps {number_label(left, 'down')} min free before its planned length, and "
                f"{settings.reserve_min:g} min are to be kept: take work out of it"),
                source=settings.sources.get("reserve_min", ""), value=left, limit=settings.reserve_min,
                margin=left - settings.reserve_min)


def check_sources(campaign: TimedCampaign) -> Found:
    """A remark for each limit of the campaign that is given without its source."""
    settings = campaign.source.settings
    for key in ("least_days_between", "reserve_min"):
        if (limit := getattr(settings, key)) and not settings.sources.get(key):
            yield "", Finding(REMARK, _CAMPAIGN, "no-source", key, message=(
                f"the limit {key} = {limit:g} gives no source: add {key}_source"), source="campaign.toml")


def check_station(campaign: TimedCampaign) -> Found:
    """Outings of another station, or with tables that say otherwise of it than an earlier one's (concern)."""
    first, named = dict[str, tuple[str, Place | Route]](), campaign.source.settings.station
    for name in campaign.ids:
        scenario = campaign.scenario(name)
        if scenario.settings.station != named:
            yield name, Finding(CONCERN, _CAMPAIGN, "station", name, message=(
                f"its scenario.toml names the station {one_line(scenario.settings.station)}, campaign.toml "
                f"{one_line(named)}: one of the two is wrong"), source="campaign.toml, station")
        rows: list[tuple[str, Place | Route]] = [
            *((each.place, each) for each in scenario.records.places),
            *((" ".join(sorted((each.from_place, each.to_place))), each) for each in scenario.records.routes)]
        for about, row in rows:
            where, other = first.setdefault(about, (name, row))
            apart = [key for key, cell in vars(row).items() if key in _JUDGED and cell != vars(other)[key]]
            if apart:
                told = ", ".join(f"{key} {vars(row)[key]}, not {vars(other)[key]}" for key in apart)
                yield name, Finding(CONCERN, _CAMPAIGN, "station-otherwise", about, message=(
                    f"{about} has {told} as in {where}: take the campaign's table for both, or correct one"),
                    source=f"{name}, its own tables")


_JUDGED = ("x_m", "y_m", "z_m", "crew_at_once", "anchor", "socket", "metres", "minutes", "tight", "snag")
"""What a place or route is; words about it may differ from outing to outing."""


def check_crews(campaign: TimedCampaign) -> Found:
    """Pairs that may not go (stop), work of the backlog by somebody not trained for it (concern)."""
    for name, outing in campaign.source.outings.items():
        people = dict(zip(("EV1", "EV2"), campaign.people(name), strict=True))
        pair = tuple(people.values())
        if outing.crew and all(pair) and pair not in {tuple(map(one_line, each)) for each in outing.crew}:
            yield name, Finding(STOP, _CAMPAIGN, "crew", name, message=(
                f"{pair[0]} and {pair[1]} go, and the campaign allows "
                f"{' or '.join(' and '.join(map(one_line, each)) for each in outing.crew)}"),
                source="campaign.toml")
        for task in campaign.planned(name):
            trained = [one_line(each) for each in campaign.tasks[task].trained]
            steps = [step for step in campaign.scenario(name).records.steps if step.task == task]
            for crew in people if trained else ():
                if not any(crew in step.people for step in steps) or people[crew] in trained:
                    continue
                is_known = bool(people[crew])
                words = f"{people[crew]} ({crew}) is not trained for it: {', '.join(trained)} are" if (
                    is_known) else f"who {crew} is, is not known: {', '.join(trained)} are trained for it"
                yield name, Finding(CONCERN if is_known else REMARK, _BACKLOG,
                                    "not-trained" if is_known else "training-unknown", task, crew,
                                    message=f"{task}: {words}", source="backlog.csv, trained")


def check_order(campaign: TimedCampaign) -> Found:
    """Tasks before or too soon after their prerequisites, past their date, not planned, planned once more."""
    spans = _spans(campaign)
    for name, task in campaign.tasks.items():
        mine = spans.get(name, [])
        for outing, start, ended in mine:
            if task.must_by is not None and ended.date() > task.must_by:
                yield outing, _of_task(STOP, "must-by", name, f"is done on {ended.date()}, and must be by "
                                       f"{task.must_by}: move it to an earlier outing")
            for other in task.after if (outing, start, ended) == mine[0] else ():
                yield from _too_soon(campaign, spans, outing, name, other, start)
        for (first, *_), (again, *_) in pairwise(mine):
            if _share(campaign.end_state(first), name) >= 1.0:
                words = f"is done in {first} already: leave it out"
                yield again, _of_task(CONCERN, "done-twice", name, words)
        share = _share(campaign.end_state(mine[-1][0]), name) if mine else task.share_done
        if share < 1 and task.need == "required":
            by = f", and must be by {task.must_by}" if task.must_by else ""
            none = f"{mine[-1][0]} leaves {1 - share:.0%} of it, and no later one" if mine else "no outing"
            yield "", _of_task(STOP if task.must_by else CONCERN, "not-planned", name,
                               f"is required{by}, and {none} does it: give it to one")


def _too_soon(campaign: TimedCampaign, spans: Mapping[str, list[tuple[str, datetime, datetime]]], outing: str,
              name: str, other: str, start: datetime) -> Found:
    task, prior = campaign.tasks[name], [each for each in spans.get(other, []) if each[2] <= start]
    if campaign.tasks[other].share_done >= 1:
        return
    done = next((each for each in prior if _share(campaign.end_state(each[0]), other) >= 1), None)
    if done is None:
        part, when = "only in part" if prior else "only", spans[other][-1] if other in spans else None
        where = "by no outing" if when is None else f"{part} in {when[0]}, {when[2]:%Y-%m-%d %H:%M}"
        yield outing, _of_task(STOP, "too-soon", name,
                               f"needs {other} first, and that is done {where}: move one of them")
    elif (days := (start.date() - done[2].date()).days) < task.least_gap_days:
        yield outing, _of_task(STOP, "too-soon", name, f"begins {days} days after {other}, and at least "
                               f"{task.least_gap_days:g} are needed", days, task.least_gap_days)


def _of_task(severity: str, rule: str, task: str, words: str, value: float = nan,
             limit: float = nan) -> Finding:
    source = f"backlog.csv, {_COLUMNS.get(rule, 'need')}"
    return Finding(severity, _BACKLOG, rule, task, message=f"{task} {words}", source=source, value=value,
                   limit=limit, margin=value - limit)


_COLUMNS = {"must-by": "must_by", "too-soon": "after, least_gap_days"}


def _share(end: EndState, task: str) -> float:
    return next((each.share for each in end.tasks if each.task.task == task), 0.0)


def _spans(campaign: TimedCampaign) -> dict[str, list[tuple[str, datetime, datetime]]]:
    """Of each planned task the outings in order, with the start and the finish (UTC) of its steps there."""
    spans: dict[str, list[tuple[str, datetime, datetime]]] = {}
    for name in campaign.ids:
        plan, planned = campaign.timed_plan(name), campaign.planned(name)
        for task in planned:
            own = [(start, finish) for step, start, finish in plan.each_step() if step.task == task]
            if own:
                spans.setdefault(task, []).append((
                    name, moment_at(min(start for start, _ in own), plan.pet_zero),
                    moment_at(max(finish for _, finish in own), plan.pet_zero)))
    return spans


def check_needs(campaign: TimedCampaign) -> Found:
    """A state that a task of the backlog needs, and that nobody has set by then (stop)."""
    for name in campaign.ids:
        plan = campaign.timed_plan(name)
        for task in campaign.planned(name):
            own = [(start, step.step) for step, start, _ in plan.each_step() if step.task == task]
            for need in campaign.tasks[task].needs if own else ():
                spells, (start, step) = plan.state_spells.get(need.state), min(own)
                now = before(spells, start, step).value if spells else "not known"
                if now != need.value:
                    yield name, Finding(STOP, _BACKLOG, "state-unset", need.state, "", step, start, (
                        f"{task} needs {need}, and it is {now} when {step} begins: let a step before it set "
                        "it, here or in an earlier outing"), "backlog.csv, needs")


def check_carried(campaign: TimedCampaign) -> Found:
    """What an outing begins with and those before did not leave so (stop where it is touched).

    Held against the last outing that knows it: what one in between has no row of does not vanish by that.
    """
    by, last = dict[tuple[str, str], str](), ""
    for name in campaign.ids:
        left = campaign.left_after(last) if last else None
        ends = {each.item.item: each for each in left.items} if left else {}
        values = {each.state.state: each for each in left.states} if left else {}
        held = {each.inhibit.inhibit: each for each in left.inhibits} if left else {}
        end = campaign.end_state(name)
        records = end.records
        items, touched = {each.item: each for each in records.hardware}, touched_by(records.steps)
        needed = touched | {need.state for step in records.steps for need in step.needs}
        yield from ((name, _elsewhere(by["item", item], items[item], at, item in touched, ends[item].item))
                    for item, at in starts(records, items, ends).items() if at != items[item].at)
        for item, was in ends.items():
            if was.is_outside and item not in items and by["item", item] == last:
                yield name, _carried(CONCERN, "item-lost", item, (
                    f"was left at {was.place} by {last}, and hardware.csv has no row of it: add one"))
        for state in records.states:
            was_left = values.get(state.state)
            if was_left and (was_left.on_way_to or was_left.value != state.at_start):
                severity = STOP if state.state in needed and was_left.value != state.at_start else CONCERN
                words = (f"begins {state.at_start}, and {by['state', state.state]} leaves it {was_left.words}"
                         f"{'' if was_left.value == state.at_start else f': {_FIX}'}")
                yield name, _carried(severity, "state-otherwise", state.state, words)
        rows = {each.inhibit: each for each in records.inhibits}
        for inhibit in held:
            row = rows.get(inhibit)
            if row is None or row.set_at == "":
                still = "is left" if held[inhibit].is_sure else "is perhaps left"
                here = "nobody lifts it" if row is None else "here it is set anew"
                yield name, _carried(CONCERN, "inhibit-left", inhibit, (
                    f"{still} in force by {by['inhibit', inhibit]}, and {here}: have it lifted between the "
                    f"two, or {_FIX}"))
        by |= {("item", item): name for item in items} | {("state", each.state): name
                                                          for each in records.states}
        by |= {("inhibit", each.inhibit.inhibit): name for each in end.inhibits}
        last = name


_FIX = "begin with what was left (campaign.next_scenario)"


def _elsewhere(last: str, item: Item, at: str, is_touched: bool, was: Item) -> Finding:
    used_up = at != INSIDE and was.end_at == at and item.end_at == at
    there = at if at == INSIDE else f"at {at}"
    rule = "item-twice" if is_touched and used_up else "item-elsewhere"
    words = (f"is put at {at} by {last}, and this outing plans to do so again: use another one, or leave it "
             "out") if rule == "item-twice" else f"begins at {item.at}, and {last} leaves it {there}: {_FIX}"
    return _carried(STOP if is_touched else CONCERN, rule, item.item, words)


def _carried(severity: str, rule: str, about: str, words: str, **more: float) -> Finding:
    return Finding(severity, _CARRIED, rule, about, message=f"{about} {words}",
                   source="campaign", value=more.get("value", nan), limit=more.get("limit", nan),
                   margin=more.get("margin", more.get("limit", nan) - more.get("value", nan)))


def check_gaps(campaign: TimedCampaign) -> Found:
    """A gap of the backlog's work that begins in one outing and ends in a later one, or in none.

    Held against its minutes there (stop); a clock that nobody comes to the end of is a concern.
    """
    for at, name in enumerate(campaign.ids):
        end, plan = campaign.end_state(name), campaign.timed_plan(name)
        over = {"finish": end.done, "start": end.done | end.begun}
        for gap in end.records.gaps:
            if (gap.first_step not in over[gap.first_at] - end.again or gap.then_step in over[gap.then_at]
                    or end.task_of.get(gap.then_step) not in campaign.tasks):
                continue
            about, begun = f"{gap.first_step} {gap.then_step}", _moment_of(plan, gap.first_step, gap.first_at)
            why = f" ({one_line(gap.reason)})" if gap.reason else ""
            then = next((each for each in campaign.ids[at + 1:] if campaign.end_state(each).task_of.get(
                gap.then_step) == end.task_of[gap.then_step]), None)
            if then is None:
                if gap.max_gap is not None:
                    yield name, _carried(CONCERN, "clock-runs", about, (
                        f"is a clock of {gap.max_gap:g} min {gap.words}, running since "
                        f"{begun:%Y-%m-%d %H:%M} UTC, and no later outing comes to its end: plan that{why}"),
                        limit=gap.max_gap)
                continue
            later = campaign.timed_plan(then)
            if gap.first_step in campaign.end_state(then).task_of or gap.then_step not in later.network.steps:
                continue  # it is begun anew there, or done by nobody yet
            minutes = (_moment_of(later, gap.then_step, gap.then_at) - begun).total_seconds() / 60
            if gap.max_gap is not None and minutes > gap.max_gap + ROUNDING_MIN:
                yield then, _carried(STOP, "max-gap", about, (
                    f"is {number_label(minutes, 'up')} min {gap.words}, which {name} has done, and may be "
                    f"{gap.max_gap:g}: come sooner, or do {gap.first_step} again{why}"),
                    value=minutes, limit=gap.max_gap)
            elif minutes < gap.min_gap - ROUNDING_MIN:
                yield then, _carried(STOP, "min-gap", about, (
                    f"is {number_label(minutes, 'down')} min {gap.words}, which {name} has done, and must be "
                    f"{gap.min_gap:g}: come later{why}"), value=minutes, limit=gap.min_gap,
                    margin=minutes - gap.min_gap)


def _moment_of(plan: TimedPlan, step: str, which: str) -> datetime:
    """The start of a step, of its first part where it has several, or its finish."""
    states = {} if plan.outside is None else plan.outside.states.by_step
    pieces = states[step].pieces if step in states else []
    start, finish = plan.span(step) if step in plan.network.steps else pieces[-1]
    return moment_at(finish if which == "finish" else pieces[0][0] if pieces else start, plan.pet_zero)


def check_claims(campaign: TimedCampaign) -> Found:
    """Two tasks of the backlog, both still to do, that take up the same spare, unit or cable (stop)."""
    kinds = {item.item: item.kind for name in campaign.ids
             for item in campaign.scenario(name).records.hardware}
    first: dict[str, str] = {}
    for name, task in campaign.tasks.items():
        for item in task.items if task.share_done < 1 else ():
            if kinds.get(item) in ("spare", "unit", "cable") and first.setdefault(item, name) != name:
                yield "", _carried(STOP, "item-twice", item, (
                    f"is taken up by {first[item]} and by {name}: one of them needs another one"))


def check_left_outside(campaign: TimedCampaign) -> Found:
    """What is left outside, or other than it must end, too long (stop), or with nobody to come to it.

    That is a stop, too, where the least limit of all outings passes before the last one is over, else a
    concern. A state must end as its ``at_end``, that of another outing, a later one first, or as it was.
    """
    for at, name in enumerate(campaign.ids):
        end = campaign.end_state(name)
        # Where it must end a thing is no more left than anything that is built in.
        left = [("hardware", each.item.item, each.since) for each in end.items if each.is_outside and not (
            is_at_its_end(end.records, each.item, each.in_bag or each.place))]
        left += [("states", each.state.state, each.since) for each in end.states if (
            {each.value, each.on_way_to or each.value} != {_must_end(campaign, at, each.state.state)})]
        for table, about, since in left:
            yield from _left(campaign, at, table, about, since)


def _limits(campaign: TimedCampaign, table: str, name: str) -> list[tuple[float, str]]:
    """What the outings give a thing at most, hours, each with its source."""
    return [(each.leave_max_h, each.leave_source) for outing in campaign.ids
            for each in getattr(campaign.scenario(outing).records, table)
            if name == (each.item if table == "hardware" else each.state) and each.leave_max_h is not None]


def _must_end(campaign: TimedCampaign, at: int, state: str) -> str:
    rows = [next((each for each in campaign.scenario(name).records.states if each.state == state), None)
            for name in campaign.ids]
    ends = [each.at_end for each in (*rows[at:], *reversed(rows[:at])) if each and each.at_end]
    return ends[0] if ends else next(each.at_start for each in rows if each)


def _left(campaign: TimedCampaign, at: int, table: str, about: str, since: datetime | None) -> Found:
    limits = _limits(campaign, table, about)
    if not limits or (since is None and at):  # the outing that left it has told of it
        return
    name, (most_h, source) = campaign.ids[at], min(limits)
    begun = since or campaign.timed_plan(name).pet_zero  # since when before that is not known
    later = [(other, moment) for other in campaign.ids[at + 1:]
             if (moment := _touched_at(campaign.timed_plan(other), about)) is not None]
    until = later[0][1] if later else campaign.end_state(campaign.ids[-1]).ended
    hours = (until - begun).total_seconds() / 3600
    is_over, why = hours > most_h, f"({one_line(source) or 'no source'})"
    if not later:
        over = f", over before {campaign.ids[-1]} is" if is_over else ""
        yield name, _carried(STOP if is_over else CONCERN, "left-too-long", about, (
            f"is left from {begun:%Y-%m-%d}, {most_h:g} h at most{over}, and no later outing comes to it: "
            f"plan that {why}"), value=hours, limit=most_h)
    elif is_over:
        yield name, _carried(STOP, "left-too-long", about, (
            f"is left for {number_label(hours, 'up')} h, until {later[0][0]} comes to it, {most_h:g} h at "
            f"most: come sooner, or finish it {why}"), value=hours, limit=most_h)


def _touched_at(plan: TimedPlan, about: str) -> datetime | None:
    starts_min = [start for step, start, _ in plan.each_step()
                  if about in step.touches or about in {entry.state for entry in step.sets}]
    return moment_at(min(starts_min), plan.pet_zero) if starts_min else None


CHECKS: tuple[Callable[[TimedCampaign], Found], ...] = (
    check_dates, check_sources, check_station, check_crews, check_order, check_needs, check_carried,
    check_gaps, check_claims, check_left_outside)
