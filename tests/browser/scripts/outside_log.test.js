import { OutsideLog, changedWords } from "/static/outside_log.js";
import { equal, listener, placed, press, test } from "./check.js";

const line = (id, more = {}) => ({
  event_id: id,
  event: "started",
  step: "A1",
  at: "1:00",
  was_at: "",
  gmt: "134/12:24",
  crew: "EV1",
  remaining_min: "",
  metabolic_w: "",
  by: "kim",
  note: "",
  problem: "",
  corrects: "",
  corrected_by: [],
  is_withdrawn: false,
  can_be_corrected: true,
  ...more,
});

function opened(...lines) {
  const send = listener();
  const log = new OutsideLog(send, { by: { value: "kim" } });
  placed(log.box);
  log.tell({ lines });
  const rows = () => [...log.body.rows];
  const correct = at => rows()[at].querySelector("[data-act=correct]").click();
  return { log, send, rows, correct, said: send.said };
}

test("what became of an entry is told by what was logged after it", () => {
  equal(changedWords(line("e1")), "");
  equal(changedWords(line("e1", { corrected_by: ["e2", "e3"] })), "corrected by e2, e3");
  equal(changedWords(line("e1", { corrected_by: ["e2", "e3"], is_withdrawn: true })), "withdrawn by e3");
});

test("a row that does not count says why, one set aside looks so", () => {
  const { rows } = opened(
    line("e1", { problem: "before pet_zero" }),
    line("e2", { is_withdrawn: true, corrected_by: ["e3"] }),
    line("e3", { event: "correct", corrects: "e2", can_be_corrected: false }),
  );
  equal(
    rows().map(row => row.className),
    ["pk-impossible", "pk-set-aside", "pk-set-aside"],
  );
  equal(
    rows().map(row => row.cells[1].textContent),
    [
      "A1 started · EV1 · by kimDoes not count: before pet_zero",
      "A1 started · EV1 · by kim (withdrawn by e3)",
      "corrects e2 · EV1 · by kim",
    ],
  );
  equal(rows()[2].querySelector("button"), null);
});

test("an empty log says so", () => equal(opened().rows()[0].textContent, "Nothing is logged yet."));

test("a correction is typed under its row and sent with what it corrects", () => {
  const { log, rows, correct, send, said } = opened(line("e1"), line("e2"));
  correct(0);
  equal([rows()[1].className, document.activeElement === log.form.fields.at], ["pk-correction", true]);
  log.form.fields.at.value = "1:05";
  press(log.form.fields.at, "Enter");
  equal(said, [
    {
      kind: "log",
      lane: "",
      event: "correct",
      corrects: "e1",
      by: "kim",
      at: "1:05",
      step: "",
      remaining_min: "",
      metabolic_w: "",
      note: "",
    },
  ]);
  send.answer();
  equal([rows().length, log.form.fields.at.value], [2, ""]);
});

test("rows that come meanwhile take nothing from what is typed", () => {
  const { log, correct } = opened(line("e1"));
  correct(0);
  log.form.fields.note.value = "typed";
  log.form.fields.note.focus();
  log.tell({ lines: [line("e2"), line("e1")] });
  equal([log.form.fields.note.value, document.activeElement === log.form.fields.note], ["typed", true]);
});

test("a refused correction stays open with its faults", () => {
  const { log, rows, correct, send } = opened(line("e1"));
  correct(0);
  log.form.fields.at.value = "x";
  press(log.form.fields.at, "Enter");
  log.show({
    refused: { "correct e1": { faults: [{ column: "at", problem: "no time" }] } },
    log: { faults: [] },
  });
  send.answer();
  equal(
    [rows().length, log.form.faults.textContent, log.form.fields.at.className],
    [2, "Not logged: no time", "pk-field pk-bad-field"],
  );
});

test("Escape changes nothing, and the kernel forgets what was tried", () => {
  const { log, rows, correct, said } = opened(line("e1"));
  correct(0);
  press(log.form.fields.at, "Escape");
  equal([rows().length, said], [1, [{ kind: "forget", slot: "correct e1" }]]);
});

test("what is wrong with the whole log, or with a call, stands above it", () => {
  const { log } = opened();
  log.show({
    refused: {},
    log: {
      faults: [
        { row: null, problem: "no header" },
        { row: 2, problem: "no time" },
      ],
    },
  });
  equal([log.whole.hidden, log.whole.textContent], [false, "no header"]);
  log.show({
    refused: { pet_zero: { entry: { event: "pet_zero" }, faults: [{ problem: "too late" }] } },
    log: { faults: [] },
  });
  equal(log.whole.textContent, "Not logged: pet_zero. too late");
});
