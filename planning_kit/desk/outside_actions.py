"""What each message of a view means while the crew is outside: one short function a kind."""

from __future__ import annotations

from collections.abc import Callable

from planning_kit.desk.actions import Content
from planning_kit.desk.workbench import Workbench
from planning_kit.explore.retime.deciding import Decision
from planning_kit.explore.watch.deciding import take
from planning_kit.explore.watch.entry import Entry
from planning_kit.explore.watch.watch import Watch
from planning_kit.inputs.faults import ScenarioError


def outside(bench: Workbench, _content: Content) -> None:
    """The planner follows the outing from now on."""
    bench.outside.go()
    if bench.session.faults:
        bench.say(f"the plan outside is the last good one: {len(bench.session.faults)} marked cells are not "
                  "in it", level="bad")
    elif bench.session.has_unsaved_work:
        bench.say("the plan outside is the one on the screen, which is not saved", level="bad")


def planning(bench: Workbench, _content: Content) -> None:
    """The planner plans again."""
    bench.outside.come_back()


def clock(bench: Workbench, content: Content) -> None:
    """Now is set, or follows the wall clock."""
    bench.outside.touch().set_clock(str(content["clock"]), str(content.get("text", "")))


def log(bench: Workbench, content: Content) -> None:
    """An event was called, or is corrected."""
    names = Entry.__dataclass_fields__
    entry = Entry(**{name: str(content[name]) for name in names if name in content})
    done = bench.outside.touch().enter(entry)
    if done:
        words = " ".join(part for part in (entry.step or entry.corrects or entry.lane, entry.event) if part)
        bench.say(f"logged {done}: {words}")


def forget(bench: Workbench, content: Content) -> None:
    """A refused entry is given up."""
    bench.outside.touch().forget(str(content["slot"]))


def rehearse(bench: Workbench, _content: Content) -> None:
    """Go on from now in a log of the session's own."""
    bench.outside.touch().rehearse()
    bench.say("a rehearsal from here: entries are kept in this session only")


def options(bench: Workbench, content: Content) -> None:
    """What can still be done; with other orders of the rest, if asked."""
    bench.outside.find_options(bool(content.get("with_orders")))


def stop_options(bench: Workbench, _content: Content) -> None:
    """The search for other orders has gone on long enough."""
    bench.outside.touch()
    bench.outside.stop_options()


def look(bench: Workbench, content: Content) -> None:
    """Preview an option."""
    watch = bench.outside.touch()
    watch.look_at(*_option(watch, content))


def look_away(bench: Workbench, _content: Content) -> None:
    """End the preview."""
    bench.outside.touch().look_away()


def decide(bench: Workbench, content: Content) -> None:
    """Decide on an option, or on the one that is previewed."""
    watch = bench.outside.touch()
    words, how = ((watch.preview.words, watch.preview.how) if "number" not in content and watch.preview
                  else _option(watch, content))
    bench.say(take(bench.session, watch, words, how, str(content.get("by", ""))))


def _option(watch: Watch, content: Content) -> tuple[str, Decision]:
    if watch.options is None:
        raise LookupError("no options")
    row = watch.options.table.iloc[int(content["number"])]
    if content.get("words", row["option"]) != row["option"]:
        raise ScenarioError.single("the options have been found anew since: choose again", column="take")
    return str(row["option"]), row["decide"]


OUTSIDE_ACTIONS: dict[str, Callable[[Workbench, Content], None]] = {
    action.__name__: action for action in (
        outside, planning, clock, log, forget, rehearse, options, stop_options, look, look_away, decide)
}
