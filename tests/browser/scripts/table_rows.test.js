import * as rows from "/static/table_rows.js";
import { equal, test } from "./check.js";
import { sampleSchema, sampleSheets } from "./sample.js";

const { steps } = sampleSheets();

test("rows come in the order of work, numbered, under their ids", () => {
  equal(
    rows.rowsOf(steps).map(row => [row._id, row[rows.NUMBER_COLUMN], row.step, row.minutes]),
    [
      [7, 1, "A1", "20"],
      [5, 2, "B1", "20"],
      [6, 3, "A2", "10"],
    ],
  );
});

test("a line is found by a text of its row", () => {
  equal(
    [
      rows.lineOf(steps, "step", "B1"),
      rows.lineOf(steps, "minutes", "20"),
      rows.lineOf(steps, "step", "X") ?? null,
    ],
    [5, 7, null],
  );
});

test("a typed cell is a new row, the old one stays", () => {
  const before = JSON.stringify(steps);
  equal(rows.withCell(steps, 5, "minutes", "25"), ["B1", "both", "A1", "25"]);
  equal(JSON.stringify(steps), before);
});

test("only rows that are other than they were are drawn anew", () => {
  const now = { ...steps.rows, 5: ["B1", "both", "A1", "25"], 6: [...steps.rows[6]], 9: ["N", "", "", ""] };
  equal(rows.changedLines(steps.rows, now, { 5: now[5], 6: now[6], 9: now[9] }), [5, 9]);
  equal(
    [rows.same(["a"], ["a"]), rows.same(["a"], ["a", "b"]), rows.same(undefined, ["a"])],
    [true, false, false],
  );
});

test("all faults of a cell are told at it, one of a row at its key, one of a table at none", () => {
  const fault = (line, column, problem) => ({ sheet: "steps", line, column, problem });
  const faults = [
    fault(5, "minutes", "no number"),
    fault(5, "minutes", "too long"),
    fault(6, null, "twice"),
    fault(null, null, "empty"),
  ];
  const found = rows.faultsByCell(faults, sampleSchema());
  equal(
    [...found],
    [
      ["steps|5|minutes", "no number; too long"],
      ["steps|6|step", "twice"],
    ],
  );
  equal(found.get(rows.cellKey("steps", 5, "minutes")), "no number; too long");
  equal(rows.faultCounts([...faults, { sheet: "crew" }]), { steps: 4, crew: 1 });
});

test("a cell is offered its choices and the ids that it may refer to, each once", () => {
  const sheets = sampleSheets();
  sheets.crew.rows[3] = ["EV1"];
  sheets.crew.rows[4] = [""];
  sheets.crew.order = [1, 2, 3, 4];
  equal(rows.suggestionsOf(sampleSchema(), sheets, "steps", "crew"), {
    words: ["both", "EV1", "EV2"],
    isList: false,
  });
  equal(rows.suggestionsOf(sampleSchema(), sheets, "steps", "after"), {
    words: ["A1", "B1", "A2"],
    isList: true,
  });
  equal(rows.suggestionsOf(sampleSchema(), sheets, "steps", "own column"), { words: [], isList: false });
});

test("in a sheet of keys and values the key says what may be typed", () => {
  const schema = {
    settings: { values: { light: { choices: ["sun", "moon"], refers_to: [], is_list: false } } },
  };
  equal(rows.suggestionsOf(schema, {}, "settings", "value", "light").words, ["sun", "moon"]);
  equal(rows.suggestionsOf(schema, {}, "settings", "value", "else").words, []);
});

test("below the table stands the fault, else what the column is, with its unit", () => {
  equal(rows.aboutCell("minutes", { about: "how long", unit: "min" }, "no number"), "minutes: no number");
  equal(rows.aboutCell("minutes", { about: "how long", unit: "min" }), "minutes: how long, in min");
  equal(rows.aboutCell("step", { about: "an id" }), "step: an id");
  equal([rows.aboutCell("own", {}), rows.aboutCell("own", undefined)], ["", ""]);
});

test("finding looks at what is shown, not at numbers and ids of rows", () => {
  const row = { _id: 77, [rows.NUMBER_COLUMN]: 88, step: "A1", title: "Open the Lid" };
  equal(
    ["lid", "a1", "77", "88", "x"].map(words => rows.isFound(row, words)),
    [true, true, false, false, false],
  );
});

test("numbers are ordered as numbers, and nothing stays where it is", () => {
  equal(["10", "9", "100"].sort(rows.numberOrder), ["9", "10", "100"]);
  equal([rows.numberOrder("", "5"), rows.numberOrder("about", "5"), rows.numberOrder("5", "5")], [0, 0, 0]);
});

test("a block is copied as a spreadsheet takes it", () => {
  equal(
    rows.blockText([
      ["A1", "20"],
      ["B1", null],
    ]),
    "A1\t20\nB1\t",
  );
  equal(rows.blockText([['a "b"', "one\ntwo", "t\tt", "plain"]]), '"a ""b"""\t"one\ntwo"\t"t\tt"\tplain');
});
