// The tables: one Tabulator a sheet, made when its tab is first opened. The order of rows is the kernel's;
// sorting and finding here change only what is looked at.

import { cellEditor } from "./cell_editor.js";
import { button, el } from "./dom.js";

const NUMBER_COLUMN = "_n";
export const LIBRARY = Symbol.for("planning_kit.tabulator"); // one a page, however many views

export async function loadLibrary(text) {
  const address = URL.createObjectURL(new Blob([text], { type: "text/javascript" }));
  try {
    window[LIBRARY] = (await import(address)).default;
  } finally {
    URL.revokeObjectURL(address);
  }
}

export class Tables {
  constructor(root, send, onStep) {
    this.root = root;
    this.send = send;
    this.onStep = onStep;
    this.sheets = {};
    this.grids = {};
    this.faults = new Map();
    this.firstKey = null;
    this.tabs = el("div", { class: "pk-tabs", role: "tablist", "aria-label": "Tables" });
    this.find = el("input", {
      class: "pk-field",
      type: "search",
      placeholder: "Find in this table",
      "aria-label": "Find in this table",
    });
    this.find.addEventListener("input", () => this.filter());
    this.sort = button(
      "Sort",
      "Sort by the chosen column, for looking only; again: the other way round",
      () => this.sortByChosen(),
    );
    this.asPlanned = button(
      "As planned",
      "Undo the sorting: show the order of work again",
      () => this.unsort(),
      { "aria-disabled": "true" },
    );
    this.rowButtons = [
      button("Add", "Add a row below (Alt+N)", () => this.add()),
      button("Duplicate", "Copy the chosen rows (Alt+D)", () => this.onLines("duplicate")),
      button("Delete", "Delete the chosen rows (Alt+Delete)", () => this.onLines("delete")),
      button("↑", "Move the chosen rows up (Alt+↑)", () => this.shift(-1), { "aria-label": "Move rows up" }),
      button("↓", "Move the chosen rows down (Alt+↓)", () => this.shift(1), {
        "aria-label": "Move rows down",
      }),
    ];
    this.pane = el("div", { class: "pk-grid-pane", role: "tabpanel" });
    this.line = el("div", { class: "pk-cell-line", role: "status" });
    this.live = el("span", { class: "pk-live", role: "status" });
    this.box = el(
      "section",
      { class: "pk-tables", "aria-label": "Scenario tables" },
      this.tabs,
      el("div", { class: "pk-row-tools" }, this.rowButtons, this.find, this.sort, this.asPlanned),
      this.pane,
      this.line,
      this.live,
    );
    // Before the grid takes the arrows.
    this.box.addEventListener("keydown", event => this.onKey(event), true);
    this.box.addEventListener("copy", event => this.onCopy(event));
    this.box.addEventListener("paste", event => this.onPaste(event));
    this.box.addEventListener("focusin", () => this.tellCell());
  }

  load(message) {
    for (const grid of Object.values(this.grids)) {
      grid.table.destroy();
      grid.box.remove();
    }
    this.grids = {};
    this.schema = message.schema;
    this.sheets = structuredClone(message.tables); // other views of the page hold the same message
    this.setFaults(message.faults);
    this.open(this.current in this.sheets ? this.current : Object.keys(this.schema)[0]);
  }

  paintTabs() {
    const counts = {};
    for (const fault of this.faultList) counts[fault.sheet] = (counts[fault.sheet] ?? 0) + 1;
    this.tabs.replaceChildren(
      ...Object.keys(this.schema).map(name =>
        el(
          "button",
          {
            type: "button",
            role: "tab",
            class: "pk-tab",
            "aria-selected": String(name === this.current),
            tabindex: name === this.current ? 0 : -1,
            title: this.schema[name].about,
            "data-sheet": name,
            onclick: () => this.open(name),
            onkeydown: event => this.onTabKey(event, name),
          },
          name,
          counts[name] ? el("span", { class: "pk-count" }, counts[name]) : null,
        ),
      ),
    );
  }

  onTabKey(event, name) {
    const names = Object.keys(this.schema);
    const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!by) return;
    this.open(names[(names.indexOf(name) + by + names.length) % names.length]);
    this.tabs.querySelector("[aria-selected=true]").focus();
    event.preventDefault();
  }

  open(name) {
    this.current = name;
    this.paintTabs();
    for (const [other, grid] of Object.entries(this.grids)) grid.box.hidden = other !== name;
    for (const each of this.rowButtons) each.disabled = !this.sheets[name].can_grow;
    const isNew = !(name in this.grids);
    if (isNew) this.grids[name] = this.make(name);
    this.find.value = this.grids[name].find;
    this.pane.setAttribute("aria-label", name);
    this.tellSorting();
    this.tellCell();
    if (!isNew)
      this.grids[name].ready.then(() => {
        this.grids[name].table.redraw();
        this.tellSorting();
      });
    return this.grids[name].ready;
  }

  make(name) {
    const box = el("div", { class: "pk-grid" });
    this.pane.append(box);
    const sheet = this.sheets[name];
    const key = this.schema[name].key;
    const table = new window[LIBRARY](box, {
      index: "_id",
      nestedFieldSeparator: false,
      data: this.rowsOf(sheet),
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
      columns: sheet.columns.map(column => this.columnOf(name, column, column === key)),
    });
    const ready = new Promise(done => {
      table.on("tableBuilt", done);
    });
    const grid = { box, table, find: "", ready };
    table.on("cellEdited", cell => this.typed(name, cell));
    table.on("tableBuilt", () => {
      grid.isBuilt = true;
      box.setAttribute("aria-label", `${name}: ${this.schema[name].about}`);
      box.querySelector(".tabulator-header").tabIndex = -1;
    });
    table.on("dataSorted", () => this.tellSorting());
    table.on("rangeChanged", () => this.tellCell());
    return grid;
  }

  columnOf(name, column, isKey) {
    const field = this.schema[name].fields[column] ?? {};
    const edits = this.schema[name].edits;
    const unit = field.unit ? ` (${field.unit})` : "";
    return {
      field: column,
      title: column,
      frozen: isKey && column === this.sheets[name].columns[0],
      headerSort: true,
      sorter: field.is_number ? (a, b) => Number(a || NaN) - Number(b || NaN) || 0 : "string",
      hozAlign: field.is_number ? "right" : "left",
      titleFormatter: () => el("span", { title: (field.about ?? "a column of your own") + unit }, column),
      formatter: cell => this.shown(name, cell),
      editor: cellEditor(
        this.root,
        cell => this.suggestions(name, cell),
        () => this.takeKey(),
      ),
      editable: () => !edits || edits.includes(column),
      cssClass: !edits || edits.includes(column) ? "" : "pk-fixed",
    };
  }

  shown(name, cell) {
    const element = cell.getElement();
    const text = cell.getValue() ?? "";
    const fault = this.faults.get(`${name}|${cell.getData()._id}|${cell.getField()}`);
    element.classList.toggle("pk-bad", Boolean(fault));
    if (fault) element.setAttribute("aria-invalid", "true");
    else element.removeAttribute("aria-invalid");
    element.title = fault ?? (text.length > 24 ? text : "");
    return el("span", {}, text);
  }

  suggestions(name, cell) {
    let field = this.schema[name].fields[cell.getField()];
    if (this.schema[name].values) field = this.schema[name].values[cell.getData().key];
    if (!field) return { words: [], isList: false };
    const ids = field.refers_to.flatMap(other => {
      const at = this.sheets[other].columns.indexOf(this.schema[other].key);
      return this.sheets[other].order.map(id => this.sheets[other].rows[id][at]);
    });
    return { words: [...new Set([...field.choices, ...ids])].filter(Boolean), isList: field.is_list };
  }

  rowsOf(sheet) {
    return sheet.order.map((id, number) => this.rowOf(sheet, id, number));
  }

  rowOf(sheet, id, number) {
    const row = { _id: id, [NUMBER_COLUMN]: number + 1 };
    sheet.columns.forEach((column, at) => {
      row[column] = sheet.rows[id][at];
    });
    return row;
  }

  typed(name, cell) {
    const sheet = this.sheets[name];
    const id = cell.getData()._id;
    const at = sheet.columns.indexOf(cell.getField());
    sheet.rows[id] = sheet.rows[id].map((text, each) => (each === at ? cell.getValue() : text));
    this.send({ kind: "cells", sheet: name, cells: [[id, cell.getField(), cell.getValue()]] });
  }

  // What the kernel says has changed.

  patch(message) {
    for (const [name, change] of Object.entries(message.tables)) this.change(name, change);
    this.setFaults(message.faults);
  }

  change(name, change) {
    const sheet = this.sheets[name];
    const grid = this.grids[name];
    const before = sheet.rows;
    sheet.rows = { ...sheet.rows, ...change.rows };
    if (change.columns) {
      sheet.columns = change.columns;
      if (grid) {
        grid.table.destroy();
        grid.box.remove();
        delete this.grids[name];
      }
      if (name === this.current) this.open(name);
      return;
    }
    if (change.order) {
      sheet.order = change.order;
      if (grid) this.reorder(grid, sheet);
      return;
    }
    if (!grid) return;
    const changed = Object.keys(change.rows)
      .map(Number)
      .filter(id => !same(before[id], sheet.rows[id]));
    for (const id of changed) grid.table.getRow(id)?.update(this.rowOf(sheet, id, sheet.order.indexOf(id)));
  }

  reorder(grid, sheet) {
    const spot = this.spot(grid);
    this.chosenLines(grid);
    grid.settled = this.busy(
      grid,
      grid.table
        .replaceData(this.rowsOf(sheet))
        .then(() => spot && this.goTo(grid, spot.line, spot.column, false)),
    );
  }

  // While rows are put in order anew the choice jumps to the first: keys still mean the rows chosen before.
  busy(grid, promise) {
    grid.busy = (grid.busy ?? 0) + 1;
    return promise.finally(() => {
      grid.busy -= 1;
    });
  }

  setFaults(faults) {
    const before = this.faults;
    this.faultList = faults;
    this.faults = new Map();
    for (const fault of faults) {
      if (fault.line === null) continue;
      const columns = fault.column ? [fault.column] : [this.schema[fault.sheet].key];
      for (const column of columns) {
        const key = `${fault.sheet}|${fault.line}|${column}`;
        this.faults.set(key, [this.faults.get(key), fault.problem].filter(Boolean).join("; "));
      }
    }
    for (const key of new Set([...before.keys(), ...this.faults.keys()])) {
      if (before.get(key) === this.faults.get(key)) continue;
      const [name, line] = key.split("|");
      const row = this.grids[name]?.table.getRow(Number(line));
      if (row) row.reformat();
    }
    if (this.schema) this.paintTabs();
    this.tellCell();
  }

  // Where the planner is, and what is chosen.

  spot(grid = this.grids[this.current]) {
    const range = grid?.table.getRanges?.()[0];
    const cell = range?.getCells()[0]?.[0];
    return cell ? { cell, line: cell.getData()._id, column: cell.getField() } : null;
  }

  chosenLines(grid = this.grids[this.current]) {
    const range = grid.table.getRanges()[0];
    if (!grid.busy) grid.chosen = range ? range.getRows().map(row => row.getData()._id) : [];
    return grid.chosen ?? [];
  }

  tellCell() {
    const spot = this.current && this.grids[this.current] ? this.spot() : null;
    const fault = spot && this.faults.get(`${this.current}|${spot.line}|${spot.column}`);
    this.line.classList.toggle("pk-says-bad", Boolean(fault));
    const field = spot && (this.schema[this.current].fields[spot.column] ?? {});
    this.line.textContent = fault
      ? `${spot.column}: ${fault}`
      : field?.about
        ? `${spot.column}: ${field.about}${field.unit ? `, in ${field.unit}` : ""}`
        : "";
    this.live.textContent = spot
      ? `row ${spot.cell.getData()[NUMBER_COLUMN]}, ${spot.column}: ${spot.cell.getValue() || "empty"}`
      : "";
    if (spot && this.current === "steps" && this.pane.contains(document.activeElement))
      this.onStep(this.sheets.steps.rows[spot.line][this.sheets.steps.columns.indexOf("step")]);
  }

  show(name, line, column, takeFocus = true) {
    const opened = this.open(name);
    const grid = this.grids[name];
    grid.chosen = [line];
    this.busy(
      grid,
      opened
        .then(() => grid.settled)
        .then(() => {
          this.find.value = "";
          this.filter();
          return this.goTo(grid, line, column || this.schema[name].key, takeFocus);
        }),
    );
  }

  showStep(step) {
    const at = this.sheets.steps.columns.indexOf("step");
    const line = this.sheets.steps.order.find(id => this.sheets.steps.rows[id][at] === step);
    if (line !== undefined && this.current === "steps") this.goTo(this.grids.steps, line, "step", false);
  }

  goTo(grid, line, column, takeFocus) {
    const row = grid.table.getRow(line);
    if (!row) return Promise.resolve();
    return grid.table
      .scrollToRow(row, "center", false)
      .catch(() => {})
      .then(() => {
        const cell = row.getCell(column);
        if (!cell) return;
        if (takeFocus) grid.table.scrollToColumn(column, "middle", false).catch(() => {});
        const range = grid.table.getRanges()[0];
        if (range) range.setBounds(cell, cell);
        else grid.table.addRange(cell, cell);
        if (takeFocus) grid.table.rowManager.element.focus({ preventScroll: true });
        this.tellCell();
      });
  }

  filter() {
    const grid = this.grids[this.current];
    const text = this.find.value.toLowerCase();
    grid.find = this.find.value;
    if (!text) {
      grid.table.clearFilter();
      return;
    }
    grid.table.setFilter(row =>
      Object.entries(row).some(
        ([name, value]) =>
          name !== "_id" && name !== NUMBER_COLUMN && String(value).toLowerCase().includes(text),
      ),
    );
  }

  unsort() {
    const { table } = this.grids[this.current];
    table.clearSort();
    table.replaceData(this.rowsOf(this.sheets[this.current]));
    this.tellSorting();
  }

  sortByChosen() {
    const { table } = this.grids[this.current];
    const column = this.spot()?.column ?? this.schema[this.current].key;
    const [sorter] = table.getSorters();
    table.setSort(column, sorter?.field === column && sorter.dir === "asc" ? "desc" : "asc");
  }

  tellSorting() {
    const grid = this.grids[this.current];
    const isSorted = grid?.isBuilt && grid.table.getSorters().length > 0;
    this.asPlanned.ariaDisabled = String(!isSorted);
  }

  holder() {
    return this.grids[this.current].box.querySelector(".tabulator-tableholder");
  }

  // What the planner does with rows and blocks.

  add() {
    const lines = this.chosenLines();
    this.send({ kind: "add", sheet: this.current, after: lines.length ? lines[lines.length - 1] : null });
  }

  onLines(kind) {
    const lines = this.chosenLines();
    if (lines.length) this.send({ kind, sheet: this.current, lines });
  }

  shift(by) {
    const lines = this.chosenLines();
    const { table } = this.grids[this.current];
    if (table.getSorters().length) {
      this.line.textContent = "Sorted for looking only: choose “As planned” before rows are moved.";
    } else if (lines.length) {
      const shown = this.find.value ? { shown: table.getRows("active").map(row => row.getData()._id) } : {};
      this.send({ kind: "shift", sheet: this.current, lines, by, ...shown });
    }
  }

  onCopy(event) {
    const range = this.grids[this.current]?.table.getRanges()[0];
    if (event.target.closest("input, textarea") || !range) return;
    const quoted = text => (/[\t\n"]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
    const rows = range.getCells().map(row => row.map(cell => quoted(cell.getValue() ?? "")).join("\t"));
    event.clipboardData.setData("text/plain", rows.join("\n"));
    event.preventDefault();
    event.stopPropagation();
  }

  onPaste(event) {
    if (event.target.closest("input, textarea")) return;
    const text = event.clipboardData?.getData("text/plain");
    const range = this.grids[this.current]?.table.getRanges()[0];
    if (!text || !range) return;
    event.preventDefault();
    event.stopPropagation();
    const spot = this.spot();
    const { table } = this.grids[this.current];
    const columns = table
      .getColumns()
      .map(each => each.getField())
      .filter(name => name && name !== NUMBER_COLUMN);
    const below = table.getRows("active").map(row => row.getData()._id);
    this.send({
      kind: "paste",
      sheet: this.current,
      text,
      lines: below.slice(below.indexOf(spot.line)),
      columns: columns.slice(columns.indexOf(spot.column)),
      fills: range
        .getCells()
        .flat()
        .map(cell => [cell.getData()._id, cell.getField()]),
    });
  }

  takeKey() {
    const key = this.firstKey;
    this.firstKey = null;
    return key;
  }

  onKey(event) {
    if (event.target.closest("input, textarea")) return;
    // Tab leaves the table: the arrows go from cell to cell.
    if (event.key === "Tab") {
      event.stopPropagation();
      return;
    }
    const isAlt = event.altKey && !event.ctrlKey && !event.metaKey;
    const acts = {
      n: () => this.add(),
      d: () => this.onLines("duplicate"),
      Delete: () => this.onLines("delete"),
      ArrowUp: () => this.shift(-1),
      ArrowDown: () => this.shift(1),
    };
    if (isAlt && acts[event.key]) {
      acts[event.key]();
      event.preventDefault();
      event.stopPropagation();
    } else if (!event.altKey && !event.ctrlKey && !event.metaKey && event.target.closest(".pk-grid")) {
      this.onPlainKey(event);
    }
  }

  onPlainKey(event) {
    const spot = this.spot();
    if (!spot) return;
    if (event.key === "Delete" || event.key === "Backspace") {
      const edits = this.schema[this.current].edits;
      const cells = this.grids[this.current].table
        .getRanges()[0]
        .getCells()
        .flat()
        .filter(cell => !edits || edits.includes(cell.getField()))
        .map(cell => [cell.getData()._id, cell.getField(), ""]);
      this.send({ kind: "cells", sheet: this.current, cells });
      event.preventDefault();
    } else if (event.key === "F2" || event.key.length === 1) {
      this.firstKey = event.key.length === 1 ? event.key : null;
      spot.cell.edit();
      event.preventDefault();
    }
  }
}

function same(a, b) {
  return a !== undefined && b !== undefined && a.length === b.length && a.every((text, at) => text === b[at]);
}
