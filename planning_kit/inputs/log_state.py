"""How far each step has come: the events of a log played by time, and every event that cannot be.

Legal and kept: steps done out of the order of work, left partly done, taken up again, skipped. Impossible,
and a fault of its row: an unknown step, a finish without or before its start, two steps of one person at
once, a start before a step that must come first (``after``), work of the crew before PET 0. An actor's step
that must come first and was not called is taken to be done: nobody outside can call it.

A step of both has one start and one finish. Where the two are logged apart (``crew`` says who) it begins when
the later begins and is finished when the later has finished; who was sooner is told (``State.apart``). A
start of one while the other is still on another step is that one being ready. Where the sooner has begun
something else before the later has finished, the step counts until then.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from planning_kit.inputs import log_format
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.format import PARTNER, SUITED
from planning_kit.inputs.log_format import BROKEN_OFF, FINISHED, LOG, PARTLY, SKIPPED, STARTED, Event
from planning_kit.inputs.records import BOTH, Records, Step
from planning_kit.inputs.times import gmt_label, moment_text, pet_label, pet_min

TO_DO, IN_PROGRESS, DONE, LEFT, DROPPED = "to do", "in progress", "done", "left", "skipped"
OPEN = (TO_DO, LEFT)
"""Nobody is at work on it, and something is still to be done."""


@dataclass
class State:
    """How far one step has come. PET minutes.

    ``pieces``: start and finish of each spell of work, the last finish NaN while it runs. ``reported_min``
    and ``remaining_min``: when it was last said how long it will still take, and how long (None: never).
    ``called_by``: who of the two called the last start or finish of a step of both ("": both of them);
    ``apart``: in words, where the two did not begin or finish it together. ``is_left_undone``: both went in
    before it was done. ``assumed_for``: an actor's step that nobody called, taken to be done as this began.
    ``given_up_min``: minutes of its work that were still to do when it was broken off, only to be made safe.
    """

    step: Step
    status: str = TO_DO
    pieces: list[tuple[float, float]] = field(default_factory=list)
    reported_min: float = float("nan")
    remaining_min: float | None = None
    called_by: str = ""
    apart: list[str] = field(default_factory=list)
    is_left_undone: bool = False
    assumed_for: str = ""
    given_up_min: float | None = None

    @property
    def worked_min(self) -> float:
        """Minutes of all finished spells of work."""
        return sum(finish - start for start, finish in self.pieces if finish == finish)

    def left_to_do_min(self, now_min: float) -> float:
        """Minutes still to work at ``now_min``, 0 when the estimate is used up."""
        if self.remaining_min is not None:
            runs = self.status == IN_PROGRESS
            # What was said before this spell began counts from its start.
            since = now_min - max(self.reported_min, self.pieces[-1][0]) if runs else 0.0
            return max(0.0, self.remaining_min - since)
        running = now_min - self.pieces[-1][0] if self.status == IN_PROGRESS else 0.0
        return max(0.0, self.step.minutes_likely - self.worked_min - running)


@dataclass(frozen=True)
class Suited:
    """The last metabolic rate logged for one crew member: mean W since PET 0, at PET minutes."""

    crew: str
    at_min: float
    metabolic_w: float


@dataclass
class States:
    """All steps by id, the latest metabolic rates, and whoever is at work on what.

    PET minutes: ``inside_min``, when both were logged to be inside; ``put_back``, by step that puts its task
    back (its ``step`` says so), since when that is given up.
    """

    by_step: dict[str, State]
    suited: dict[str, Suited] = field(default_factory=dict)
    at_work: dict[str, str] = field(default_factory=dict)
    last_min: float = 0.0
    inside_min: float | None = None
    put_back: dict[str, float] = field(default_factory=dict)

    @property
    def tasks_put_back(self) -> frozenset[str]:
        """The tasks that were given up after they had begun."""
        return frozenset(self.by_step[name].step.task for name in self.put_back)


IN_FUTURE = "lies in the future"
"""How the fault of an event that is not yet begins: who follows a log looks at such a row again."""
_FARTHEST_MIN = 1440.0  # a day: an event farther off has a wrong date


def states_of(records: Records, events: Sequence[Event], pet_zero: datetime, faults: Faults,
              now: datetime | None = None) -> States:
    """Play the events by time (`by_time`); what cannot be is noted and passed over."""
    named = {event.step: event.row for event in reversed(events) if event.step}
    if len(named) > 1 and not named.keys() & {step.step for step in records.steps}:
        # Said once: a fault for every row would hide what is wrong.
        faults.add(LOG.name, min(named.values()), "step", " ".join(list(named)[-3:]),
                   f"and the other steps of this log, {len(named)} in all, are no steps of this plan: is it "
                   "the log of another outing?")
        events = ()
    walk = _Walk(records, pet_zero, faults, States({step.step: State(step) for step in records.steps}))
    for event in log_format.by_time(events, {step.step: step.after for step in records.steps}):
        if now is not None and event.at > now:
            walk.fault(event, "at", f"{IN_FUTURE}: it is {gmt_label(now)} GMT (PET "
                       f"{pet_label(pet_min(now, pet_zero))}) now")
        else:
            walk.play(event)
    return walk.states


@dataclass
class _Walk:
    records: Records
    pet_zero: datetime
    faults: Faults
    states: States
    turns: dict[str, int] = field(default_factory=dict)
    """The steps begun or finished so far, each with the number of that turn."""

    def fault(self, event: Event, column: str, problem: str) -> None:
        value = moment_text(event.at) if column == "at" else getattr(event, column)
        self.faults.add(LOG.name, event.row, column, value, problem)

    def play(self, event: Event) -> None:
        at = pet_min(event.at, self.pet_zero)
        if abs(at) > max(self.records.settings.horizon_h * 60, _FARTHEST_MIN):
            side = "after" if at > 0 else "before"
            self.fault(event, "at", f"lies {abs(at) / 60:.0f} h {side} PET 0: is the date right?")
            return
        self.states.last_min = max(self.states.last_min, at)
        if event.event in log_format.STEP_EVENTS:
            state = self._state(event)
            if state is None or not self._crew_is_right(event, state.step) or self._is_too_early(event, at):
                return
            {STARTED: self._started, FINISHED: self._finished, PARTLY: self._partly,
             BROKEN_OFF: self._broken_off, SKIPPED: self._skipped}[event.event](event, state, at)
        elif event.step:
            self.fault(event, "step", f"an event {event.event} belongs to no step; leave it empty")
        elif event.event == log_format.INGRESS:
            self._ingress(event, at)
        elif event.event != log_format.PET_ZERO and event.metabolic_w is None:
            self.fault(event, "metabolic_w", f"is empty; an event {log_format.SUIT} gives the rate since "
                       "PET 0 in W")
        if event.metabolic_w is not None:
            self._rate(event, at)

    def _ingress(self, event: Event, at: float) -> None:
        """Both are inside: what the two have not begun is not done any more."""
        if self.states.inside_min is not None:
            self.fault(event, "event", f"ingress is logged at PET {pet_label(self.states.inside_min)} "
                       "already; log a correct if that was wrong")
            return
        if at <= 0:
            self.fault(event, "at", "is not after PET 0")
            return
        at_work = [person for person in SUITED if not self._leaves_work(event, person)]
        if at_work:  # looked at in both, so that each has a fault
            return
        self.states.inside_min = at
        for state in self.states.by_step.values():
            if state.status in OPEN and state.step.crew in (*SUITED, BOTH):
                state.status, state.is_left_undone = DROPPED, True

    def _state(self, event: Event) -> State | None:
        known = self.states.by_step
        if event.step not in known:
            self.fault(event, "step", "is no step of this plan" + did_you_mean(event.step, tuple(known))
                       if event.step else f"is empty; name the step that was {event.event}")
        return known.get(event.step)

    def _crew_is_right(self, event: Event, step: Step) -> bool:
        allowed = (BOTH, *SUITED) if step.crew == BOTH else (step.crew,)
        if event.crew and event.crew not in allowed:
            self.fault(event, "crew", f"{step.step} is a step of {step.crew} in this plan; leave it empty, "
                       f"or give the task to {event.crew} in the plan first")
            return False
        return True

    def _is_too_early(self, event: Event, at: float) -> bool:
        if self.states.by_step[event.step].step.crew not in (*SUITED, BOTH):
            return False
        if at < 0:
            self.fault(event, "at", f"lies {-at:.1f} min before PET 0 at {gmt_label(self.pet_zero)} GMT")
            return True
        if self.states.inside_min is not None:
            self.fault(event, "at", f"both are inside since PET {pet_label(self.states.inside_min)}: correct "
                       "one of the two")
            return True
        return False

    def _started(self, event: Event, state: State, at: float) -> None:
        if self._joins(event, state):
            self._joined(event, state, at)
            return
        if state.assumed_for:  # it is called after all
            state.status, state.assumed_for = TO_DO, ""
            state.pieces.clear()
        if state.given_up_min is not None and state.status in (IN_PROGRESS, DONE):  # taken up again
            self._stop(state, at if state.status == IN_PROGRESS else _last(state), LEFT)
        if state.status in (IN_PROGRESS, DONE):
            since = "is in progress since" if state.status == IN_PROGRESS else "was finished at"
            self.fault(event, "event", f"{event.step} {since} PET {pet_label(_last(state))} already; log a "
                       "correct if that was wrong")
            return
        missing = [name for name in state.step.after
                   if self.states.by_step[name].status in (TO_DO, IN_PROGRESS)
                   and not self._is_partly(name)]
        of_actors = [name for name in missing if self._is_of_an_actor(name)]
        if missing and missing != of_actors:
            self.fault(event, "step", f"{event.step} cannot start before {' and '.join(missing)} "
                       f"{'is' if len(missing) == 1 else 'are'} finished (steps.after); log "
                       f"{'that' if len(missing) == 1 else 'those'} first, or as skipped")
            return
        if self._is_only_ready(event, state, at):
            return
        if not all(self._leaves_work(event, person) for person in state.step.people):
            return
        for name in of_actors:
            self._assume_done(name, event.step, at)
        self.states.at_work |= dict.fromkeys(state.step.people, event.step)
        self._takes_its_turn(state)
        if state.status == DROPPED:  # taken up again
            self.states.put_back.pop(event.step, None)
        state.status, state.called_by = IN_PROGRESS, event.crew
        state.pieces.append((at, float("nan")))
        if state.given_up_min is not None:
            state.remaining_min, state.given_up_min = state.given_up_min, None
        if event.remaining_min is not None:
            state.reported_min, state.remaining_min = at, event.remaining_min
        elif state.remaining_min is not None:
            state.reported_min = at

    def _is_of_an_actor(self, name: str) -> bool:
        return not set(self.states.by_step[name].step.people) & set(SUITED)

    def _assume_done(self, name: str, later: str, at: float) -> None:
        """Take an actor's step, which others did not call, as done at ``at``; so with those before it."""
        state = self.states.by_step[name]
        for before in state.step.after:
            if self.states.by_step[before].status in (TO_DO, IN_PROGRESS) and self._is_of_an_actor(before):
                self._assume_done(before, later, at)
        if state.status == TO_DO:
            self._takes_its_turn(state)
            free = max((_last(other) for other in self.states.by_step.values()
                        if other.pieces and other.step.crew == state.step.crew), default=0.0)
            state.pieces.append((min(at, max(free, at - state.step.minutes_likely)), at))
        else:
            state.pieces[-1] = (state.pieces[-1][0], at)
            for person in state.step.people:
                self.states.at_work.pop(person, None)
        state.status, state.assumed_for = DONE, later

    def _joins(self, event: Event, state: State) -> bool:
        """Whether the partner of who called the start, or the finish, of a step of both now calls theirs."""
        is_running = state.status == IN_PROGRESS and event.event == STARTED
        is_over = state.status == DONE and event.event == FINISHED
        return (state.step.crew == BOTH and bool(event.crew) and event.crew == PARTNER.get(state.called_by)
                and (is_over or (is_running and not self._is_partly(event.step))))

    def _joined(self, event: Event, state: State, at: float) -> None:
        """The later of the two begins: only now does the step begin."""
        begun, finish = state.pieces[-1]
        state.pieces[-1] = (at, finish)
        if state.remaining_min is not None:
            state.reported_min = at
        if at > begun:
            state.apart.append(f"{state.called_by} was ready for {event.step} at {pet_label(begun)}, "
                               f"{at - begun:.1f} min before {event.crew}: it needs both, and counts from "
                               "then on")
        state.called_by = ""

    def _is_only_ready(self, event: Event, state: State, at: float) -> bool:
        """One of the two is ready for a step of both while the other is on something else: not begun yet."""
        partner = PARTNER.get(event.crew, "") if state.step.crew == BOTH else ""
        busy, own = self.states.at_work.get(partner), self.states.at_work.get(event.crew)
        if busy is None or self._is_partly(busy) or (own is not None and not self._is_partly(own)):
            return False
        self._leaves_work(event, event.crew)
        state.apart.append(f"{event.crew} was ready for {event.step} at {pet_label(at)}, while {partner} was "
                           f"on {busy}: it needs both, and begins when {partner} begins")
        return True

    def _is_partly(self, name: str) -> bool:
        state = self.states.by_step[name]
        # What was said at the very start is an estimate: the step goes on.
        return state.status == IN_PROGRESS and state.reported_min > state.pieces[-1][0]

    def _leaves_work(self, event: Event, person: str) -> bool:
        """Whoever starts another step has left the one reported as partly done; any other is a fault."""
        busy = self.states.at_work.get(person)
        if busy is None:
            return True
        state = self.states.by_step[busy]
        if self._is_partly(busy):
            self._stop(state, state.reported_min, LEFT)
            return True
        self.fault(event, "event", f"{person} is on {busy} since PET {pet_label(state.pieces[-1][0])}: log "
                   f"{busy} as finished, partly or skipped before "
                   + (f"{event.step} is started" if event.step else "both are inside"))
        return False

    def _stop(self, state: State, at: float, status: str) -> None:
        state.pieces[-1] = (state.pieces[-1][0], at)
        state.status = status
        for person in state.step.people:
            if self.states.at_work.get(person) == state.step.step:
                del self.states.at_work[person]

    def _finished(self, event: Event, state: State, at: float) -> None:
        if self._joins(event, state):
            self._finished_later(event, state, at)
        elif self._runs(event, state, at):
            state.remaining_min, state.called_by = 0.0, event.crew
            self._takes_its_turn(state)
            self._stop(state, at, DONE)

    def _takes_its_turn(self, state: State) -> None:
        self.turns[state.step.step] = max(self.turns.values(), default=0) + 1

    def _finished_later(self, event: Event, state: State, at: float) -> None:
        """The later of the two has finished: only now is the step finished, unless the other has gone on."""
        begun, finish = state.pieces[-1]
        # At one moment the minutes do not tell what came first; the turns do.
        gone = [other.pieces[-1][0] for other in self.states.by_step.values()
                if other.pieces and other.pieces[-1][0] >= finish and state.called_by in other.step.people
                and self.turns[other.step.step] > self.turns[state.step.step]]
        until = min([at, *gone])  # no one is at two things at once
        state.pieces[-1] = (begun, until)
        end = "" if until == at else (f"; {state.called_by} had begun something else at {pet_label(until)}, "
                                      "so it counts until then")
        if at > finish:
            state.apart.append(f"{event.crew} finished {event.step} at {pet_label(at)}, {at - finish:.1f} "
                               f"min after {state.called_by}{end}")
        state.called_by = ""

    def _partly(self, event: Event, state: State, at: float) -> None:
        if self._runs(event, state, at):
            left = state.left_to_do_min(at) if event.remaining_min is None else event.remaining_min
            state.remaining_min, state.reported_min = left, at

    def _broken_off(self, event: Event, state: State, at: float) -> None:
        """It is only made safe from now on, which takes what remains."""
        if self._runs(event, state, at):
            if state.given_up_min is None:
                state.given_up_min = state.left_to_do_min(at)
            state.remaining_min, state.reported_min = event.remaining_min or 0.0, at

    def _skipped(self, event: Event, state: State, at: float) -> None:
        if state.status == DONE:
            self.fault(event, "event", f"{event.step} was finished at PET {pet_label(_last(state))}: it "
                       "cannot be skipped")
        elif state.status != IN_PROGRESS or self._runs(event, state, at):
            if state.status == IN_PROGRESS:
                self._stop(state, at, DROPPED)
            state.status = DROPPED
            if (left := event.remaining_min) is not None:  # its task is given up, and put back here
                self.states.put_back[event.step] = state.reported_min = at
            if left:
                state.step, state.remaining_min = state.step.as_put_back(left), left
                state.status = LEFT if state.pieces else TO_DO

    def _runs(self, event: Event, state: State, at: float) -> bool:
        if state.status != IN_PROGRESS:
            hint = "it is finished already" if state.status == DONE else "log its start first"
            self.fault(event, "event", f"{event.step} is not in progress: {hint}")
            return False
        begun = state.pieces[-1][0]
        if at < begun or (event.event in (PARTLY, BROKEN_OFF) and at == begun):
            self.fault(event, "at", f"{event.event} at PET {pet_label(at)}, which is not after the start at "
                       f"PET {pet_label(begun)}")
            return False
        return True

    def _rate(self, event: Event, at: float) -> None:
        step = self.states.by_step.get(event.step)
        crew = event.crew or (step.step.crew if step else "")
        if crew not in SUITED:
            self.fault(event, "crew", "a metabolic rate is that of EV1 or EV2: say whose")
        elif at <= 0:
            self.fault(event, "at", "a mean rate since PET 0 needs some minutes after it")
        elif event.metabolic_w is not None:
            self.states.suited[crew] = Suited(crew, at, event.metabolic_w)


def _last(state: State) -> float:
    return state.pieces[-1][0 if state.status == IN_PROGRESS else 1]
