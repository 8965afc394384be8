// One grid of the table library for one sheet: its columns, what a cell shows, and how it is edited.

import { cellEditor } from "./cell_editor.js";
import { el } from "./dom.js";
import {
  NUMBER_COLUMN,
  cellKey,
  headOf,
  lookOf,
  meaningOf,
  numberOrder,
  rowsOf,
  shownColumns,
  suggestionsOf,
} from "./table_rows.js";

export const LIBRARY = Symbol.for("planning_kit.tabulator"); // one a page, however many views

// At once, so that what the kernel sends next finds it: a module imported from memory comes later, and
// now and then not at all on a busy page.
export function loadLibrary(text) {
  const script = el("script", {}, text);
  document.head.append(script);
  script.remove();
  return Boolean(window[LIBRARY]);
}

export function makeGrid(tables, name) {
  const box = el("div", { class: "pk-grid" });
  tables.pane.append(box);
  const sheet = tables.sheets[name];
  const table = new window[LIBRARY](box, {
    index: "_id",
    nestedFieldSeparator: false,
    data: rowsOf(sheet),
    height: "100%",
    layout: "fitDataFill",
    selectableRange: 1,
    selectableRangeColumns: true,
    selectableRangeRows: true,
    selectableRangeAutoFocus: false,
    editTriggerEvent: "dblclick",
    // One stop for the keyboard in each table: the rows.
    rowFormatter: row =>
      row
        .getElement()
        .querySelectorAll("[tabindex='0']")
        .forEach(cell => {
          cell.tabIndex = -1;
        }),
    headerSortClickElement: "icon",
    movableColumns: true,
    history: false,
    debugInvalidOptions: false,
    rowHeader: {
      field: NUMBER_COLUMN,
      headerSort: false,
      frozen: true,
      width: 42,
      hozAlign: "right",
      resizable: false,
      formatter: cell => el("span", {}, cell.getValue()),
      cssClass: "pk-number",
    },
    columnDefaults: { headerSortTristate: true, resizable: "header", minWidth: 54, maxInitialWidth: 240 },
    columns: columnsOf(tables, name),
  });
  const ready = new Promise(done => {
    table.on("tableBuilt", done);
  });
  table.on("scrollHorizontal", left => box.classList.toggle("pk-scrolled", left > 0));
  const grid = { name, box, table, filters: {}, ready };
  table.on("tableBuilt", () => {
    grid.isBuilt = true;
    // Drawn anew, as when it comes into view, the library would choose the first cell: keys would go there.
    const { selectRange } = table.modules;
    const first = selectRange.setDefaultRange.bind(selectRange);
    selectRange.setDefaultRange = () => table.getRanges().length || first();
    keepHeads(table.columnManager);
    box.setAttribute("aria-label", `${name}: ${tables.schema[name].about}`);
    box.querySelector(".tabulator-header").tabIndex = -1;
    tables.columns?.showFaulty(name);
    keepChosenSeen(table, box.querySelector(".tabulator-tableholder"));
  });
  return grid;
}

// Less high, the rows that are seen would be without the chosen one, which was among them.
function keepChosenSeen(table, holder) {
  let before = 0;
  new ResizeObserver(() => {
    const high = holder.clientHeight;
    if (!high) return; // out of sight, and as it was when it is back
    const row = table.getRanges()[0]?.getRows()[0]?.getElement();
    const [at, around] = [row, holder].map(each => each?.getBoundingClientRect());
    const [top, bottom] = row?.isConnected ? [at.top - around.top, at.bottom - around.top] : [0, 0];
    if (top > -1 && bottom <= before + 1 && bottom > high) holder.scrollTop += bottom - high;
    before = high;
  }).observe(holder);
}

// After every edit the library would measure the heads of all columns: only where they have changed.
function keepHeads(manager) {
  const [align, restore] = [manager.verticalAlignHeaders, manager.restoreRedraw].map(each =>
    each.bind(manager),
  );
  let isDue = false;
  manager.verticalAlignHeaders = () => {
    isDue ||= manager.redrawBlock;
    align();
  };
  manager.restoreRedraw = () => {
    if (isDue || manager.redrawBlockUpdate !== null) restore();
    else manager.redrawBlock = false;
    isDue = false;
  };
}

// The columns that are seen, as the planner wants them.
export function columnsOf(tables, name) {
  const look = lookOf(tables.sheets[name], tables.schema[name], tables.looks?.[name]);
  return shownColumns(look).map(column => columnOf(tables, name, column, look.pinned.includes(column)));
}

export function columnOf(tables, name, column, isPinned) {
  const field = tables.schema[name].fields[column];
  const edits = tables.schema[name].edits;
  return {
    field: column,
    title: column,
    frozen: isPinned,
    ...(isPinned ? { maxInitialWidth: 160 } : {}), // what stays in sight leaves room for the rest
    headerSort: true,
    sorter: field?.is_number ? numberOrder(field.units) : "string",
    hozAlign: field?.is_number ? "right" : "left",
    headerHozAlign: field?.is_number ? "right" : "left",
    titleFormatter: () =>
      el(
        "span",
        { title: `${column}: ${meaningOf(field) || "a column of your own"}` },
        headOf(column, field),
      ),
    formatter: cell => shownCell(tables.faults, name, cell),
    editor: cellEditor(
      tables.root,
      cell => suggestionsOf(tables.schema, tables.sheets, name, column, cell.getData().key),
      () => tables.hands.takeKey(),
      (cell, text) => tables.write(name, cell.getData()._id, column, text),
    ),
    editable: () => !edits || edits.includes(column),
    cssClass: !edits || edits.includes(column) ? "" : "pk-fixed",
  };
}

// The text of a cell; marked, with the reason as its hint, where there is a fault.
export function shownCell(faults, name, cell) {
  const element = cell.getElement();
  const text = cell.getValue() ?? "";
  const fault = faults.get(cellKey(name, cell.getData()._id, cell.getField()));
  element.classList.toggle("pk-bad", Boolean(fault));
  if (fault) element.setAttribute("aria-invalid", "true");
  else element.removeAttribute("aria-invalid");
  element.title = fault ?? (text.length > 24 ? text : "");
  return el("span", {}, text);
}
