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

test("a cell is offered its choices and the ids that it may refer to, each once, with its title", () => {
  const sheets = sampleSheets();
  sheets.crew = { ...sheets.crew, columns: ["crew", "name"] };
  sheets.crew.rows = { 1: ["EV1", "Ada"], 2: ["EV2", ""], 3: ["EV1", "again"], 4: ["", "nobody"] };
  sheets.crew.order = [1, 2, 3, 4];
  equal(rows.suggestionsOf(sampleSchema(), sheets, "steps", "crew"), {
    options: [
      ["both", ""],
      ["EV1", "Ada"],
      ["EV2", ""],
    ],
    isList: false,
  });
  const after = rows.suggestionsOf(sampleSchema(), sheets, "steps", "after");
  equal([after.options.map(([id]) => id), after.isList], [["A1", "B1", "A2"], true]);
  equal(rows.suggestionsOf(sampleSchema(), sheets, "steps", "own column"), { options: [], isList: false });
});

test("in a sheet of keys and values the key says what may be typed", () => {
  const schema = {
    settings: { values: { light: { choices: ["sun", "moon"], refers_to: [], is_list: false } }, fields: {} },
  };
  const words = key => rows.suggestionsOf(schema, {}, "settings", "value", key).options.map(([word]) => word);
  equal([words("light"), words("else")], [["sun", "moon"], []]);
});

test("the head of a column is its name in words, with its unit once", () => {
  const heads = [
    ["minutes_likely", "min", "likely, min"],
    ["lead_min", "min", "lead, min"],
    ["min_gap", "min", "min gap, min"],
    ["minutes", "min", "minutes"],
    ["x_m", "m", "x, m"],
    ["metres", "m", "metres"],
    ["slots", "slots", "slots"],
    ["same_window", "", "same window"],
  ];
  for (const [column, unit, words] of heads) equal(rows.headOf(column, { unit }), words);
  equal(rows.headOf("my_own", undefined), "my own");
});

test("below the table stands the fault, else what the column is and what may be typed", () => {
  const field = { about: "how long", unit: "min", form: "a number" };
  equal(rows.aboutCell("minutes", field, "no number"), "minutes: no number");
  equal(rows.aboutCell("minutes", field), "minutes: how long, in min · a number");
  equal(rows.aboutCell("step", { about: "id", form: "an id: letters" }), "step: an id: letters");
  equal(
    rows.meaningOf({ about: "the light", kind: "choice", choices: ["day", "night"], form: "a word" }),
    "the light · one of day, night",
  );
  equal(rows.aboutCell("own", undefined), "");
});

const WIDE = {
  columns: ["step", ...Array.from({ length: 12 }, (_, at) => `c${at}`), "mine"],
  order: [1],
  rows: { 1: ["A1", ...Array.from({ length: 11 }, () => ""), "x", ""] },
};
const WIDE_KNOWN = {
  key: "step",
  fields: Object.fromEntries(WIDE.columns.slice(0, -1).map(name => [name, { needed: name === "c10" }])),
};

test("columns that nobody has used are folded away, but the first and the needed ones stay", () => {
  const look = rows.lookOf(WIDE, WIDE_KNOWN);
  equal([look.order, look.hidden, look.pinned], [WIDE.columns, ["c9", "mine"], ["step"]]);
  equal(rows.emptyColumns(WIDE).length, 12);
});

test("what the planner wants of columns stands, also where the table has others by now", () => {
  const look = rows.lookOf(WIDE, WIDE_KNOWN, {
    order: ["c1", "gone", "step"],
    hidden: ["c0"],
    pinned: ["c2"],
  });
  equal(look.order.slice(0, 4), ["c1", "step", "c0", "c2"]);
  equal(rows.shownColumns(look).slice(0, 3), ["c2", "c1", "step"]);
  equal(rows.shownColumns(look).includes("c0"), false);
});

test("hidden columns keep their places while the others change theirs", () => {
  equal(rows.orderAfter(["a", "b", "c", "d"], ["d", "a", "c"]), ["d", "b", "a", "c"]);
});

test("finding looks at what is shown, not at numbers and ids of rows", () => {
  const row = { _id: 77, [rows.NUMBER_COLUMN]: 88, step: "A1", title: "Open the Lid" };
  equal(
    ["lid", "a1", "77", "88", "x"].map(words => rows.isFound(row, words)),
    [true, true, false, false, false],
  );
});

test("numbers are ordered by what they mean, and what is none stays where it is", () => {
  const order = rows.numberOrder({ m: 1, ft: 0.3048, h: 60 });
  equal(["10", "9", "100"].sort(order), ["9", "10", "100"]);
  equal(["30", "85 ft", "20 m", "2e1"].sort(order), ["20 m", "2e1", "85 ft", "30"]);
  equal([order("", "5"), order("about", "5"), order("5", "5"), order("5 miles", "1")], [0, 0, 0, 0]);
});

test("a block is copied as a spreadsheet takes it", () => {
  equal(
    rows.blockText([
      ["A1", "20"],
      ["B1", null],
    ]),
    "A1\t20\nB1\t",
  );
  equal(
    rows.blockText([['a "b"', "one\ntwo", "t\tt", "plain", "=1+1"]]),
    '"a ""b"""\t"one\ntwo"\t"t\tt"\tplain\t=1+1',
  );
});

test("the same block as a table: numbers are numbers, all else is text and computes nothing", () => {
  const box = document.createElement("div");
  box.innerHTML = rows.blockTable([["12.5", "=1+1", "007", "<b>x</b>", "one\ntwo", null]]);
  const cells = [...box.querySelectorAll("td")];
  equal(
    cells.map(cell => cell.textContent),
    ["12.5", "=1+1", "007", "<b>x</b>", "onetwo", ""],
  );
  equal(
    cells.map(cell => cell.getAttribute("sdnum")),
    [null, "0;0;@", "0;0;@", "0;0;@", "0;0;@", "0;0;@"],
  );
  equal([box.querySelectorAll("b").length, cells[4].querySelectorAll("br").length], [0, 1]);
});
