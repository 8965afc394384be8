import { groupOf } from "/static/row_form.js";
import { loadLibrary } from "/static/table_grid.js";
import { Tables } from "/static/tables.js";
import { equal, listener, placed, press, test, type } from "./check.js";
import { sampleSchema, sampleSheets } from "./sample.js";

loadLibrary(await (await fetch("/library.js")).text());

// The form on B1; `edit` gives the last edit that was told.
async function opened(change = () => {}) {
  const send = listener();
  const tables = new Tables(placed(document.createElement("div")), send, () => {});
  tables.root.append(tables.box, ...tables.asides);
  const message = { schema: sampleSchema(), tables: sampleSheets(), faults: [], looks: {} };
  change(message);
  tables.load(message);
  await tables.open("steps");
  await tables.goTo(tables.grids.steps, 5, "crew", true);
  tables.form.toggle(true);
  const row = column => tables.form.box.querySelector(`.pk-form-row[data-column=${column}]`);
  const input = column => row(column).querySelector("input, select, textarea");
  const edit = () => send.said.filter(({ kind }) => kind === "cells").at(-1)?.cells ?? null;
  return { tables, form: tables.form, row, input, edit };
}

test("the form has a field for every column, the keyboard at that of the cell", async () => {
  const { form, input } = await opened();
  equal(
    form.fields.map(each => each.column),
    ["step", "crew", "after", "minutes"],
  );
  equal([form.head.textContent, document.activeElement === input("crew")], ["B1 · 2 of 3", true]);
  equal([input("minutes").value, input("crew").value], ["20", "both"]);
});

test("a field is one edit, as a cell is, and the same text is none", async () => {
  const { tables, input, edit } = await opened();
  input("minutes").focus();
  type(input("minutes"), "30");
  press(input("minutes"), "Enter");
  equal(edit(), [[5, "minutes", "30"]]);
  equal(tables.grids.steps.table.getRow(5).getData().minutes, "30");
  const before = tables.send.said.length;
  press(input("minutes"), "Enter");
  equal(tables.send.said.length, before);
});

test("an id is picked from a list, by its title too", async () => {
  const { input, edit } = await opened(({ schema, tables }) => {
    schema.crew.fields.name = { about: "who it is", choices: [], refers_to: [] };
    tables.crew = { columns: ["crew", "name"], order: [1, 2], rows: { 1: ["EV1", "Ada"], 2: ["EV2", "Bo"] } };
  });
  type(input("crew"), "Bo");
  const found = document.querySelector(".pk-suggestions");
  equal(found.textContent, "bothEV2 Bo");
  press(input("crew"), "ArrowDown");
  press(input("crew"), "ArrowDown");
  press(input("crew"), "Enter");
  equal(edit(), [[5, "crew", "EV2"]]);
});

test("several ids stand by themselves, one more is added and one taken out", async () => {
  const { tables, row, input, edit } = await opened();
  input("after").focus();
  type(input("after"), "a2");
  press(input("after"), "ArrowDown");
  press(input("after"), "Enter");
  equal(edit(), [[5, "after", "A1 A2"]]);
  tables.patch({ tables: { steps: { rows: { 5: ["B1", "both", "A1 A2", "20"] } } }, faults: [] });
  equal(
    [...row("after").querySelectorAll(".pk-chip")].map(each => each.firstChild.data),
    ["A1", "A2"],
  );
  row("after").querySelector(".pk-chip button").click();
  equal(edit(), [[5, "after", "A2"]]);
});

test("a fault is told at its field, and what is being typed stays", async () => {
  const { tables, row, input } = await opened();
  input("minutes").focus();
  type(input("minutes"), "4");
  tables.patch({
    tables: { steps: { rows: { 5: ["B1", "EV9", "A1", "20"] } } },
    faults: [{ sheet: "steps", line: 5, column: "crew", problem: "nobody" }],
  });
  equal([row("crew").querySelector("[role=alert]").textContent, input("crew").value], ["nobody", "EV9"]);
  equal([input("crew").getAttribute("aria-invalid"), input("minutes").value], ["true", "4"]);
});

test("Escape takes back what was typed, then goes to the cell", async () => {
  const { tables, input, edit } = await opened();
  input("minutes").focus();
  type(input("minutes"), "4");
  press(input("minutes"), "Escape");
  equal([input("minutes").value, document.activeElement === input("minutes")], ["20", true]);
  press(input("minutes"), "Escape");
  await new Promise(done => {
    setTimeout(done, 100);
  });
  equal([document.activeElement === tables.holder(), tables.spot().column, edit()], [true, "minutes", null]);
});

test("after a row is deleted the form is of the row that is chosen then", async () => {
  const { tables, form } = await opened();
  tables.patch({ tables: { steps: { rows: {}, order: [7, 6] } }, faults: [] });
  await tables.grids.steps.settled;
  equal([form.head.textContent, tables.spot().line], ["A1 · 1 of 2", 7]);
});

test("another table has another form", async () => {
  const { tables, form } = await opened();
  await tables.open("crew");
  await tables.goTo(tables.grids.crew, 2, "crew", true);
  equal([form.head.textContent, form.fields.length], ["EV2 · 2 of 2", 1]);
});

test("titles and words of others are text", async () => {
  const attack = "<img src=x onerror=alert(1)>";
  const { form } = await opened(({ tables }) => {
    tables.steps.rows[5] = [attack, attack, attack, attack];
  });
  equal([form.box.querySelector("img"), form.head.textContent.startsWith(attack)], [null, true]);
});

test("fields stand in the part of the form where they are looked for", () => {
  const about = (column, more) => groupOf(column, { kind: "text", refers_to: [], ...more }, "step");
  equal(
    [
      about("step", { kind: "id" }),
      about("title", {}),
      about("place", { refers_to: ["places"] }),
      about("minutes_low", { unit: "min" }),
      about("after", { refers_to: ["steps"] }),
      about("uses", { kind: "references", refers_to: ["hardware"] }),
      about("caution_class", { kind: "choice" }),
    ],
    ["What", "What", "Who and where", "When", "When", "Needs", "Words"],
  );
});
