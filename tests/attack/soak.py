"""Random planners at work for long: `python -m tests.attack.soak [edits] [seed]`.

Each of three scenarios gets its share of edits in one session: cells typed with sense and nonsense, pastes,
rows added, copied, moved and deleted, bars dragged, settings, PET 0, undo and redo, versions, baselines,
journals of others restored, exports, saves, and merges with what another has saved meanwhile. What must hold:

- nothing but a `ScenarioError` is raised, and all that a page is told can be told;
- undo and redo lead to the very cells that stood there, to the start and to the end;
- the journal gives the draft back, and is as large as what is typed asks for, however long the session is;
- what is held in memory is the drafts of the history and a few plans: see `MOST_PLANS` and `MOST_BYTES`.
"""

from __future__ import annotations

import gc
import json
import random
import shutil
import sys
import tempfile
import tracemalloc
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import planning_kit as pk
from planning_kit.changes.amounts import LikelyMinutes
from planning_kit.changes.order import Drag
from planning_kit.desk import messages
from planning_kit.explore.long_question import at_once
from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.editing import AS_LOADED
from planning_kit.explore.session.journal import Journal
from planning_kit.explore.session.merge import THEIRS, YOURS, both_sides
from planning_kit.explore.session.session import Session
from planning_kit.explore.session.sheet import SETTINGS, VALUE, typed_fields
from planning_kit.inputs.times import moment_text
from planning_kit.plan.timed import TimedPlan
from tests.edits import move_lines, type_setting
from tests.inputs.small_folder import write_small
from tests.inputs.test_fuzz import HOSTILE

SCENARIOS = Path(__file__).parents[2] / "scenarios"
NAMES = ("small-outing", "tern-station", "made up")
EDITS = 5_000
MOST_PLANS = 5  # shown, judged, baseline, one more of the version that is compared, one in a cache
MOST_BYTES = 10_000  # a typed cell: the tuple of its row, that of its table, and the draft
MORE_NONSENSE = ["\ud800", "\U0001f6f0", "0.1", "7", "1e3", "12:00", "B1 B2", "x" * 300, "A\tB", "'", "-"]
Acts = Mapping[Callable[["Planner"], None], int]


@dataclass
class Planner:
    """One session with its dice, and what it should find again on the way back."""

    session: Session
    place: Path
    dice: random.Random
    past: list[object] = field(default_factory=list)
    ahead: list[object] = field(default_factory=list)
    merges: object = None
    met: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        """Begin the shadow of the history."""
        self.past.append(cells_of(self.session.draft))

    @property
    def folder(self) -> Path:
        """The scenario's own."""
        return self.session.base.folder

    def text(self, sheet: str, column: str) -> str:
        """Something to type into a column: what stands there elsewhere, or nonsense."""
        if self.dice.random() < 0.8:
            return self.dice.choice(self.session.draft[sheet].column(column) or [""])
        return self.dice.choice(HOSTILE + MORE_NONSENSE)

    def sheet(self) -> str:
        """A sheet, often the steps."""
        return "steps" if self.dice.random() < 0.5 else self.dice.choice(list(self.session.draft.sheets))

    def lines(self, sheet: str, most: int = 3) -> list[int]:
        """Some lines of a sheet."""
        known = [line.id for line in self.session.draft[sheet].lines]
        return self.dice.sample(known, min(len(known), self.dice.randint(1, most)))

    def step(self) -> str:
        """A step of the plan, or none."""
        return self.dice.choice([*self.session.plan.network.steps, "no such"])


def cells_of(draft: Draft) -> object:
    """All cells in order, with the ids of their lines."""
    return tuple((name, sheet.columns, sheet.lines) for name, sheet in draft.sheets.items())


# What a planner does


def type_cells(him: Planner) -> None:
    sheet = him.sheet()
    columns = [VALUE] if sheet == SETTINGS else list(him.session.draft[sheet].columns)
    places = [(line, him.dice.choice(columns)) for line in him.lines(sheet)]
    him.session.type_cells(sheet, {place: him.text(sheet, place[1]) for place in places})


def paste(him: Planner) -> None:
    sheet = him.sheet()
    columns = list(him.session.draft[sheet].columns)
    columns = columns[him.dice.randrange(len(columns)):]
    block = [[him.text(sheet, column) for column in columns[:4]] for _ in range(him.dice.randint(1, 4))]
    text = "\n".join("\t".join(row) for row in block)
    lines = [line.id for line in him.session.draft[sheet].lines]
    start = him.dice.randrange(len(lines) + 1)
    him.session.paste(sheet, lines[start:], columns, text)


def add(him: Planner) -> None:
    sheet = him.sheet()
    if him.session.draft[sheet].can_grow:
        him.session.add_line(sheet, him.dice.choice([None, *him.lines(sheet)]))


def duplicate(him: Planner) -> None:
    sheet = him.sheet()
    him.session.duplicate_lines(sheet, him.lines(sheet))


def delete(him: Planner) -> None:
    sheet = him.sheet()
    him.session.delete_lines(sheet, him.lines(sheet, 2))


def move(him: Planner) -> None:
    sheet = him.sheet()
    move_lines(him.session, sheet, him.lines(sheet), him.dice.choice([None, *him.lines(sheet)]))


def shift(him: Planner) -> None:
    sheet = him.sheet()
    shown = him.dice.choice([None, set(him.lines(sheet, 9))])
    him.session.shift_lines(sheet, him.lines(sheet), him.dice.choice([-1, 1]), shown)


def drag(him: Planner) -> None:
    him.session.make(Drag(him.step(), him.dice.choice(["EV1", "EV2", "both", "nobody"]),
                          him.dice.choice([None, him.step()])))


def minutes(him: Planner) -> None:
    length = him.dice.choice([-5, 0, 3.4, 12, 60, 1e9, him.dice.uniform(1, 30)])
    him.session.make(LikelyMinutes(him.step(), length))


def setting(him: Planner) -> None:
    key = him.dice.choice([*typed_fields(), "no.such"])
    type_setting(him.session, key, him.text(SETTINGS, VALUE))


def pet_zero(him: Planner) -> None:
    moved = him.session.plan.pet_zero + timedelta(minutes=him.dice.choice([-1, 1, 7, 90, 1440, -2000]))
    text = moment_text(moved) if him.dice.random() < 0.8 else him.dice.choice(HOSTILE)
    him.session.set_pet_zero(text, him.dice.choice([None, "drag", "another"]))


def undo(him: Planner) -> None:
    for _ in range(him.dice.randint(1, 4)):
        step_back(him)


def mend(him: Planner) -> None:
    step_back(him)


def redo(him: Planner) -> None:
    for _ in range(him.dice.randint(1, 4)):
        step_on(him)


def keep(him: Planner) -> None:
    if len(him.session.versions) < 6:
        him.session.keep_version(him.dice.choice(["", " ", "a", "b", "c", "<b>", "d\ne", "\ud800"]))
    else:
        him.session.drop_version(him.dice.choice(list(him.session.versions)))
        if him.dice.random() < 0.3:
            him.session.bring_back()


def switch(him: Planner) -> None:
    him.session.switch_to(him.dice.choice([*him.session.versions, "none"]))


def baseline(him: Planner) -> None:
    him.session.set_baseline(him.dice.choice([None, *him.session.versions]))
    him.session.compare_with(him.dice.choice(list(him.session.versions)))


def save(him: Planner) -> None:
    try:
        him.session.save()
    except pk.SaveConflict:
        both_sides(him.session.draft, him.session.base.folder)
        if him.dice.random() < 0.2:
            him.session.take_theirs()
            return
        clashes = him.session.merging().clashes
        him.session.merge({clash.where: him.dice.choice([YOURS, THEIRS]) for clash in clashes})
        him.met["merged"] += 1
        him.session.save()
    him.met["saved"] += 1


def another_saves(him: Planner) -> None:
    other = Session(pk.load_scenario(him.folder))
    helper = Planner(other, him.place, him.dice)
    for act in him.dice.choices([type_cells, minutes, move, add], k=4):
        quietly(act, helper)
    other.save()
    him.met["saved by another"] += 1


def another_leaves(him: Planner) -> None:
    """Another session ends without a save, or is open still; its work is taken up, and it has it still."""
    other = Session(pk.load_scenario(him.folder))
    try:
        quietly(type_cells, Planner(other, him.place, him.dice))
        other.keep_version("of another")
        other.autosave()
        is_open = him.dice.random() < 0.3
        if not is_open:
            other.close()
        for found in him.session.unsaved_work():
            him.session.restore(found)
        assert other.journal.path.exists() == is_open, "one in use was deleted, or one that was left was not"
        for name in list(him.session.versions)[4:]:
            him.session.drop_version(name)
    finally:
        other.journal.remove()
    him.met["restored"] += 1


def export(him: Planner) -> None:
    written = him.session.export(him.place / "export")
    again = pk.load_scenario(written)
    shutil.rmtree(written)
    assert again == him.session.verdict.scenario, "an export says something else"
    him.met["exported"] += 1


ACTS: Acts = {
    type_cells: 30, paste: 8, add: 4, duplicate: 5, delete: 4, move: 5, shift: 5, drag: 8, minutes: 8,
    setting: 5, pet_zero: 6, undo: 5, redo: 6, keep: 3, switch: 2, baseline: 2, save: 4, another_saves: 2,
    another_leaves: 2, export: 2,
}


# The way back, and what must hold


def watch_history(him: Planner) -> None:
    """Note every edit as the history is told of it, apart from the history."""
    push = him.session.history.push

    def noted(draft: Draft, words: str, merges: object = None) -> None:
        joins = merges is not None and merges == him.merges and not him.ahead
        him.past[len(him.past) - joins:] = [cells_of(draft)]
        him.ahead.clear()
        him.merges = merges
        push(draft, words, merges)

    him.session.history.push = noted  # type: ignore[method-assign, assignment]


def step_back(him: Planner) -> bool:
    moved = him.session.undo()
    assert moved == (len(him.past) > 1), "undo ends elsewhere than at the start"
    if moved:
        him.ahead.append(him.past.pop())
        him.merges = None
    assert cells_of(him.session.draft) == him.past[-1], "undo leads elsewhere"
    return moved


def step_on(him: Planner) -> bool:
    moved = him.session.redo()
    assert moved == bool(him.ahead), "redo ends elsewhere than at the end"
    if moved:
        him.past.append(him.ahead.pop())
        him.merges = None
    assert cells_of(him.session.draft) == him.past[-1], "redo leads elsewhere"
    return moved


def quietly(act: Callable[[Planner], None], him: Planner) -> None:
    """Do it; what is refused in words is no failure."""
    try:
        act(him)
    except pk.ScenarioError:
        him.met["refused"] += 1


def all_is_told(him: Planner) -> None:
    """A page can be told whatever the state is."""
    session = him.session
    json.dumps(messages.everything(session))
    json.dumps(at_once(messages.notes_of(session.plan, session.ghosts[1])))
    json.dumps(messages.patch(session, session.versions[AS_LOADED], with_chart=True))


def journal_gives_it_back(him: Planner) -> None:
    """The draft and the versions, in a file as large as a new session would write."""
    session = him.session
    session.autosave()
    if not session.has_unsaved_work:
        return
    reader = Journal(him.folder)
    found, = (each for each in reader.left_by_others(session.draft) if each.path == session.journal.path)
    assert found.is_in_use
    assert cells_of(found.draft) == cells_of(session.draft), "the journal says something else"
    assert {name: cells_of(each) for name, each in found.versions.items()} == {
        name: cells_of(each) for name, each in session.versions.items()}, "versions are lost"
    reader.write(found.draft, found.base, found.versions, found.bases)
    assert abs(reader.path.stat().st_size - session.journal.path.stat().st_size) < 100, "the journal grows"
    him.met["journal bytes"] = max(him.met["journal bytes"], reader.path.stat().st_size)
    reader.remove()


def plans_alive() -> int:
    """Plans that something holds."""
    gc.collect()
    return sum(issubclass(type(each), TimedPlan) for each in gc.get_objects())


def soak(source: Path, place: Path, edits: int, seed: int) -> Planner:
    """One session of so many edits on a copy of a scenario. Raises what fails, with a note of where."""
    folder = Path(shutil.copytree(source, place / "outing"))
    plans = plans_alive()
    him = Planner(Session(pk.load_scenario(folder)), place, random.Random(seed))
    watch_history(him)
    for number in range(edits):
        # A planner mends what is marked before going on, more often than not.
        mends = him.session.faults and him.dice.random() < 0.6
        act = mend if mends else him.dice.choices(list(ACTS), list(ACTS.values()))[0]
        try:
            quietly(act, him)
            if him.dice.random() < 0.05:
                all_is_told(him)
            if him.dice.random() < 0.05:
                journal_gives_it_back(him)
        except Exception as error:
            error.add_note(f"{source.name}, seed {seed}, edit {number}: {act.__name__}")
            raise
        him.met["with faults"] += bool(him.session.faults)
    end = cells_of(him.session.draft)
    for step in (step_on, step_back, step_on):  # to the end, to the start, to the end
        while step(him):
            pass
        him.met["longest history"] = max(len(him.past), him.met["longest history"])
    while cells_of(him.session.draft) != end:
        assert step_back(him), "the end is not on the way back"
    him.met["plans held"] = plans_alive() - plans
    assert him.met["plans held"] <= MOST_PLANS, f"{him.met['plans held']} plans are held"
    return him


def bytes_an_edit(source: Path, place: Path, edits: int) -> float:
    """What each typed cell takes in memory, in a session that does nothing else."""
    session = Session(pk.load_scenario(shutil.copytree(source, place / "outing")))
    lines = [line.id for line in session.draft["steps"].lines]

    def typed(number: int) -> None:
        session.type_cells("steps", {(lines[number % len(lines)], "title"): f"typed {number}"})

    for number in range(30):
        typed(number)
    gc.collect()
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    for number in range(edits):
        typed(-number - 1)
    gc.collect()
    held = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    return held / edits


def made_folder(name: str, place: Path) -> Path:
    """A scenario of `NAMES`; the made-up one is written."""
    return write_small(place / "made up") if name == "made up" else SCENARIOS / name


def main() -> int:
    """Soak every scenario and print what was met; raises at the first failure."""
    given = [int(each) for each in sys.argv[1:]]
    edits, seed = [*given, *(EDITS, 1)[len(given):]]
    for name in NAMES:
        with tempfile.TemporaryDirectory() as place:
            source = made_folder(name, Path(place))
            him = soak(source, Path(place), edits // len(NAMES), seed)
            (Path(place) / "memory").mkdir()
            him.met["bytes an edit"] = round(bytes_an_edit(source, Path(place) / "memory", 200))
        told = ", ".join(f"{what} {count:,}" for what, count in him.met.items())
        print(f"{name}: {edits // len(NAMES):,} edits, {told}")
        assert him.met["bytes an edit"] <= MOST_BYTES
    print(f"nothing failed (seed {seed})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
