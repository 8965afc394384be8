import * as entry from "/static/outside_entry.js";
import { equal, test } from "./check.js";

const step = (name, status = "planned", more = {}) => ({ step: name, title: "", status, ...more });

test("every event has a key, words and a hint of its own", () => {
  const events = Object.keys(entry.EVENT_KEYS);
  equal([Object.keys(entry.EVENT_WORDS), Object.keys(entry.EVENT_HINTS)], [events, events]);
  equal(new Set(Object.values(entry.EVENT_KEYS)).size, events.length);
  for (const event of events)
    equal(entry.EVENT_WORDS[event].toLowerCase().includes(entry.EVENT_KEYS[event]), true);
});

test("a key makes its event, small or capital, and others make none", () => {
  equal(["s", "F", "p", "K", "r"].map(entry.eventOfKey), [
    "started",
    "finished",
    "partly",
    "skipped",
    "suit",
  ]);
  equal(
    ["x", "Enter", "1"].map(key => entry.eventOfKey(key) ?? null),
    [null, null, null],
  );
});

test("what comes next of a step is its end once anybody began it", () => {
  equal(
    ["planned", "in progress", "done"].map(status => entry.usualEvent(step("A1", status))),
    ["started", "finished", "finished"],
  );
  equal(entry.usualEvent(undefined), "started");
});

test("what is typed holds its step and event, until nothing is typed", () => {
  const held = entry.heldAfter(null, "A1", "started", true);
  equal(held, { step: "A1", event: "started" });
  equal(entry.heldAfter(held, "A1", "finished", true), held); // heard meanwhile: another logged its start
  equal(entry.heldAfter(held, "B1", "finished", true), { step: "B1", event: "finished" });
  equal(
    [entry.heldAfter(held, "A1", "finished", false), entry.heldAfter(held, "", "started", true)],
    [null, null],
  );
});

test("a step says how it stands", () => {
  const steps = [step("A1", "in progress", { title: "Open" }), step("B1", "done"), step("C1")];
  equal(entry.stepPairs(steps), [
    ["A1", "A1  Open  (in progress)"],
    ["B1", "B1  B1  (finished by the other)"],
    ["C1", "C1  C1"],
  ]);
});

test("a held step is offered still when it is not open any more", () => {
  const lane = { steps: [step("B1"), step("C1")] };
  const pairs = entry.stepPairs(lane.steps);
  const offered = (held, picked) => entry.offeredSteps(lane, pairs, held, picked);
  equal(offered({ step: "A1" }, null), { pairs: [["A1", "A1  (not open any more)"], ...pairs], value: "A1" });
  equal(offered({ step: "C1" }, "B1"), { pairs, value: "C1" });
  equal([offered(null, "C1").value, offered(null, null).value], ["C1", "B1"]);
  equal(entry.offeredSteps({ steps: [] }, [], null, null), { pairs: [], value: "" });
});

test("one alone begins a step of both where that is ticked, or where the other did before", () => {
  const shared = step("B1", "planned", { is_shared: true });
  equal([entry.isAlone("started", shared, true), entry.isAlone("started", shared, false)], [true, false]);
  const awaited = status => step("B1", status, { is_shared: true, awaits: true });
  equal(entry.isAlone("started", awaited("in progress"), false), true);
  equal(entry.isAlone("finished", awaited("in progress"), false), false);
  equal(entry.isAlone("finished", awaited("done"), false), true);
  equal(
    [entry.isAlone("started", step("A1"), true), entry.isAlone("started", undefined, true)],
    [false, false],
  );
});

test("an entry holds what was typed; a rate is about no step", () => {
  const typed = { at: "1:23", note: "" };
  const shared = step("B1", "planned", { is_shared: true });
  equal(entry.entryOf("started", "B1", shared, true, typed), {
    event: "started",
    step: "B1",
    alone: "yes",
    ...typed,
  });
  equal(entry.entryOf("started", "B1", shared, false, typed).alone, "");
  equal(entry.entryOf("suit", "B1", shared, true, typed), { event: "suit", step: "", alone: "", ...typed });
});

test("a refused entry is told with what was tried and all that is wrong", () => {
  equal(entry.triedWords({ step: "A1", event: "started", at: "1:23" }), "A1 started at 1:23");
  equal(entry.triedWords({ step: "", event: "suit", at: "" }), "suit");
  equal(entry.problemsOf({ faults: [{ problem: "too soon" }, { problem: "no time" }] }), "too soon; no time");
});
