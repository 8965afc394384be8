import { TableHands } from "/static/table_hands.js";
import { equal, listener, placed, press, test } from "./check.js";
import { sampleSchema } from "./sample.js";

const COLUMNS = ["step", "crew", "minutes"];
const ROWS = [
  [7, "A1", "EV1", "20"],
  [5, "B1", "both", "x\ty"],
  [6, "A2", "EV1", ""],
];

// The tables with rows `from` to `to` chosen in `columns`; `edited` counts the cells that were opened.
function chosen(columns = COLUMNS, from = 0, to = 1, { edits = null, sorters = [], find = "" } = {}) {
  const edited = [];
  const cellOf = (row, column) => ({
    getData: () => ({ _id: row[0] }),
    getField: () => column,
    getValue: () => row[COLUMNS.indexOf(column) + 1],
    edit: () => edited.push(column),
  });
  const cells = ROWS.slice(from, to).map(row => columns.map(column => cellOf(row, column)));
  const rows = ROWS.map(row => ({ getData: () => ({ _id: row[0] }) }));
  const table = {
    getRanges: () => [{ getCells: () => cells }],
    getRows: () => rows,
    getColumns: () => ["_n", ...COLUMNS].map(name => ({ getField: () => name })),
    getSorters: () => sorters,
  };
  const tables = {
    send: listener(),
    current: "steps",
    schema: { ...sampleSchema(), steps: { ...sampleSchema().steps, edits } },
    grids: { steps: { table } },
    tools: { isFiltering: Boolean(find) },
    form: { toggle: isOpen => edited.push(`form ${isOpen}`) },
    line: document.createElement("div"),
    chosenLines: () => ROWS.slice(from, to).map(([id]) => id),
    spot: () => ({ cell: cells[0][0], line: ROWS[from][0], column: columns[0] }),
  };
  const hands = new TableHands(tables);
  const grid = placed(document.createElement("div"));
  grid.className = "pk-grid";
  grid.addEventListener("keydown", event => hands.onKey(event));
  grid.addEventListener("copy", event => hands.onCopy(event));
  grid.addEventListener("paste", event => hands.onPaste(event));
  return { hands, tables, grid, edited, said: tables.send.said };
}

function clipboard(grid, kind, text = null) {
  const data = new DataTransfer();
  if (text !== null) data.setData("text/plain", text);
  const isTaken = !grid.dispatchEvent(
    new ClipboardEvent(kind, { clipboardData: data, bubbles: true, cancelable: true }),
  );
  return { isTaken, text: data.getData("text/plain"), html: data.getData("text/html") };
}

test("Alt and a key does to the chosen rows what its button does", () => {
  const { grid, said } = chosen(COLUMNS, 0, 2);
  for (const key of ["n", "d", "Delete", "ArrowUp", "ArrowDown"])
    equal(press(grid, key, { altKey: true }), true, key);
  equal(said, [
    { kind: "add", sheet: "steps", after: 5 },
    { kind: "duplicate", sheet: "steps", lines: [7, 5] },
    { kind: "delete", sheet: "steps", lines: [7, 5] },
    { kind: "shift", sheet: "steps", lines: [7, 5], by: -1 },
    { kind: "shift", sheet: "steps", lines: [7, 5], by: 1 },
  ]);
});

test("Delete empties the chosen cells that may be edited", () => {
  const { grid, said } = chosen(["crew", "minutes"], 0, 2, { edits: ["minutes"] });
  press(grid, "Delete");
  equal(said, [
    {
      kind: "cells",
      sheet: "steps",
      cells: [
        [7, "minutes", ""],
        [5, "minutes", ""],
      ],
    },
  ]);
});

test("a letter opens the cell and is its first, F2 opens it as it is", () => {
  const { hands, grid, edited } = chosen();
  press(grid, "x");
  equal([hands.takeKey(), hands.takeKey()], ["x", null]);
  press(grid, "F2");
  equal([hands.takeKey(), edited], [null, ["step", "step"]]);
});

test("Tab leaves the table, and keys in a field are the field's own", () => {
  const { grid, said, edited } = chosen();
  equal(press(grid, "Tab"), false);
  const field = document.createElement("input");
  grid.append(field);
  equal(
    [press(field, "Delete"), press(field, "x"), press(field, "n", { altKey: true })],
    [false, false, false],
  );
  equal([said, edited], [[], []]);
});

test("rows of a sorted table are not moved, and it is said why", () => {
  const { hands, tables, said } = chosen(COLUMNS, 0, 1, { sorters: [{ field: "step" }] });
  hands.shift(1);
  equal([said, tables.line.textContent.includes("As planned")], [[], true]);
});

test("while some rows are hidden, a move passes over them", () => {
  const { hands, said } = chosen(COLUMNS, 0, 1, { find: "ev1" });
  hands.shift(1);
  equal(said[0].shown, [7, 5, 6]);
});

test("a block is copied with tabs and lines", () => {
  const { grid } = chosen(["step", "minutes"], 0, 3);
  const { isTaken, text, html } = clipboard(grid, "copy");
  equal([isTaken, text], [true, 'A1\t20\nB1\t"x\ty"\nA2\t']);
  equal([html.match(/<td/g).length, html.includes("<td>20</td>")], [6, true]);
});

test("with headings the names of the columns come first", () => {
  const { hands, grid } = chosen(["step", "minutes"], 0, 1);
  hands.withHeads = true;
  equal(clipboard(grid, "copy").text, "step\tminutes\nA1\t20");
});

test("what is added is named by what a row is", () => {
  const { hands } = chosen();
  const named = sheet => {
    hands.name(sheet);
    return hands.addButton.textContent;
  };
  const told = ["steps", "hardware", "actions", "places"].map(named);
  equal(told, ["Add step", "Add item", "Add action", "Add row"]);
});

test("Alt and Enter opens the form", () => {
  const { grid, edited } = chosen();
  press(grid, "Enter", { altKey: true });
  equal(edited, ["form true"]);
});

test("what is pasted goes to the kernel with the places that it may fill", () => {
  const { grid, said } = chosen(["crew"], 1, 2);
  equal(clipboard(grid, "paste", "EV2\t5").isTaken, true);
  equal(said, [
    {
      kind: "paste",
      sheet: "steps",
      text: "EV2\t5",
      lines: [5, 6],
      columns: ["crew", "minutes"],
      fills: [[5, "crew"]],
    },
  ]);
});

test("nothing on the clipboard is not pasted", () => {
  const { grid, said } = chosen();
  equal([clipboard(grid, "paste", "").isTaken, said], [false, []]);
});
