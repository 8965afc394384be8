import { OutsideClock } from "/static/outside_clock.js";
import { equal, listener, placed, press, test } from "./check.js";

const PET_ZERO = Date.UTC(2031, 4, 14, 11, 24);
const MINUTE = 60000;

function told(more = {}, clock = {}) {
  return {
    clock: {
      kind: "held",
      now_ms: PET_ZERO + 83.25 * MINUTE,
      pet_zero_ms: PET_ZERO,
      runs: false,
      call: null,
      ...clock,
    },
    log: { words: "log.csv", rows: 3, later: 0, is_kept: true },
    standing: ["PET 1:23.", "hard limit 5 min over"],
    refused: {},
    trouble: "",
    ...more,
  };
}

function opened(message = told()) {
  const send = listener();
  const clock = new OutsideClock(send);
  placed(clock.box);
  clock.show(message);
  return { clock, send, said: send.said };
}

test("a held clock stands, and says that it does", () => {
  const { clock } = opened();
  equal([clock.pet.textContent, clock.gmt.textContent], ["1:23:15", "GMT 134/12:47:15, held"]);
});

test("a running one goes on by itself", () => {
  const { clock } = opened(told({}, { kind: "running", runs: true }));
  clock.seen -= 45000;
  clock.tick();
  equal([clock.pet.textContent, clock.gmt.textContent], ["1:24:00", "GMT 134/12:48:00, set by hand"]);
});

test("a picture that is old says so, and of when it is", () => {
  const { clock } = opened(told({}, { kind: "wall", runs: true }));
  equal(clock.trouble.hidden, true);
  clock.seen -= 125000;
  clock.tick();
  equal(
    [
      clock.trouble.hidden,
      clock.trouble.textContent.includes("for 2 min"),
      clock.trouble.textContent.includes("PET 1:23,"),
    ],
    [false, true, true],
  );
  clock.show(told({}, { kind: "wall", runs: true }));
  equal(clock.trouble.hidden, true);
});

test("trouble of the kernel's is told as it is", () => {
  equal(
    opened(told({ trouble: "the log cannot be read" })).clock.trouble.textContent,
    "the log cannot be read",
  );
});

test("each line is marked by how it stands", () => {
  const { clock } = opened();
  equal(
    [...clock.standing.children].map(line => [line.textContent, line.className]),
    [["hard limit 5 min over", "pk-stands-bad"]],
  );
});

test("now is set by hand with Enter; the wall clock needs none", () => {
  const { clock, said } = opened();
  clock.at.value = "1:40";
  press(clock.at, "Enter");
  clock.kind.value = "wall";
  clock.kind.dispatchEvent(new Event("change"));
  equal(said, [
    { kind: "clock", clock: "held", text: "1:40" },
    { kind: "clock", clock: "wall", text: "" },
  ]);
  equal([clock.at.hidden, clock.setButton.hidden], [true, true]);
});

test("a clock that is to run waits for the time to run from", () => {
  const { clock, said } = opened();
  clock.kind.value = "running";
  clock.kind.dispatchEvent(new Event("change"));
  equal([said, document.activeElement === clock.at], [[], true]);
});

test("a time that was refused stays to be mended", () => {
  const { clock, send } = opened();
  clock.kind.value = "running";
  clock.at.value = "nonsense";
  press(clock.at, "Enter");
  send.answer(); // the clock is held still
  equal([clock.kind.value, clock.at.value], ["held", "nonsense"]);
});

test("pet_zero is called with the time and the name that are typed", () => {
  const { clock, send, said } = opened(told({}, { call: "pet_zero" }));
  equal([clock.call.hidden, clock.callButton.textContent], [false, "Log PET 0"]);
  clock.by.value = "kim";
  clock.callAt.value = "11:24Z";
  clock.callButton.click();
  equal(said, [{ kind: "log", lane: "", event: "pet_zero", at: "11:24Z", by: "kim" }]);
  clock.last = told({ refused: { pet_zero: {} } });
  send.answer();
  equal(clock.callAt.value, "11:24Z");
});

test("nothing to call hides the call; rows after now offer a rehearsal", () => {
  const { clock, said } = opened(told({ log: { words: "log.csv", rows: 3, later: 2, is_kept: false } }));
  equal([clock.at.hidden, opened(told({}, { kind: "wall" })).clock.at.hidden], [false, true]);
  equal(
    [clock.call.hidden, clock.rehearse.hidden, clock.where.classList.contains("pk-unkept")],
    [true, false, true],
  );
  clock.rehearse.click();
  equal(said, [{ kind: "rehearse" }]);
});
