// An entry of the log while it is typed: which key makes which event, which step it is about, and what is
// sent.

export const EVENT_KEYS = { started: "s", finished: "f", partly: "p", skipped: "k", suit: "r" };
export const EVENT_WORDS = {
  started: "Started",
  finished: "Finished",
  partly: "Partly",
  skipped: "Skipped",
  suit: "Rate",
};
export const EVENT_HINTS = {
  started: "Work on the step began",
  finished: "The step is done",
  partly: "Still at it: so many minutes remain",
  skipped: "It will not be done",
  suit: "Mean metabolic rate of this crew member since PET 0, W",
};

const HOW_IT_STANDS = { "in progress": "  (in progress)", done: "  (finished by the other)" };

export function eventOfKey(key) {
  return Object.keys(EVENT_KEYS).find(name => EVENT_KEYS[name] === key.toLowerCase());
}

// What comes next of a step: its end once it was begun, by either of the two.
export function usualEvent(step) {
  return ["in progress", "done"].includes(step?.status) ? "finished" : "started";
}

// What is being typed is about this step and this event, whatever is heard meanwhile: a row of another
// writer must not make it an entry of the step after.
export function heldAfter(held, step, usual, isTyped) {
  if (!isTyped || !step) return null;
  return held?.step === step ? held : { step, event: usual };
}

export function stepPairs(steps) {
  return steps.map(({ step, title, status }) => [
    step,
    `${step}  ${title || step}${HOW_IT_STANDS[status] ?? ""}`,
  ]);
}

// The steps to choose from, and the one that is chosen: the held one first, even when it is not open any
// more.
export function offeredSteps(lane, pairs, held, picked) {
  const isGone = held && !lane.steps.some(each => each.step === held.step);
  return {
    pairs: isGone ? [[held.step, `${held.step}  (not open any more)`], ...pairs] : pairs,
    value: held?.step ?? picked ?? lane.steps[0]?.step ?? "",
  };
}

// A step of both: this one only, where it is ticked, or where the other's call is in the log already.
export function isAlone(event, step, isTicked) {
  const { is_shared, awaits, status } = step ?? {};
  return Boolean((is_shared && isTicked) || (awaits && (event === "started" || status === "done")));
}

export function entryOf(event, step, about, isTicked, typed) {
  const named = event === "suit" ? "" : step;
  return { event, step: named, alone: named && isAlone(event, about, isTicked) ? "yes" : "", ...typed };
}

export function triedWords(entry) {
  return [entry.step, entry.event, entry.at && `at ${entry.at}`].filter(Boolean).join(" ");
}

export function problemsOf(refused) {
  return refused.faults.map(fault => fault.problem).join("; ");
}
