// Which columns of a table are seen, in which order, and which stay in sight: a list by its tools.
// What is chosen is kept with the session, sheet by sheet, and is no edit of the scenario.

import { button, el } from "./dom.js";
import { Pages } from "./pages.js";
import { columnsOf } from "./table_grid.js";
import { emptyColumns, headOf, lookOf, orderAfter } from "./table_rows.js";

export class ColumnMenu {
  constructor(tables) {
    this.tables = tables;
    this.opener = button("Columns", "Choose, order and pin columns", () => this.toggle(), {
      "aria-expanded": "false",
    });
    this.fold = button("", "", () => this.set(this.tables.current, this.folded));
    this.tools = [this.opener, this.fold];
    this.box = el("div", { class: "pk-columns", role: "group", "aria-label": "Columns", hidden: true });
    this.list = el("ul", { "aria-label": "Columns in their order" });
    this.box.append(
      el("p", { class: "pk-quiet" }, "Space shows or hides, P pins, Alt with ↑ or ↓ moves; Escape closes."),
      ...new Pages(this.list).parts,
      el(
        "div",
        { class: "pk-group" },
        button("As usual", "Used columns, in the file's order", () => this.set(this.tables.current, null)),
        button("Copy with headings", "Copy the chosen cells with their columns' names (Ctrl+Shift+C)", () =>
          this.tables.hands.copyWithHeads(),
        ),
      ),
    );
    this.box.addEventListener("keydown", event => this.onKey(event));
    this.box.addEventListener("focusout", ({ relatedTarget }) => {
      const isAway = relatedTarget && !this.box.contains(relatedTarget) && relatedTarget !== this.opener;
      if (isAway) this.toggle(false, false);
    });
  }

  get look() {
    return this.lookOf(this.tables.current);
  }

  lookOf(name) {
    const { sheets, schema, looks } = this.tables;
    return lookOf(sheets[name], schema[name], looks[name]);
  }

  change(part) {
    this.set(this.tables.current, { ...this.look, ...part });
  }

  // Which columns are seen, in which order; null: the usual ones. Told to the other views, and kept.
  set(name, look, isMine = true) {
    const { tables } = this;
    tables.looks[name] = look;
    if (isMine) tables.send({ kind: "columns", sheet: name, look });
    this.reshape(name);
  }

  reshape(name) {
    const grid = this.tables.grids[name];
    if (grid?.isBuilt) {
      const spot = this.tables.spot(grid);
      const sorters = grid.table.getSorters().map(({ field, dir }) => ({ column: field, dir }));
      grid.table.setColumns(columnsOf(this.tables, name));
      if (sorters.length) grid.table.setSort(sorters);
      if (spot && grid.table.getColumn(spot.column)) this.tables.goTo(grid, spot.line, spot.column, false);
    }
    this.paint();
  }

  // The head of a column was dragged.
  moved(name) {
    const { order, ...look } = this.lookOf(name);
    const fields = this.tables.grids[name].table.getColumns().map(each => each.getField());
    const shown = fields.filter(each => order.includes(each));
    this.tables.looks[name] = { ...look, order: orderAfter(order, shown) };
    this.tables.send({ kind: "columns", sheet: name, look: this.tables.looks[name] });
    this.paint();
  }

  isAway(name, column) {
    const grid = this.tables.grids[name];
    return (
      Boolean(grid?.isBuilt) &&
      this.tables.sheets[name].columns.includes(column) &&
      !grid.table.getColumns().some(each => each.getField() === column)
    );
  }

  // A column that something is to be seen in.
  show(name, column) {
    if (!this.isAway(name, column)) return;
    const { hidden, ...look } = this.lookOf(name);
    if (hidden.includes(column)) this.set(name, { ...look, hidden: hidden.filter(each => each !== column) });
    else this.reshape(name);
    this.tables.say(`The column ${column} was hidden and is shown.`);
  }

  showFaulty(name) {
    for (const key of this.tables.faults.keys()) {
      const [sheet, , column] = key.split("|");
      if (sheet === name) this.show(name, column);
    }
  }

  // Columns that were empty until now are seen once something stands in them.
  unfold(name, before, rows) {
    const { columns, order } = this.tables.sheets[name];
    const filled = columns.filter(
      (column, at) => Object.values(rows).some(row => row[at]) && this.isAway(name, column),
    );
    if (!filled.length) return;
    const known = order.filter(id => id in before);
    const empty = emptyColumns({ columns, order: known, rows: before });
    for (const column of filled) if (empty.includes(column)) this.show(name, column);
  }

  toggle(isOpen = this.box.hidden, withFocus = true) {
    this.box.hidden = !isOpen;
    this.opener.setAttribute("aria-expanded", String(isOpen));
    this.paint();
    if (isOpen) this.list.querySelector("input")?.focus();
    else if (withFocus) this.tables.holder().focus({ preventScroll: true });
  }

  // Everything again, the keyboard where it was.
  paint() {
    const { hidden } = this.look;
    const { current, sheets, schema, looks } = this.tables;
    const empty = emptyColumns(sheets[current]);
    const isEmpty = hidden.every(each => empty.includes(each));
    this.folded = hidden.length ? { ...this.look, hidden: [] } : null;
    this.fold.hidden = !hidden.length && !looks[current];
    this.fold.textContent = hidden.length
      ? `+${hidden.length} ${isEmpty ? "empty" : "hidden"}`
      : "Usual columns";
    this.fold.title = hidden.length ? `Show ${hidden.join(", ")}` : "Fold away what nobody has used";
    if (this.box.hidden) return;
    const { column, part } = document.activeElement?.dataset ?? {};
    this.list.replaceChildren(...this.look.order.map(each => this.line(each, schema[current].fields[each])));
    const at = this.list.querySelector(`[data-column="${CSS.escape(column ?? "")}"][data-part=${part}]`);
    if (at) at.focus();
  }

  line(column, field) {
    const { hidden, pinned } = this.look;
    const words = headOf(column, field);
    const tool = (part, label, hint, act, isPressed) =>
      button(label, `${hint} ${words}`, act, {
        "aria-label": `${hint} ${words}`,
        "aria-pressed": isPressed,
        "data-column": column,
        "data-part": part,
        tabindex: -1,
      });
    const isPinned = pinned.includes(column);
    const box = el("input", {
      type: "checkbox",
      "data-column": column,
      "data-part": "shown",
      onchange: () => this.flip("hidden", column),
    });
    box.checked = !hidden.includes(column);
    return el(
      "li",
      { title: field?.about ?? "a column of your own" },
      el("label", {}, box, words, el("span", { class: "pk-quiet" }, words === column ? "" : ` ${column}`)),
      tool("up", "↑", "Move up", () => this.move(column, -1)),
      tool("down", "↓", "Move down", () => this.move(column, 1)),
      tool("pin", "Pin", isPinned ? "Unpin" : "Pin", () => this.flip("pinned", column), String(isPinned)),
    );
  }

  flip(part, column) {
    const before = this.look[part];
    this.change({
      [part]: before.includes(column) ? before.filter(each => each !== column) : [...before, column],
    });
  }

  move(column, by) {
    const order = this.look.order.filter(each => each !== column);
    order.splice(Math.max(0, this.look.order.indexOf(column) + by), 0, column);
    this.change({ order });
  }

  onKey(event) {
    event.stopPropagation();
    const { column } = event.target.dataset;
    const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (event.key === "Escape") this.toggle(false);
    else if (column && by && event.altKey) this.move(column, by);
    else if (column && event.key.toLowerCase() === "p") this.flip("pinned", column);
    else if (column && by) {
      const boxes = [...this.list.querySelectorAll("input")];
      const at = boxes.findIndex(each => each.dataset.column === column);
      boxes[(at + by + boxes.length) % boxes.length].focus();
    } else return;
    event.preventDefault();
  }
}
