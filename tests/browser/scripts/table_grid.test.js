import { columnOf, columnsOf, loadLibrary, makeGrid, shownCell } from "/static/table_grid.js";
import { equal, placed, test } from "./check.js";
import { sampleSchema, sampleSheets } from "./sample.js";

loadLibrary(await (await fetch("/library.js")).text());

const tables = (more = {}) => ({
  schema: sampleSchema(),
  sheets: sampleSheets(),
  faults: new Map(),
  ...more,
});
const cell = (text, element = document.createElement("div")) => ({
  getElement: () => element,
  getValue: () => text,
  getData: () => ({ _id: 5 }),
  getField: () => "minutes",
});

test("numbers stand on the right and are sorted as numbers", () => {
  const [number, words] = ["minutes", "crew"].map(name => columnOf(tables(), "steps", name, false));
  equal([number.hozAlign, typeof number.sorter], ["right", "function"]);
  equal([words.hozAlign, words.sorter], ["left", "string"]);
});

test("the head of a column says what it is, with its unit", () => {
  const head = name => columnOf(tables(), "steps", name, false).titleFormatter().title;
  equal(
    [head("minutes"), head("step"), head("mine")],
    ["minutes: how long, in min", "step: an id", "mine: a column of your own"],
  );
});

test("columns are those that the planner wants, the pinned ones first and in sight", () => {
  const seen = looks => columnsOf(tables({ looks }), "steps").map(({ field, frozen }) => [field, frozen]);
  equal(seen({})[0], ["step", true]);
  const look = { order: ["minutes", "step", "crew"], hidden: ["crew"], pinned: ["step"] };
  equal(seen({ steps: look }), [
    ["step", true],
    ["minutes", false],
    ["after", false],
  ]);
});

test("of a table with fixed columns only the others are edited", () => {
  const here = tables();
  here.schema.steps.edits = ["minutes"];
  const looks = ["minutes", "crew"].map(name => columnOf(here, "steps", name, false));
  equal(
    looks.map(each => [each.editable(), each.cssClass]),
    [
      [true, ""],
      [false, "pk-fixed"],
    ],
  );
});

test("a cell shows its text as text, and a long one whole as a hint", () => {
  const attack = "<img src=x onerror=alert(1)>";
  const element = document.createElement("div");
  const shown = shownCell(new Map(), "steps", cell(attack, element));
  equal([shown.children.length, shown.textContent, element.title], [0, attack, attack]);
  shownCell(new Map(), "steps", cell("short", element));
  equal(element.title, "");
});

test("a fault is told at its cell, and gone with it", () => {
  const element = document.createElement("div");
  shownCell(new Map([["steps|5|minutes", "no number"]]), "steps", cell("x", element));
  equal(
    [element.title, element.className, element.getAttribute("aria-invalid")],
    ["no number", "pk-bad", "true"],
  );
  shownCell(new Map(), "steps", cell("5", element));
  equal([element.title, element.className, element.getAttribute("aria-invalid")], ["", "", null]);
});

test("a grid has one stop for the keyboard", async () => {
  const here = tables({ pane: placed(document.createElement("div")), root: document.body });
  const grid = makeGrid(here, "steps");
  await grid.ready;
  equal(
    [...grid.box.querySelectorAll("[tabindex='0']")].map(each => each.className),
    ["tabulator-tableholder"],
  );
  equal(grid.box.getAttribute("aria-label"), "steps: what is done");
});
