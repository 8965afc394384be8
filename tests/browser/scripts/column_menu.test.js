import { loadLibrary } from "/static/table_grid.js";
import { Tables } from "/static/tables.js";
import { equal, listener, placed, press, test } from "./check.js";
import { sampleSchema, sampleSheets } from "./sample.js";

loadLibrary(await (await fetch("/library.js")).text());

async function opened() {
  const send = listener();
  const tables = new Tables(placed(document.createElement("div")), send, () => {});
  tables.root.append(tables.box, ...tables.asides);
  tables.load({ schema: sampleSchema(), tables: sampleSheets(), faults: [], looks: {} });
  await tables.open("steps");
  const menu = tables.columns;
  menu.toggle(true);
  const shown = () =>
    tables.grids.steps.table
      .getColumns()
      .map(each => each.getField())
      .slice(1);
  const box = column => menu.list.querySelector(`[data-column=${column}][data-part=shown]`);
  return { tables, menu, send, shown, box };
}

test("a column is hidden and shown by its box, and the choice is told", async () => {
  const { send, shown, box } = await opened();
  box("crew").focus();
  box("crew").click();
  equal(shown(), ["step", "after", "minutes"]);
  equal([send.last().kind, send.last().sheet, send.last().look.hidden], ["columns", "steps", ["crew"]]);
  equal([document.activeElement === box("crew"), box("crew").checked], [true, false]);
  box("crew").click();
  equal([shown(), send.last().look.hidden], [["step", "crew", "after", "minutes"], []]);
});

test("keys walk, move and pin, and Escape goes back to the table", async () => {
  const { tables, menu, send, shown, box } = await opened();
  equal(document.activeElement === box("step"), true);
  press(document.activeElement, "ArrowDown");
  equal(document.activeElement.dataset.column, "crew");
  press(document.activeElement, "ArrowDown", { altKey: true });
  equal([shown(), document.activeElement.dataset.column], [["step", "after", "crew", "minutes"], "crew"]);
  press(document.activeElement, "p");
  equal(
    [shown(), send.last().look.pinned],
    [
      ["step", "crew", "after", "minutes"],
      ["step", "crew"],
    ],
  );
  press(document.activeElement, "Escape");
  equal([menu.box.hidden, document.activeElement === tables.holder()], [true, true]);
});

test("hidden columns are counted and one press away, and so is the usual view", async () => {
  const { menu, send, shown, box } = await opened();
  equal(menu.fold.hidden, true);
  box("crew").click();
  box("minutes").click();
  equal(menu.fold.textContent, "+2 hidden");
  menu.fold.click();
  equal([shown(), menu.fold.textContent], [["step", "crew", "after", "minutes"], "Usual columns"]);
  menu.fold.click();
  equal([send.last().look, menu.fold.hidden], [null, true]);
});

test("another view's choice is taken and not told again", async () => {
  const { menu, send, shown } = await opened();
  const before = send.said.length;
  menu.set("steps", { order: ["minutes", "step"], hidden: ["crew"], pinned: [] }, false);
  equal([shown(), send.said.length], [["minutes", "step", "after"], before]);
});

test("a column that was empty is seen once something stands in it", async () => {
  const { tables, shown } = await opened();
  tables.sheets.steps.rows[5][2] = "";
  tables.columns.set("steps", { order: [], hidden: ["after"], pinned: [] });
  equal(shown().includes("after"), false);
  tables.patch({ tables: { steps: { rows: { 6: ["A2", "EV1", "B1", "10"] } } }, faults: [] });
  equal(shown().includes("after"), true);
});

test("a dragged head is kept as an order", async () => {
  const { tables, send } = await opened();
  tables.grids.steps.table.moveColumn("minutes", "crew", false);
  equal(send.last().look.order, ["step", "minutes", "crew", "after"]);
});
