// The tables: one Tabulator a sheet, made when its tab is first opened. The order of rows is the kernel's;
// sorting and finding here change only what is looked at.

import { el, say, tabButton, turnTab } from "./dom.js";
import { ColumnMenu } from "./column_menu.js";
import { RowForm } from "./row_form.js";
import { makeGrid } from "./table_grid.js";
import { TableHands } from "./table_hands.js";
import { TableTools } from "./table_tools.js";
import {
  NUMBER_COLUMN,
  aboutCell,
  cellKey,
  changedLines,
  faultCounts,
  faultsByCell,
  fieldOf,
  lineOf,
  rowOf,
  rowsOf,
  withCell,
} from "./table_rows.js";

const SAID_MS = 5000;

export class Tables {
  constructor(root, send, onStep) {
    Object.assign(this, { root, send, onStep });
    this.sheets = {};
    this.grids = {};
    this.looks = {};
    this.faults = new Map();
    this.hands = new TableHands(this);
    this.columns = new ColumnMenu(this);
    this.form = new RowForm(this);
    this.tabs = el("div", { class: "pk-tabs", role: "tablist", "aria-label": "Tables" });
    this.rowButtons = this.hands.buttons();
    this.tools = new TableTools(this, this.rowButtons, [...this.columns.tools, this.form.opener]);
    this.pane = el("div", { class: "pk-grid-pane", role: "tabpanel" });
    this.line = el("div", { class: "pk-cell-line", role: "status" });
    this.live = el("span", { class: "pk-live", role: "status" });
    this.box = el(
      "section",
      { class: "pk-tables", "aria-label": "Scenario tables" },
      this.tabs,
      this.tools.box,
      this.pane,
      this.line,
      this.live,
    );
    this.asides = [this.form.box, this.columns.box]; // they take the place of the side pane
    // Before the grid takes the arrows.
    this.box.addEventListener("keydown", event => this.hands.onKey(event), true);
    this.box.addEventListener("copy", event => this.hands.onCopy(event));
    this.box.addEventListener("paste", event => this.hands.onPaste(event));
    this.box.addEventListener("focusin", () => this.tellCell());
  }

  load(message) {
    for (const grid of Object.values(this.grids)) {
      grid.table.destroy();
      grid.box.remove();
    }
    this.grids = {};
    this.schema = message.schema;
    this.looks = { ...message.looks };
    this.sheets = structuredClone(message.tables); // other views of the page hold the same message
    this.setFaults(message.faults);
    this.open(this.current in this.sheets ? this.current : Object.keys(this.schema)[0]);
  }

  paintTabs() {
    const counts = faultCounts(this.faultList);
    const now = JSON.stringify([this.current, counts, Object.keys(this.schema)]);
    if (now === this.tabsShown) return;
    this.tabsShown = now;
    this.tabs.replaceChildren(
      ...Object.keys(this.schema).map(name =>
        tabButton(name, counts[name], {
          "aria-selected": String(name === this.current),
          tabindex: name === this.current ? 0 : -1,
          title: this.schema[name].about,
          "data-sheet": name,
          onclick: () => this.open(name),
          onkeydown: event => this.onTabKey(event, name),
        }),
      ),
    );
  }

  onTabKey(event, name) {
    turnTab(event, this.tabs, Object.keys(this.schema), name, next => this.open(next));
  }

  open(name) {
    this.current = name;
    this.paintTabs();
    for (const [other, grid] of Object.entries(this.grids)) grid.box.hidden = other !== name;
    for (const each of this.rowButtons) each.disabled = !this.sheets[name].can_grow;
    const isNew = !(name in this.grids);
    if (isNew) this.grids[name] = this.make(name);
    this.pane.setAttribute("aria-label", name);
    this.hands.name(name);
    this.tools.paint();
    this.columns.paint();
    this.tellCell();
    if (!isNew)
      this.grids[name].ready.then(() => {
        this.grids[name].table.redraw();
        this.tools.tellSorting();
      });
    return this.grids[name].ready;
  }

  make(name) {
    const grid = makeGrid(this, name);
    const { table } = grid;
    table.on("columnMoved", () => this.columns.moved(name));
    table.on("dataSorted", () => this.tools.tellSorting());
    table.on("rangeChanged", () => this.tellCell());
    return grid;
  }

  // A cell is typed, in the grid or in the form.
  write(name, id, column, text) {
    const sheet = this.sheets[name];
    sheet.rows[id] = withCell(sheet, id, column, text);
    this.send({ kind: "cells", sheet: name, cells: [[id, column, text]] });
  }

  // What the kernel says has changed.

  patch(message) {
    for (const [name, change] of Object.entries(message.tables)) this.change(name, change);
    this.setFaults(message.faults);
    this.form.fill();
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
    if (change.order) sheet.order = change.order;
    if (name === this.current) this.tools.tellCount();
    if (!grid) return;
    this.columns.unfold(name, before, change.rows ?? {});
    if (!grid.isBuilt) {
      grid.ready.then(() => this.reorder(grid, sheet)); // it is being built of what was there before
    } else if (change.order) {
      this.reorder(grid, sheet);
    } else {
      for (const id of changedLines(before, sheet.rows, change.rows)) {
        const row = grid.table.getRow(id);
        if (row) row.update(rowOf(sheet, id, sheet.order.indexOf(id)));
      }
    }
  }

  reorder(grid, sheet) {
    const spot = this.spot(grid);
    this.chosenLines(grid);
    grid.settled = this.busy(
      grid,
      grid.table
        .replaceData(rowsOf(sheet))
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
    this.faults = faultsByCell(faults, this.schema);
    for (const key of new Set([...before.keys(), ...this.faults.keys()])) {
      if (before.get(key) === this.faults.get(key)) continue;
      const [name, line] = key.split("|");
      const row = this.grids[name]?.table.getRow(Number(line));
      if (row) row.reformat();
    }
    for (const name of Object.keys(this.grids)) this.columns.showFaulty(name);
    if (this.schema) this.paintTabs();
    this.tellCell();
  }

  // Where the planner is, and what is chosen.

  spot(grid = this.grids[this.current]) {
    const range = grid?.isBuilt && grid.table.getRanges()[0];
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
    const fault = spot && this.faults.get(cellKey(this.current, spot.line, spot.column));
    this.line.classList.toggle("pk-says-bad", Boolean(fault));
    const known = this.schema?.[this.current];
    const field = spot && fieldOf(known, spot.column, spot.cell.getData()[known.key]);
    say(this.line, [this.said, spot && aboutCell(spot.column, field, fault)].join(" ").trim());
    say(
      this.live,
      spot
        ? `row ${spot.cell.getData()[NUMBER_COLUMN]}, ${spot.column}: ${spot.cell.getValue() || "empty"}`
        : "",
    );
    if (spot || this.form.name !== this.current) this.form.follow(spot);
    if (spot && this.current === "steps" && this.pane.contains(document.activeElement))
      this.onStep(this.sheets.steps.rows[spot.line][this.sheets.steps.columns.indexOf("step")]);
  }

  // A cell, in the grid; of a new row the first thing that it needs, in the form.
  show(name, line, column, isNew = false) {
    const opened = this.open(name);
    const grid = this.grids[name];
    grid.chosen = [line];
    this.busy(
      grid,
      opened
        .then(() => grid.settled)
        .then(() => {
          this.tools.clear();
          return this.goTo(grid, line, column || this.schema[name].key, true);
        })
        .then(() => {
          if (!isNew) return;
          this.form.toggle(true);
          this.form.focus(null, true);
        }),
    );
  }

  showStep(step) {
    const line = lineOf(this.sheets.steps, "step", step);
    if (line === undefined || this.current !== "steps") return;
    const grid = this.grids.steps;
    const isHidden = grid.isBuilt && !grid.table.getRows("active").some(row => row.getData()._id === line);
    const isCleared = isHidden && this.tools.clear();
    if (isCleared) this.say(`All rows are shown again: the filter had hidden ${step}.`);
    this.goTo(grid, line, "step", false);
  }

  // What the planner did not ask for is told below the table, for a while.
  say(words) {
    this.said = words;
    setTimeout(() => {
      this.said = "";
    }, SAID_MS);
  }

  goTo(grid, line, column, takeFocus) {
    const row = grid.table.getRow(line);
    if (!row) return Promise.resolve();
    this.columns.show(grid.name, column);
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

  holder() {
    return this.grids[this.current].box.querySelector(".tabulator-tableholder");
  }
}
