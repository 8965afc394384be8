// What the planner does with rows, cells and blocks of a table: by key, by button, through the clipboard.

import { button } from "./dom.js";
import { cellAct, isCopyWithHeads, rowAct } from "./keys.js";
import { NUMBER_COLUMN, blockTable, blockText } from "./table_rows.js";

const ADDED = { steps: "step", tasks: "task", hardware: "item", actions: "action" };

export class TableHands {
  constructor(tables) {
    this.tables = tables;
    this.firstKey = null;
    this.addButton = button("Add", "", () => this.add());
  }

  buttons() {
    return [
      this.addButton,
      button("Duplicate", "Copy the chosen rows (Alt+D)", () => this.onLines("duplicate")),
      button("Delete", "Delete the chosen rows (Alt+Delete)", () => this.onLines("delete")),
      button("↑", "Move the chosen rows up (Alt+↑)", () => this.shift(-1), { "aria-label": "Move rows up" }),
      button("↓", "Move the chosen rows down (Alt+↓)", () => this.shift(1), {
        "aria-label": "Move rows down",
      }),
    ];
  }

  // What is added, in words: a step, a task, an item.
  name(sheet) {
    this.addButton.textContent = `Add ${ADDED[sheet] ?? "row"}`;
    this.addButton.title = `${this.addButton.textContent} below the chosen one (Alt+N)`;
  }

  onKey(event) {
    if (event.target.closest("input, textarea, select")) return;
    // Tab leaves the table: the arrows go from cell to cell.
    if (event.key === "Tab") {
      event.stopPropagation();
      return;
    }
    const act = rowAct(event);
    if (act) {
      this.doToRows(act);
      event.preventDefault();
      event.stopPropagation();
    } else if (isCopyWithHeads(event)) {
      this.copyWithHeads();
      event.preventDefault();
    } else if (event.target.closest(".pk-grid")) {
      this.onPlainKey(event);
    }
  }

  doToRows(act) {
    if (act === "add") this.add();
    else if (act === "form") this.tables.form.toggle(true);
    else if (act === "up" || act === "down") this.shift(act === "up" ? -1 : 1);
    else this.onLines(act);
  }

  add() {
    const lines = this.tables.chosenLines();
    this.tables.send({
      kind: "add",
      sheet: this.tables.current,
      after: lines.length ? lines[lines.length - 1] : null,
    });
  }

  onLines(kind) {
    const lines = this.tables.chosenLines();
    if (lines.length) this.tables.send({ kind, sheet: this.tables.current, lines });
  }

  shift(by) {
    const lines = this.tables.chosenLines();
    const { table } = this.tables.grids[this.tables.current];
    if (table.getSorters().length) {
      this.tables.line.textContent = "Sorted for looking only: choose “As planned” before rows are moved.";
    } else if (lines.length) {
      const shown = this.tables.tools.isFiltering
        ? { shown: table.getRows("active").map(row => row.getData()._id) }
        : {};
      this.tables.send({ kind: "shift", sheet: this.tables.current, lines, by, ...shown });
    }
  }

  onPlainKey(event) {
    const spot = this.tables.spot();
    const act = spot && cellAct(event);
    if (!act) return;
    event.preventDefault();
    if (act === "edit") {
      this.firstKey = event.key.length === 1 ? event.key : null;
      spot.cell.edit();
      return;
    }
    const edits = this.tables.schema[this.tables.current].edits;
    const cells = this.tables.grids[this.tables.current].table
      .getRanges()[0]
      .getCells()
      .flat()
      .filter(cell => !edits || edits.includes(cell.getField()))
      .map(cell => [cell.getData()._id, cell.getField(), ""]);
    this.tables.send({ kind: "cells", sheet: this.tables.current, cells });
  }

  takeKey() {
    const key = this.firstKey;
    this.firstKey = null;
    return key;
  }

  onCopy(event) {
    const range = this.tables.grids[this.tables.current]?.table.getRanges()[0];
    if ((event.target.closest("input, textarea") && !this.withHeads) || !range) return;
    const cells = range.getCells();
    const rows = cells.map(row => row.map(cell => cell.getValue()));
    if (this.withHeads) rows.unshift(cells[0].map(cell => cell.getField()));
    event.clipboardData.setData("text/plain", blockText(rows));
    event.clipboardData.setData("text/html", blockTable(rows));
    event.preventDefault();
    event.stopPropagation();
  }

  copyWithHeads() {
    this.withHeads = true;
    document.execCommand("copy");
    this.withHeads = false;
  }

  onPaste(event) {
    if (event.target.closest("input, textarea")) return;
    const text = event.clipboardData?.getData("text/plain");
    const range = this.tables.grids[this.tables.current]?.table.getRanges()[0];
    if (!text || !range) return;
    event.preventDefault();
    event.stopPropagation();
    const spot = this.tables.spot();
    const { table } = this.tables.grids[this.tables.current];
    const columns = table
      .getColumns()
      .map(each => each.getField())
      .filter(name => name && name !== NUMBER_COLUMN);
    const below = table.getRows("active").map(row => row.getData()._id);
    this.tables.send({
      kind: "paste",
      sheet: this.tables.current,
      text,
      lines: below.slice(below.indexOf(spot.line)),
      columns: columns.slice(columns.indexOf(spot.column)),
      fills: range
        .getCells()
        .flat()
        .map(cell => [cell.getData()._id, cell.getField()]),
    });
  }
}
