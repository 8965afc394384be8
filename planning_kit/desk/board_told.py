"""The board of a campaign and what comes of a move on it, as plain data: every word that its page shows."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from planning_kit.campaign.assigning import Assigning, days_told
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.check_campaign import campaign_findings
from planning_kit.campaign.moving import Moved
from planning_kit.campaign.open_work import question_of
from planning_kit.campaign.standing import PLANNED, board_table, room_left
from planning_kit.desk.candidate import later_told, soon_told
from planning_kit.desk.messages import Message
from planning_kit.explore.long_question import InPieces
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import gmt_label, number_label, pet_label
from planning_kit.judge.findings import CONCERN, STOP
from planning_kit.judge.review import keeps
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.campaign_charts import chance_words

Row = Mapping[Any, Any]
Line = list[str]
"""A severity, or "", and words."""


@dataclass(frozen=True, eq=False)
class Shown:
    """A campaign as it is told: with the plan of the open outing, what can be moved, each outing's column.

    ``folder``: that of the open outing, ``open_one``: its id, "" where the campaign has it no more. Without
    a ``question`` nothing can be moved, and ``trouble`` says why.
    """

    campaign: TimedCampaign
    folder: str
    open_one: str
    plan: TimedPlan
    number: int
    question: Assigning | None
    trouble: str
    rows: tuple[Row, ...]
    columns: tuple[Message, ...]
    findings: tuple[Line, ...]


def showing(campaign: TimedCampaign, folder: str, plan: TimedPlan, number: int) -> InPieces[Shown]:
    """The board with ``plan`` for the outing of ``folder``; an outing with a log stands by its log.

    Raises `ScenarioError` where an outing has no plan.
    """
    own = next((name for name, each in campaign.source.outings.items() if each.folder == folder), "")
    if own:
        campaign = campaign.with_scenario(own, plan.scenario)
        if not campaign.has_log(own):
            campaign.known[own] = plan
    for name in campaign.ids:
        room_left(campaign.timed_plan(name), campaign.planned(name))  # kept: what follows is soon done
        yield
    question, trouble = None, ""
    try:
        question = question_of(campaign)
    except ScenarioError as error:
        trouble = f"Nothing can be moved: {one_line(error.words)}"
    yield
    board = board_table(campaign).sort_values("start_min", kind="stable")
    rows = tuple(board.to_dict("records"))
    yield
    findings = tuple([row["severity"], _found(row)] for row in campaign_findings(campaign).to_dict("records"))
    return Shown(campaign, folder, own, plan, number, question, trouble, rows, tuple(
        _column(campaign, name, own, question, rows) for name in campaign.ids), findings)


def board_told(shown: Shown, refused: Mapping[tuple[str, str], str]) -> Message:
    """All of it. ``refused``: by task and outing why a move was answered with no."""
    question = shown.question
    nowhere = [] if question is None else [task for task in question.tasks if task not in question.present]
    first = {row["task"]: row for row in reversed(shown.rows)}
    cards = [_card(shown.campaign, first[task], True) | {"why": _why(shown, task, refused)}
             for task in nowhere]
    words = (f"{len(nowhere)} of {len(question.tasks)} open tasks on no outing" if question else
             shown.trouble)
    settings = shown.campaign.source.settings
    return {"number": shown.number, "title": one_line(settings.title), "words": words,
            "findings": [*shown.findings], "columns": [*shown.columns, {
                "outing": "", "title": "", "takes": question is not None, "why_fixed": shown.trouble,
                "is_open": False, "facts": [], "cards": cards}]}


def _column(campaign: TimedCampaign, name: str, own: str, question: Assigning | None,
            rows: tuple[Row, ...]) -> Message:
    plan, outing = campaign.timed_plan(name), campaign.source.outings[name]
    takes = question is not None and name in question.outings
    day = campaign.date_of(name)
    facts: list[Message] = [
        _fact("date", f"{day}, GMT {gmt_label(plan.pet_zero)}",
              "" if outing.earliest <= day <= outing.latest else STOP),
        *([_fact("may be", f"{outing.earliest} to {outing.latest}")]
          if outing.earliest < outing.latest else []),
        _fact("who", one_line(" and ".join(filter(None, campaign.people(name)))) or "not named"),
        _fact("both inside", f"PET {pet_label(plan.end_min)}")]
    if takes:
        facts += _room(campaign, name)
    return {"outing": name, "title": one_line(plan.scenario.settings.title), "is_open": name == own,
            "takes": takes, "facts": facts,
            "why_fixed": "" if takes else "under way or over: it has a log" if campaign.has_log(name) else
            "nothing can be moved now",
            "cards": [_card(campaign, row, takes and row["status"] == PLANNED)
                      for row in rows if row["outing"] == name]}


def _fact(what: str, words: str, level: str = "") -> Message:
    return {"what": what, "words": words, "level": level}


def _room(campaign: TimedCampaign, name: str) -> list[Message]:
    """Minutes free beside the reserve that is kept, the least chance of its tasks, its own stops."""
    plan, reserve = campaign.timed_plan(name), campaign.source.settings.reserve_min
    left = room_left(plan, campaign.planned(name))
    limit = plan.scenario.settings.limits.planned_min
    if keeps(plan.end_min, limit - reserve):
        more = number_label(max(left.free_min - reserve, 0.0), "down")
        kept, level = f"{reserve:g} min kept, {more} more free", ""
    elif keeps(plan.end_min, limit):
        kept, level = f"{number_label(reserve - left.free_min, 'up')} of {reserve:g} min used", CONCERN
    else:
        kept, level = f"used up, {number_label(-left.free_min, 'up')} min over the planned limit", STOP
    odds = chance_words({"status": PLANNED, "p_done": left.p_least, "margin_min": math.nan})
    return [_fact("reserve", kept, level),
            *([_fact("least chance", odds)] if campaign.planned(name) else []),
            _fact("own stops", str(left.stops or "none"), STOP if left.stops else "")]


def _card(campaign: TimedCampaign, row: Row, can_move: bool) -> Message:
    task = campaign.tasks[row["task"]]
    after = f"after {', '.join(task.after)}" if task.after else ""
    if after and task.least_gap_days:
        after += f", {days_told(task.least_gap_days)} later"
    asks = ", ".join(filter(None, (after, f"by {task.must_by}" if task.must_by else "")))
    is_timed = row["status"] == PLANNED and not math.isnan(row["start_min"])
    return {"task": task.task, "title": one_line(task.title), "can_move": can_move, "why": "",
            "need": f"{task.need}, value {task.value:g}", "asks": asks,
            "chance": _odds(row) if row["outing"] else "",
            "when": " to ".join(pet_label(row[each]) for each in ("start_min", "finish_min"))
            if is_timed else ""}


def _odds(row: Row) -> str:
    chance, _, margin = chance_words(row).partition(", ")
    if row["status"] != PLANNED:
        return chance
    return f"chance {chance}" + (f", margin {margin}" if margin else "")


def _why(shown: Shown, task: str, refused: Mapping[tuple[str, str], str]) -> str:
    """Why a task is on no outing, as far as it is known: by date, persons, order, and what was tried."""
    question, untried = shown.question, list[str]()
    assert question is not None
    told = [f"left undone on {row['outing']}" for row in shown.rows if row["task"] == task and row["outing"]]
    dates = {name: each.present for name, each in question.outings.items()}
    people = {name: each.people for name, each in question.outings.items()}
    has = {name: shown.campaign.planned(name) for name in question.outings}
    for name in question.outings:
        why = refused.get((task, name)) or question.why_not(task, name, dates, people, has)
        if why:
            told.append(f"{name}: {one_line(why)}")
        else:
            untried.append(name)
    return "; ".join([*told, *([f"not tried on {', '.join(untried)}"] if untried else [])])


def _found(row: Row) -> str:
    return one_line(": ".join(filter(None, (str(row["outing"]), str(row["message"])))))


# What comes of a move


def answer_told(found: Moved[TimedCampaign], typed: str) -> Message:
    """What a move comes to. ``typed``: the outing with work that is not saved yet, which a keep saves too."""
    if found.why_not:
        return {"refused": one_line(found.words)}
    if not found.changed:
        return {"refused": one_line(found.words)}
    names = [f"{name} (with all that is typed in it)" if name == typed else name for name in found.changed]
    return {"head": _task_line(found), "parts": [*_parts(found), *_between(found)],
            "keep": f"Saves {', '.join(names)}"}


def _task_line(found: Moved[TimedCampaign]) -> str:
    """The task then and now: its chance and margin, or what is lost with it."""
    was, now = (next((row for row in board_table(each).to_dict("records") if row["task"] == found.task and (
        row["status"] == PLANNED or not row["outing"])), None) for each in (found.before, found.campaign))
    task = found.before.tasks[found.task]
    then = f"; now {_odds(was)} on {was['outing']}" if was and was["outing"] else ""
    if now is None or not now["outing"]:
        return one_line(f"{task.task} on no outing: {task.need}, value {task.value:g} is not done{then}")
    return one_line(f"{task.task} on {found.outing}: {_odds(now)}{then}")


def _parts(found: Moved[TimedCampaign]) -> Iterator[Message]:
    """By outing that changes: its end, room, chances, windows and findings, then against now."""
    for name in found.changed:
        now, then = found.before.timed_plan(name), found.campaign.timed_plan(name)
        soon, later = soon_told(now, then), later_told(now, then)
        is_own = found.task in {*found.before.planned(name), *found.campaign.planned(name)}
        lines: list[Line] = [["", soon["end"]], *([STOP, words] for words in soon["limits"])]
        lines += [[CONCERN, words] for words in found.lost.get(name, ())]
        was = {each["what"]: each["words"] for each in _room(found.before, name)}
        lines += [[new["level"], f"{new['what']} {new['words']}" + (
            "" if new["words"] == (old := was.get(new["what"], "")) else f", was {old}" if old else "")]
            for new in _room(found.campaign, name) if is_own or new["words"] != was.get(new["what"])]
        lines += [["", words] for *_, words in soon["windows"]]
        lines.append([later["level"], later["found"]])
        lines += [[later["level"], later["worst"]]] if later["worst"] else []
        if is_own and later["tightest"]:
            lines.append([later["tightest"]["level"], f"tightest: {later['tightest']['words']}"])
        yield {"outing": name, "lines": lines,
               "words": "" if is_own else "begins with what the one before it leaves then"}


def _between(found: Moved[TimedCampaign]) -> Iterator[Message]:
    """What is wrong between the outings then and not now, and how much less."""
    was, now = ({(row["outing"], row["rule"], row["about"]): [row["severity"], _found(row)]
                 for row in campaign_findings(each).to_dict("records")}
                for each in (found.before, found.campaign))
    lines = [line for key, line in now.items() if key not in was]
    gone = sum(key not in now for key in was)
    if gone:
        words = "finding between the outings goes" if gone == 1 else "findings between the outings go"
        lines.append(["", f"{gone} {words}"])
    if lines:
        yield {"outing": "", "words": "Between the outings", "lines": lines}
