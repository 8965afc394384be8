"""A plan as the charts see one, made by hand: about eighty steps, nothing computed by the package."""

from __future__ import annotations

import copy
from dataclasses import asdict, fields
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from planning_kit.inputs.records import Actor, Crew, Inhibit, Place, Task
from planning_kit.inputs.setting_records import Limits
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.findings import FINDING_COLUMNS as FINDING_FIELDS
from planning_kit.judge.findings import Finding
from planning_kit.plan.activities import Activity
from planning_kit.plan.needs import Hold
from planning_kit.plan.network import Network
from planning_kit.plan.timed import TimedPlan
from planning_kit.show import swimlane_scene

PET_ZERO = datetime(2031, 5, 14, 11, 20, tzinfo=UTC)
NAN = float("nan")
TASKS = {
    "PRP": "Prepare the airlock and worksites", "REG": "Exchange the power regulator",
    "CBL": "Lay the data cable", "BAG": "Fetch and fill the stowage bag",
    "PHO": "Photo survey of the radiator",
    "CLN": "Clean the latch", "FTH": "Move the foothold", "LMP": "Replace the lamp",
    "INS": "Inspect the handrail", "GET": "Get-ahead: stow hoses",
}
PLACES = {"AIR": "Airlock", "MID": "Mid truss", "TIP": "Arm tip", "NOD": "Node shelf", "RAD": "Radiator root",
          "BOX": "Tool box"}
TITLES = ["Open the cover", "Release the four bolts", "Swap the regulator", "Close out and take photos",
          "Route the leg", "Mate the connector", "Inspect the seal", "Tighten", "Stow the tool bag",
          "Clean with the brush"]
COLUMNS = ["crew", "kind", "step", "task", "title", "place", "to_place", "start_min", "finish_min",
           "start_utc", "finish_utc", "slack_to_plan_min", "slack_to_limit_min", "slack_to_window_min",
           "held_by"]
FINDING_COLUMNS = ["severity", "check", "crew", "step", "start_min", "message", "source"]
NIGHTS = [[28.0, 64.2], [120.8, 157.0], [213.6, 249.7], [306.3, 342.4], [399.0, 435.2], [491.7, 527.9]]


def activity(crew, kind, start, minutes, step="", task="", title="", place="", to_place="", held_by="",
             slacks=(NAN, NAN, NAN)):
    finish = start + minutes
    return dict(zip(COLUMNS, [
        crew, kind, step, task, title, place, to_place, start, finish, PET_ZERO + timedelta(minutes=start),
        PET_ZERO + timedelta(minutes=finish), *slacks, held_by], strict=True))


def crew_rows(crew: str, seed: int) -> list[dict]:
    """About forty steps of one crew member with the travel and waits between them, from a fixed pattern."""
    rng = np.random.default_rng(seed)
    rows = [activity(crew, "work", 0.0, 12.0, "BOTH1", "PRP", "Check each other", "AIR", "", "order:PET 0",
                     (0.0, 30.0, 5.0))]
    at, place, number = 12.0, "AIR", 0
    tasks, places = list(TASKS), list(PLACES)
    while at < 352:
        task = tasks[(number // 4 + (3 if crew == "EV2" else 0)) % len(tasks)]
        target = places[(number // 3 + seed) % len(places)]
        step, minutes = f"{task}{number + 1:02d}", float(rng.choice([2, 3, 4, 5, 6, 8, 9, 18]))
        held = f"order:{rows[-1]['step']}"
        if target != place:
            travel = float(rng.integers(2, 6))
            rows.append(activity(crew, "travel", at, travel, step, task, "", place, target))
            at, place = at + travel, target
        for index, (night, _) in enumerate(NIGHTS):
            if number % 6 == 5 and 0 < night - at < 30:
                rows.append(activity(crew, "wait", at, night - at, step, task, "", place))
                at, held = night, f"light:night-{index + 1}"
        slack = (float(max(0, 24 - number)), float(max(5, 55 - number)), float(number % 7))
        title = TITLES[number % len(TITLES)]
        rows.append(activity(crew, "work", at, minutes, step, task, title, place, "", held, slack))
        at, number = at + minutes, number + 1
    rows.append(activity(crew, "travel", at, 7.0, "", "", "", place, "AIR"))
    return rows


def make_timeline() -> pd.DataFrame:
    first, second = crew_rows("EV1", 1), crew_rows("EV2", 3)
    end = max(first[-1]["finish_min"], second[-1]["finish_min"])
    rows = [*first, *second]
    rows += [activity(crew, "work", end, 15.0, "", "", "Ingress", "AIR") for crew in ("EV1", "EV2")]
    others = {"held_by": "order:PET 0", "slacks": (10.0, 40.0, 3.0)}
    rows += [activity("GND", "work", 100.0, 12.0, "G1", "REG", "Power the bus down", **others),
             activity("ARM", "work", 180.0, 25.0, "A1", "CBL", "Hold the arm", **others)]
    frame = pd.DataFrame(rows, columns=COLUMNS)
    return frame.sort_values(["start_min", "crew"], kind="stable", ignore_index=True)


def make_findings(timeline: pd.DataFrame) -> pd.DataFrame:
    works = timeline[(timeline.kind == "work") & (timeline.step != "")]
    first, second = works[works.crew == "EV1"], works[works.crew == "EV2"]
    rows = [
        ("stop", "foothold", "EV1", first.step.iloc[9], first.start_min.iloc[9],
         "the foothold FR1 is at Mid truss, 12 m away; bring it or change the step", "scenario"),
        ("stop", "return", "", "", NAN, "EV2 is 4 min short of the reserve", "demo value"),
        ("concern", "tether", "EV1", first.step.iloc[9], first.start_min.iloc[9], "reach 18 m of 16 m", ""),
        ("concern", "link", "EV2", second.step.iloc[14], second.start_min.iloc[14], "no link for 6 min", ""),
        ("concern", "link", "EV2", second.step.iloc[15], second.start_min.iloc[15], "no link for 3 min", ""),
        ("remark", "hands", "EV2", second.step.iloc[25], NAN, "a remark placed by its step", ""),
        ("remark", "limits", "", "", 300.0, "a remark for all at 5:00", ""),
    ]
    return pd.DataFrame(rows, columns=FINDING_COLUMNS)


def make_handovers(timeline: pd.DataFrame) -> pd.DataFrame:
    works = timeline[(timeline.kind == "work") & (timeline.step != "")]
    first, second = works[works.crew == "EV1"], works[works.crew == "EV2"]
    rows = []
    for number, what in ((3, "after"), (8, "REG-A"), (15, "after"), (20, "FR1"), (25, "BAG2")):
        before = first.iloc[number]
        later = second[second.start_min >= before.finish_min].iloc[0 if number % 2 else 2]
        rows.append(("EV1", "EV2", before.step, later.step, before.finish_min, later.start_min, what))
    source, target = second.iloc[10], first[first.start_min >= second.iloc[10].finish_min].iloc[1]
    rows.append(("EV2", "EV1", source.step, target.step, source.finish_min, target.start_min, "TOOL7"))
    target = first[first.start_min >= 112.0].iloc[0]
    rows.append(("GND", "EV1", "G1", target.step, 112.0, target.start_min, "after"))
    columns = ["from_crew", "to_crew", "from_step", "to_step", "from_min", "to_min", "what"]
    return pd.DataFrame(rows, columns=columns)


def make_inhibits() -> pd.DataFrame:
    rows = [("I-PWR", "Bus isolated", "Ground desk", 90.0, 150.0, "REG05", "REG08", "Live connectors"),
            ("I-ARM", "Arm stopped", "Arm operator", 100.0, 250.0, "CBL09", "CBL12", ""),
            ("I-TX", "Transmitter off", "Ground desk", 150.0, 200.0, "PHO17", "PHO20", "Radio power."),
            ("I-BAD", "Ends before it begins", "", 300.0, 290.0, "GET37", "GET40", "")]
    columns = ["inhibit", "title", "owner", "set_by_min", "lift_after_min", "from_step", "until_step",
               "reason"]
    return pd.DataFrame(rows, columns=columns)


def make_light() -> SimpleNamespace:
    edges = [0.0, *[edge for night in NIGHTS for edge in night], 540.0]
    day = [[edges[i] + (0.15 if i else 0), edges[i + 1] - 0.15] for i in range(0, len(edges), 2)]
    penumbra = [[edge - 0.15, edge] if i % 2 == 0 else [edge, edge + 0.15]
                for i, edge in enumerate(edges[1:-1])]
    return SimpleNamespace(night=np.array(NIGHTS), penumbra=np.array(penumbra), day=np.array(day))


def make_records() -> SimpleNamespace:
    sources = {"planned_min": "demo value", "hard_min": "demo value"}
    limits = Limits(390.0, 420.0, 15.0, 30.0, 1.5, None, sources)
    settings = SimpleNamespace(title="Regulator exchange and cable", station="Tern Station", limits=limits)
    return SimpleNamespace(
        settings=settings,
        crew=tuple(Crew(name, 4.0, 1.0, 4.0, 16.0) for name in ("EV1", "EV2")),
        actors=(Actor("GND", "Ground desk"), Actor("ARM", "Arm operator")),
        places=tuple(Place(place, title, 0, 0, 0, None, True, True, "") for place, title in PLACES.items()),
        tasks=tuple(Task(task, title, "required", 1, False, "", None, None) for task, title in TASKS.items()),
    )


class MadeUp(TimedPlan):
    """A plan whose tables are made up: what is set of it hides what would be worked out."""

    def __new__(cls, **parts: object) -> MadeUp:
        return object.__new__(type("MadeUp", (cls,), parts))

    def __init__(self, **parts: object) -> None:
        pass

    def __setattr__(self, name: str, value: object) -> None:
        setattr(type(self), name, value)

    @property
    def lanes(self) -> dict[str, tuple[Activity, ...]]:
        columns = [field.name for field in fields(Activity) if field.name in self.timeline]
        rows = [Activity(*row) for row in self.timeline[columns].itertuples(index=False)]
        return {who: tuple(row for row in rows if row.crew == who) for who in ("EV1", "EV2", "GND", "ARM")}

    @property
    def inhibit_holds(self) -> tuple[Hold, ...]:
        return tuple(Hold(Inhibit(row.inhibit, row.title, row.owner, row.from_step, row.until_step, 0.0, (),
                                  None, "", row.reason), row.set_by_min, row.lift_after_min, ())
                     for row in self.inhibits.itertuples())

    def __copy__(self) -> MadeUp:
        return MadeUp(**{name: part for name, part in vars(type(self)).items() if name[0] != "_"})


@pytest.fixture(autouse=True)
def findings_made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(swimlane_scene, "told_findings", lambda plan: (
        whole(plan.findings) if isinstance(plan, MadeUp) else told_findings(plan)))


def whole(findings: pd.DataFrame) -> pd.DataFrame:
    """The same findings with all columns of a findings table, in the order given."""
    return pd.DataFrame([asdict(Finding(**row)) for row in findings.to_dict("records")],
                        columns=FINDING_FIELDS)


def make_plan() -> MadeUp:
    timeline = make_timeline()
    return MadeUp(
        scenario=SimpleNamespace(records=make_records()), pet_zero=PET_ZERO, timeline=timeline,
        findings=make_findings(timeline), light=make_light(),
        relays={"relay 46°E": np.array([[10.0, 95.0], [110.0, 200.0], [215.0, 540.0]]),
                "relay 174°W": np.array([[0.0, 60.0], [90.0, 320.0]])},
        named_windows={"thrusters-free": np.array([[60.0, 240.0], [270.0, 540.0]])},
        end_min=float(timeline.finish_min.max()),
        safe_min=float(timeline.finish_min.max()), horizon_min=540.0, handovers=make_handovers(timeline),
        inhibits=make_inhibits(), network=Network(()), outside=None,
    )


def make_baseline(plan: MadeUp) -> MadeUp:
    """The same plan as it was: all steps after 2:00 six minutes earlier, one step since dropped."""
    changed = copy.copy(plan)
    timeline = plan.timeline.copy()
    late = timeline.start_min > 120
    timeline.loc[late, "start_min"] -= 6.0
    timeline.loc[late, "finish_min"] -= 6.0
    gone = activity("EV2", "work", 366.0, 9.0, "OLD1", "GET", "Dropped since", "AIR")
    changed.timeline = pd.DataFrame([*timeline.to_dict("records"), gone], columns=COLUMNS)
    return changed


@pytest.fixture
def plan() -> MadeUp:
    return make_plan()


@pytest.fixture
def baseline(plan: MadeUp) -> MadeUp:
    return make_baseline(plan)
