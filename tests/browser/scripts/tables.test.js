import { LIBRARY, loadLibrary } from "/static/table_grid.js";
import { Tables } from "/static/tables.js";
import { equal, listener, placed, test, type } from "./check.js";
import { sampleSchema, sampleSheets } from "./sample.js";

loadLibrary(await (await fetch("/library.js")).text());

const FAULT = { sheet: "steps", line: 5, column: "minutes", problem: "no number" };

async function opened(faults = [], sheets = sampleSheets()) {
  const root = placed(document.createElement("div"));
  const send = listener();
  const chosen = [];
  const tables = new Tables(root, send, step => chosen.push(step));
  root.append(tables.box, ...tables.asides);
  tables.pane.style.height = "300px";
  tables.load({ schema: sampleSchema(), tables: sheets, faults });
  await tables.open("steps");
  const shown = column =>
    [...tables.grids.steps.box.querySelectorAll(`.tabulator-row [tabulator-field=${column}]`)].map(
      each => each.textContent,
    );
  const cell = (at, column) =>
    tables.grids.steps.box.querySelectorAll(`.tabulator-row [tabulator-field=${column}]`)[at];
  return { tables, send, chosen, shown, cell };
}

test("the library is loaded once for the page", () => equal(typeof window[LIBRARY], "function"));

test("a sheet is shown in the order of work", async () => {
  const { shown } = await opened();
  equal(shown("step"), ["A1", "B1", "A2"]);
});

test("a tab counts the faults of its sheet, a bad cell says what is wrong", async () => {
  const { tables, cell } = await opened([FAULT]);
  equal(
    [...tables.tabs.children].map(tab => tab.textContent),
    ["crew", "steps1"],
  );
  equal([cell(1, "minutes").title, cell(1, "minutes").getAttribute("aria-invalid")], ["no number", "true"]);
  equal([cell(0, "minutes").title, cell(0, "minutes").getAttribute("aria-invalid")], ["", null]);
});

test("the choice stays when the table is drawn anew in full", async () => {
  const { tables } = await opened();
  await tables.goTo(tables.grids.steps, 5, "minutes", true);
  tables.grids.steps.table.redraw(true);
  equal([tables.spot().line, tables.spot().column], [5, "minutes"]);
});

test("a fault that is mended leaves no mark", async () => {
  const { tables, cell } = await opened([FAULT]);
  tables.patch({ tables: { steps: { rows: { 5: ["B1", "both", "A1", "25"] } } }, faults: [] });
  equal([cell(1, "minutes").textContent, cell(1, "minutes").classList.contains("pk-bad")], ["25", false]);
  equal(
    [...tables.tabs.children].map(tab => tab.textContent),
    ["crew", "steps"],
  );
});

test("a patch with another order shows it", async () => {
  const { tables, shown } = await opened();
  tables.patch({ tables: { steps: { rows: {}, order: [5, 7] } }, faults: [] });
  await tables.grids.steps.settled;
  equal(shown("step"), ["B1", "A1"]);
});

test("finding hides the other rows, and an empty word shows them all again", async () => {
  const { tables, shown } = await opened();
  type(tables.tools.find, "ev1");
  equal(shown("step"), ["A1", "A2"]);
  type(tables.tools.find, "");
  equal(shown("step"), ["A1", "B1", "A2"]);
});

test("rows cannot be added where the table may not grow", async () => {
  const { tables } = await opened();
  await tables.open("crew");
  equal(
    tables.rowButtons.map(each => each.disabled),
    [true, true, true, true, true],
  );
});

test("what changes while a grid is being built is in it", async () => {
  const { tables, shown } = await opened();
  tables.load({ schema: sampleSchema(), tables: sampleSheets(), faults: [] });
  tables.patch({ tables: { steps: { rows: { 5: ["B1", "both", "A1", "25"] } } }, faults: [] });
  await tables.grids.steps.ready;
  await tables.grids.steps.settled;
  equal(shown("minutes"), ["20", "25", "10"]);
});

test("another view's copy of the sheets is left alone", async () => {
  const root = placed(document.createElement("div"));
  const message = { schema: sampleSchema(), tables: sampleSheets(), faults: [] };
  const tables = new Tables(root, listener(), () => {});
  root.append(tables.box);
  tables.load(message);
  tables.patch({ tables: { crew: { rows: { 1: ["EV9"] } } }, faults: [] });
  equal(message.tables.crew.rows[1], ["EV1"]);
});

test("a cell is shown with the keys in the table, and found behind a word that hid it", async () => {
  const { tables } = await opened();
  type(tables.tools.find, "nothing like it");
  tables.show("steps", 6, "minutes");
  await new Promise(done => {
    setTimeout(done, 100);
  });
  equal([tables.tools.find.value, tables.spot().line, tables.spot().column], ["", 6, "minutes"]);
  equal(document.activeElement === tables.holder(), true);
  equal(tables.line.textContent, "minutes: how long, in min");
});

// Waits until what a choice or an answer has set going is done.
const settled = () =>
  new Promise(done => {
    setTimeout(done, 150);
  });

test("a step that a filter hides is shown when the chart chooses it, and that is said", async () => {
  const { tables, shown } = await opened();
  type(tables.tools.find, "both");
  equal([shown("step"), tables.tools.count.textContent], [["B1"], "1 of 3 rows"]);
  tables.showStep("A2");
  await settled();
  equal(
    [shown("step"), tables.tools.count.textContent, tables.spot().line],
    [["A1", "B1", "A2"], "3 rows", 6],
  );
  equal(tables.line.textContent.includes("A2"), true);
});

test("a fault in a hidden column shows the column, and that is said", async () => {
  const { tables, shown } = await opened();
  tables.columns.set("steps", {
    order: ["step", "crew", "after", "minutes"],
    hidden: ["minutes"],
    pinned: [],
  });
  equal(shown("minutes"), []);
  tables.patch({ tables: {}, faults: [FAULT] });
  await settled();
  equal(shown("minutes"), ["20", "20", "10"]);
  equal([tables.looks.steps.hidden, tables.line.textContent.includes("minutes was hidden")], [[], true]);
});

test("a column that is hidden when the table is opened is shown where it holds a fault", async () => {
  const { tables, shown } = await opened();
  const look = { order: [], hidden: ["minutes"], pinned: [] };
  tables.load({ schema: sampleSchema(), tables: sampleSheets(), faults: [FAULT], looks: { steps: look } });
  await tables.grids.steps.ready;
  await settled();
  equal(shown("minutes"), ["20", "20", "10"]);
});

test("the tools of a table are one stop for the keyboard", async () => {
  const { tables } = await opened();
  for (let frames = 0; frames < 2; frames += 1) await new Promise(requestAnimationFrame);
  const stops = [...tables.box.querySelectorAll(".pk-row-tools *")].filter(
    each => each.tabIndex === 0 && each.getClientRects().length,
  );
  equal(
    stops.map(each => each.textContent),
    ["Add step"],
  );
});

test("a new row opens its form at the first thing that it needs", async () => {
  const sheets = sampleSheets();
  sheets.steps.rows[6] = ["A2", "EV1", "", ""];
  const { tables } = await opened(
    [{ sheet: "steps", line: 6, column: "minutes", problem: "is empty" }],
    sheets,
  );
  tables.show("steps", 6, null, true);
  await settled();
  equal(document.activeElement.getAttribute("aria-label"), "minutes");
  equal(tables.form.box.querySelector("[data-column=minutes] [role=alert]").textContent, "is empty");
});
