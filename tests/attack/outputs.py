"""Every public output of one hostile scenario: found by walking the public names, not by a list of outputs.

A public name or method that nobody told how to call fails the walk: so a new one is attacked from the start.
"""

from __future__ import annotations

import contextlib
import csv
import inspect
import io
import os
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import tomlkit

import planning_kit as pk
from planning_kit.inputs import format as fmt
from planning_kit.inputs.raw import csv_row
from tests.attack.hostile import FORGED, FREE_NAME, ORBIT_NAME, PAYLOADS, SMALL, TERMINAL
from tests.edits import with_row
from tests.inputs.small_folder import as_csv

WALKED = (pk.Plan, pk.Scenario, pk.Odds, pk.Orbit, pk.Proposals, pk.Proposal, pk.Comparison, pk.Briefing,
          pk.Moment, pk.Timeline, pk.Campaign, pk.EndState)
"""Types whose public attributes are outputs, too."""
METHODS: Mapping[str, Mapping[str, Any]] = {
    "delay_curve": {"step": "B2", "up_to_min": 5}, "explain": {"step": "B3"}, "gain": {"step": "B3"},
    "table": {"name": "windows"}, "held_by": {"holder": "EV1"},
    "what_if": {"stretch": {"B2": "+2"}, "drop": "C3", "name": PAYLOADS[4]},
    "decide": {"skip": ["CAS"]}, "decision_table": {"samples": 100}, "options": {"samples": 100},
    "response": {"asked": "glove cut", "minute": 20.0},
    "ways_home": {"every_min": 20}, "terminate": {"at_min": 30}, "abort": {"at_min": 30},
    "with_settings": {"changes": {FREE_NAME: TERMINAL}}, "stop_if_happened": {"what": TERMINAL},
    "at": {"minute": 25.0}, "still": {"minute": 25.0}, "odds": {"samples": 100}, "cuts": {"samples": 100},
    "propose": {"effort": "quick", "seconds": 3.0},
    "sweep": {"start": "2031-09-03T07:00Z", "stop": "2031-09-03T08:00Z", "every_min": 30},
    "move_step": {"step": "C2", "after": "C1"},
    "add_row": {"table": "tasks", "task": "NEW", "need": "optional", "title": PAYLOADS[-4]},
    "drop_row": {"table": "tasks", "key": "CLN"}, "shift_dates": {"pet_zero": "2031-09-05"},
    "with_crew": {"swap": True, "EV1": {"name": PAYLOADS[4], "suit": PAYLOADS[5]}},
    "edit_row": {"table": "steps", "key": "B2", "title": PAYLOADS[5]},
    "add_note": {"by": PAYLOADS[5], "words": PAYLOADS[-5], "about": PAYLOADS[0]},
    "sign_off": {"by": PAYLOADS[4]},
}
"""How a method of what is walked is called; `Attack.given` knows those that need more of the attack."""
NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
NOT_OUTPUTS = {"save", "with_table", "as_happened", "faced", "retime", "position_teme_km", "state_teme"}
"""Methods that give what is walked already, or numbers."""
WORDS = ("str", "object", "Sequence[str]", "str | Path", "str | None", "When", "Other", "Other | None")
"""What a method's argument is, where words can be passed."""
EDITED = ("step", "task", "crew", "place", "minutes_likely", "after", "light", "takes", "hooks", "link")


@dataclass(frozen=True)
class Output:
    """What a public name, attribute or method gave, and where."""

    where: str
    thing: Any


class Attack:
    """One hostile folder, and all that can be asked of it; what is written goes to folders beside it."""

    def __init__(self, folder: Path, above: Path) -> None:
        self.folder, self.above = folder, above
        self.uncaught: list[str] = []
        self._git()

    def _git(self) -> None:
        for words in (("init", "-q"), ("add", "-A"),
                      ("-c", "user.name=x", "-c", "user.email=x", "commit", "-qm", "x")):
            subprocess.run(["git", "-C", self.folder, *words], check=True, capture_output=True)

    @cached_property
    def scenario(self) -> pk.Scenario:
        return pk.load_scenario(self.folder)

    @cached_property
    def plan(self) -> pk.Plan:
        return pk.time_plan(self.scenario)

    @cached_property
    def live(self) -> pk.Plan:
        return self.plan.retime(self.folder)

    @cached_property
    def changed(self) -> pk.Plan:
        return self.plan.what_if(stretch={"B2": "+4"}, name=PAYLOADS[-4])

    @cached_property
    def chances(self) -> pk.Odds:
        return self.plan.odds(samples=100)

    @cached_property
    def sweep(self) -> Any:
        return self.plan.sweep("2031-09-03T07:00Z", "2031-09-03T09:00Z", 20, stops=True)

    @cached_property
    def proposals(self) -> pk.Proposals[pk.Plan]:
        """Of a plan with a step at a bad time, so that there is a better order to show, and one rejected."""
        scenario = with_row(self.scenario, "steps", 2, step="D1", task="CLN", crew="both", place="MST",
                            title=PAYLOADS[4], minutes_likely=20)
        found = pk.time_plan(scenario).propose("quick", 60.0)
        assert found.best is not None
        assert len(found.rejected)
        return found

    @property
    def _finding(self) -> Any:
        """The first finding of the plan; what is none where it has none."""
        found = self.plan.findings
        return found.iloc[0] if len(found) else ("none",) * 5

    @cached_property
    def copy(self) -> Path:
        """The same folder again, to be written to."""
        return Path(shutil.copytree(self.folder, self.above / f"{self.folder.name} copy"))

    @property
    def old_sheet(self) -> Path:
        """A sheet of times in which every payload is a block, and a remark."""
        rows = [["PET", "EV1", "EV2"], *([f"0:{at:02}", text, ""] for at, text in enumerate(PAYLOADS))]
        rows += [["1:30", "", ""], *(["", "", text] for text in PAYLOADS)]
        (self.above / "old sheet.csv").write_text("\n".join(map(csv_row, rows)), encoding="utf-8")
        return self.above / "old sheet.csv"

    def arguments(self) -> Mapping[str, Mapping[str, Any]]:
        """How each public function is called; classes are walked where they turn up."""
        plan, orbit = self.plan, pk.load_orbit(self.folder / ORBIT_NAME)
        days = {"orbit": orbit, "start": "2031-09-03T06:00Z", "stop": "2031-09-04T06:00Z"}
        return {
            "load_scenario": {"folder": self.folder}, "load_orbit": {"orbit_file": self.folder / ORBIT_NAME},
            "night_windows": days, "season": days, "link_windows": {**days, "relays": [-62.0, 118.0]},
            "elements_age_note": {"orbit": orbit, "moment": "2031-09-03T06:00Z"},
            "new_scenario": {"folder": self.above / f"{PAYLOADS[4]} new", "station": PAYLOADS[-4],
                             "pet_zero_utc": "2031-09-03T07:30:00Z", "orbit": self.folder / ORBIT_NAME,
                             "crew": {"EV1": {"name": PAYLOADS[5]}}},
            "time_plan": {"scenario": self.scenario},
            "read_timeline": {"file": self.old_sheet},
            "find_plan": {"scenario": self.scenario, "effort": "quick", "seconds": 3.0},
            "read_log": {"file_or_folder": self.folder},
            "append_log": {"file_or_folder": self.copy, "event": "finished", "step": "C1",
                           "at": "2031-09-03T07:47:00Z", "note": PAYLOADS[0], "by": PAYLOADS[-4]},
            "swimlane": {"plan": self.changed, "baseline": plan}, "suit_chart": {"plan": plan},
            "season_chart": {"season": pk.season(**days), "scenario": self.scenario},
            "sweep_chart": {"sweep": self.sweep},
            "tornado_chart": {"odds": self.chances}, "fan_chart": {"odds": self.chances},
            "workbench": {"scenario": self.scenario},
            "scenario_at": {"folder": self.folder, "revision": "HEAD"},
            "load_campaign": {"folder": self.campaign},
            "format_reference": {}, "name_reference": {"notebooks": NOTEBOOKS},
        }

    @cached_property
    def given(self) -> Mapping[str, Mapping[str, Any]]:
        """How every method is called."""
        return {
            **METHODS, "accept": {"finding": self._finding, "by": PAYLOADS[4], "why": PAYLOADS[-5]},
            "compare": {"other": self.changed}, "into": {"scenario": self.scenario},
            "with_cuts": {"cuts": self.plan.cuts(samples=100)},
            "film": {"file": self.above / "film.html"},
            "write_workbook": {"file": self.above / "outing.xlsx"},
            "write_pack": {"folder": self.above / PAYLOADS[4], "baseline": SMALL, "chances": self.chances}}

    @cached_property
    def campaign(self) -> Path:
        """A campaign of the hostile folder and a copy of it, with hostile words in its own files."""
        folder = self.above / "campaign"
        folder.mkdir()
        days = ("2031-09-03", "2031-09-05")
        for name, day in zip(("one", "two"), days, strict=True):
            scenario = pk.load_scenario(self.folder).shift_dates(day)
            scenario.save(folder / name)
        outings = {name: {"folder": name, "earliest": day, "latest": day, "crew": [PAYLOADS[9], PAYLOADS[-5]]}
                   for name, day in zip(("one", "two"), days, strict=True)}
        top = {"format": 1, "title": PAYLOADS[4], "station": PAYLOADS[9], "reserve_min": 400,
               "reserve_min_source": PAYLOADS[-5], "outings": outings}
        (folder / "campaign.toml").write_text(tomlkit.dumps(top), encoding="utf-8")
        tasks = [["task", "title", "need", "minutes_likely", "trained"],
                 *([task, PAYLOADS[at], "required", "20", PAYLOADS[9]]
                   for at, task in enumerate(("LMP", "CAS", "NEW")))]
        backlog = "".join(f"{csv_row(row)}\n" for row in tasks)
        (folder / "backlog.csv").write_text(backlog, encoding="utf-8", newline="")
        return folder

    def outputs(self) -> Iterator[Output]:
        """Everything: what the public names give, what that gives in turn, and what is refused how."""
        arguments = self.arguments()
        functions = {name for name in pk.__all__ if not inspect.isclass(getattr(pk, name))}
        assert functions == set(arguments), f"say how to call {functions ^ set(arguments)}"
        walked: set[str] = set()
        for name, given in arguments.items():
            yield from self._walk(name, getattr(pk, name)(**given), walked)
        for name in ("swimlane", "suit_chart"):
            yield Output(f"{name} of a re-timed plan", getattr(pk, name)(self.live))
        yield from self._walk("re-timed plan", self.live, {"Scenario"})
        yield from self._walk("changed plan's changes", self.changed.changes, set())
        yield from self._walk("proposals", self.proposals, {"Plan", "Scenario"})
        yield from self.refusals(arguments)

    def _walk(self, where: str, thing: Any, walked: set[str]) -> Iterator[Output]:
        yield Output(where, thing)
        kind = type(thing)
        if not isinstance(thing, WALKED) or kind.__name__ in walked:
            return
        walked.add(kind.__name__)
        for name in dir(thing):
            if name.startswith("_") or name in NOT_OUTPUTS or isinstance(
                    inspect.getattr_static(kind, name, None), classmethod):
                continue
            try:
                given = getattr(thing, name)
                if inspect.ismethod(given):
                    given = given(**self._arguments_of(kind, name, given))
            except pk.ScenarioError as refused:  # a plan that is not outside, for one
                given = refused
            yield from self._walk(f"{where}.{name}", given, walked)

    def _arguments_of(self, kind: type, name: str, method: Any) -> Mapping[str, Any]:
        needed = [each.name for each in inspect.signature(method).parameters.values()
                  if each.default is each.empty]
        is_known = name in self.given or not needed or kind is pk.Campaign
        assert is_known, f"say how to call {kind.__name__}.{name}"
        if kind is pk.Campaign:
            own = {"write_pack": {"folder": self.above / "pack", "chances": self.chances},
                   "with_scenario": {"scenario": self.scenario}, "end_state": {"minute": 20.0}}
            return {"end": self.plan.end_state(), "outing": "two"} if name == "next_scenario" else (
                {"outing": "one", **own.get(name, {})} if needed else {})
        if (kind, name) == (pk.Odds, "compare"):
            return {"other": self.changed.odds(samples=100)}
        return self.given.get(name, {})

    def refusals(self, arguments: Mapping[str, Mapping[str, Any]]) -> Iterator[Output]:
        """What is said of hostile words where a function takes words, and of hostile cells, keys and files.

        Anything but a `ScenarioError` is noted in ``uncaught``.
        """
        for name, given in arguments.items():
            for each in inspect.signature(getattr(pk, name)).parameters.values():
                if any(word in str(each.annotation) for word in ("str", "object", "Path", "When")):
                    yield from self._refused(f"{name}({each.name}=…)", getattr(pk, name),
                                             {**given, each.name: TERMINAL})
        for asked in (self.live, self.plan, pk.load_scenario(self.copy)):
            for name, more in {**self.given, "retime": {"actuals": self.folder}}.items():
                for each in inspect.signature(getattr(asked, name, len)).parameters.values():
                    if each.annotation in WORDS:
                        yield from self._refused(f"{type(asked).__name__}.{name}({each.name}=…)",
                                                 getattr(asked, name), {**more, each.name: TERMINAL})
        for column in EDITED:
            yield from self._refused(f"a step's {column}", self.scenario.edit_row, {
                "table": "steps", "key": "B2", column: TERMINAL})
        yield from self._refused("another's change", _save_over_another, {"folder": self.copy})
        for place in self.spoiled():
            yield from self._refused(place.name, pk.load_scenario, {"folder": place})
        words = as_csv([["step", "event", "at"], [TERMINAL] * 3])
        (self._elsewhere() / "log.csv").write_text(words, encoding="utf-8", newline="")
        yield from self._refused("a spoiled log", self.plan.retime, {"actuals": self._elsewhere()})

    def spoiled(self) -> Iterator[Path]:
        """Copies of the folder, each with one file in which words stand where none belong."""
        for number, table in enumerate(fmt.TABLES):
            place = Path(shutil.copytree(self.folder, self.above / f"spoiled {number}"))
            rows = list(csv.reader(io.StringIO((place / table.file).read_text(encoding="utf-8"), newline="")))
            rows[1:2] = [[TERMINAL] * len(rows[0])]
            (place / table.file).write_text(as_csv(rows), encoding="utf-8", newline="")
            yield place
        words = as_csv([[TERMINAL] * 3])
        for number, (name, text) in enumerate((
                (fmt.SCENARIO_FILE, f'format = 2\n"{FREE_NAME[2:]}" = 1\n"a\\n{FORGED}" = "\\u001b[31m"\n'),
                (fmt.SCENARIO_FILE, f"format = {TERMINAL}"), ("steps.csv", words + words),
                (ORBIT_NAME, f"CCSDS_OMM_VERS = 2.0\n{TERMINAL} = 1\nEPOCH = {TERMINAL}\n"))):
            place = Path(shutil.copytree(self.folder, self.above / f"spoiled too {number}"))
            (place / name).write_text(text, encoding="utf-8", newline="")
            yield place

    def _refused(self, where: str, function: Any, given: Mapping[str, Any]) -> Iterator[Output]:
        with contextlib.chdir(self._elsewhere()):
            try:
                function(**given)
            except pk.ScenarioError as refused:
                yield Output(where, refused)
            except Exception as error:  # any other is a traceback in a user's face
                self.uncaught.append(f"{where}: {type(error).__name__}: {error}")

    def _elsewhere(self) -> Path:
        place = self.above / "elsewhere"
        place.mkdir(exist_ok=True)
        return place


def _save_over_another(folder: Path) -> None:
    mine = pk.load_scenario(folder).with_settings({"title": TERMINAL[-8:-4] + PAYLOADS[4]})
    with (folder / "steps.csv").open("a", encoding="utf-8") as stream:
        stream.write("\n")
    os.utime(folder / "steps.csv")
    mine.save()
