// The chosen row as a form beside the table: every field with its name in words, what it means and the
// control that fits, so that no id is typed from memory. A field is one edit, as a cell is.

import { button, el } from "./dom.js";
import { Pages } from "./pages.js";
import { fieldControl } from "./row_field.js";
import { cellKey, fieldOf, headOf, isFirst, meaningOf, suggestionsOf } from "./table_rows.js";

const GROUPS = ["What", "Who and where", "When", "Needs", "Words"];
const WHAT = ["title", "task", "kind", "need", "name", "block"];
const WHEN = ["light", "same_window", "when", "start", "end"];
const WHERE = ["crew", "actors", "places"];

// In which part of the form a column stands, by what it holds.
export function groupOf(column, field, key) {
  if (column === key || WHAT.includes(column)) return "What";
  if (column.startsWith("caution")) return "Words";
  if (field.unit === "min" || WHEN.includes(column)) return "When";
  if (field.unit === "m" || field.refers_to.some(each => WHERE.includes(each))) return "Who and where";
  if (field.refers_to.some(each => ["steps", "windows"].includes(each))) return "When";
  return field.kind === "text" ? "Words" : "Needs";
}

export class RowForm {
  constructor(tables) {
    this.tables = tables;
    this.line = null;
    this.fields = [];
    this.opener = button("Form", "The chosen row as a form (Alt+Enter)", () => this.toggle(), {
      "aria-pressed": "false",
    });
    this.head = el("strong", {});
    this.body = el("div", { class: "pk-form-body" });
    this.more = button("", "Fields that nobody has filled in", () => this.showAll(!this.isAll));
    this.box = el(
      "section",
      { class: "pk-form", "aria-label": "The chosen row", hidden: true },
      el(
        "div",
        { class: "pk-form-head" },
        this.head,
        button("Close", "Back to the table (Escape)", () => this.toggle(false)),
      ),
      new Pages(this.body).parts,
      this.more,
    );
    this.box.addEventListener("keydown", event => {
      if (event.key === "Escape") this.leave();
      if (!event.ctrlKey && !event.metaKey && !event.altKey) event.stopPropagation();
    });
  }

  get isOpen() {
    return !this.box.hidden;
  }

  toggle(isOpen = !this.isOpen) {
    this.box.hidden = !isOpen;
    this.opener.setAttribute("aria-pressed", String(isOpen));
    this.follow(this.tables.spot());
    if (isOpen) this.focus(this.tables.spot()?.column);
    else this.tables.holder().focus({ preventScroll: true });
  }

  // Back to the cell of the field that has the keyboard.
  leave() {
    const at = this.fields.find(({ box }) => box.contains(document.activeElement));
    const grid = this.tables.grids[this.tables.current];
    document.activeElement.blur(); // what is typed is an edit first
    this.tables.goTo(grid, this.line, at?.column ?? this.tables.schema[this.tables.current].key, true);
  }

  // Another row is chosen, or the same as before.
  follow(spot) {
    if (!this.isOpen) return;
    const name = this.tables.current;
    const line = spot?.line ?? null;
    const isSame = line === this.line && name === this.name;
    Object.assign(this, { line, name });
    if (!isSame) this.build();
    this.fill();
  }

  build() {
    const { schema, sheets } = this.tables;
    const sheet = sheets[this.name];
    this.fields = [];
    if (this.line === null) {
      this.head.textContent = "";
      this.more.hidden = true;
      this.body.replaceChildren(el("p", { class: "pk-hint" }, "Choose a cell of the table."));
      return;
    }
    const known = schema[this.name];
    const own = { kind: "text", about: "a column of your own", choices: [], refers_to: [] };
    const groups = Object.fromEntries(GROUPS.map(group => [group, []]));
    for (const column of sheet.columns) {
      if (known.edits && !known.edits.includes(column)) continue;
      const field = fieldOf(known, column, this.key) ?? own;
      groups[groupOf(column, field, known.key)].push(this.field(column, field));
    }
    this.body.replaceChildren(
      ...Object.entries(groups)
        .filter(([, fields]) => fields.length)
        .map(([group, fields]) =>
          el(
            "fieldset",
            {},
            el("legend", {}, group),
            fields.map(each => each.row),
          ),
        ),
    );
  }

  // What a sheet of keys and values has in the first cell of the row.
  get key() {
    const sheet = this.tables.sheets[this.name];
    return sheet.rows[this.line]?.[sheet.columns.indexOf(this.tables.schema[this.name].key)];
  }

  field(column, field) {
    const { root, schema, sheets } = this.tables;
    const isKeyed = Boolean(schema[this.name].values);
    const label = isKeyed ? this.key : headOf(column, field);
    const known = suggestionsOf(schema, sheets, this.name, column, this.key);
    const { line, name } = this;
    const commit = text => {
      this.tables.write(name, line, column, text);
      this.tables.grids[name].table.getRow(line)?.update?.({ [column]: text });
    };
    const control = fieldControl(root, { label, field, known, isKeyed }, commit);
    const problem = el("span", { class: "pk-says-bad", role: "alert" });
    const row = el(
      "div",
      { class: "pk-form-row", title: `${column}: ${meaningOf(field)}`, "data-column": column },
      el("span", { class: "pk-form-label" }, label, field.needed ? " *" : null),
      control.box,
      el("span", { class: "pk-quiet" }, field.about === "id" ? "" : field.about),
      problem,
    );
    const isOptional = !isKeyed && !isFirst(schema[name].fields, column);
    const each = { ...control, column, row, problem, titles: new Map(known.options), isOptional };
    this.fields.push(each);
    return each;
  }

  // What the cells say, and what is wrong with them.
  fill() {
    if (!this.isOpen || this.line === null) return;
    const sheet = this.tables.sheets[this.name];
    const texts = sheet.rows[this.line];
    if (!texts || !sheet.order.includes(this.line)) {
      this.line = null;
      this.build();
      return;
    }
    const place = `${sheet.order.indexOf(this.line) + 1} of ${sheet.order.length}`;
    this.head.textContent = `${this.key || "row"} · ${place}`;
    let folded = 0;
    for (const { column, row, set, input, problem, titles, isOptional, box } of this.fields) {
      const text = texts[sheet.columns.indexOf(column)];
      const fault = this.tables.faults.get(cellKey(this.name, this.line, column)) ?? "";
      set(text);
      problem.textContent = fault || (input === box && titles.get(text)) || "";
      problem.classList.toggle("pk-is-title", !fault);
      input.setAttribute("aria-invalid", String(Boolean(fault)));
      row.hidden = isOptional && !text && !fault && !this.isAll;
      folded += isOptional && !text && !fault;
    }
    for (const group of this.body.children) group.hidden = !group.querySelector(".pk-form-row:not([hidden])");
    this.more.hidden = !folded;
    this.more.textContent = this.isAll ? "Fewer fields" : `${folded} more field${folded === 1 ? "" : "s"}`;
  }

  showAll(isAll) {
    this.isAll = isAll;
    this.fill();
  }

  // The field of a column; of a new row the first that is needed and empty.
  focus(column, isNew = false) {
    const { fields } = this.tables.schema[this.name];
    const empty = ({ column: each, input }) => fields[each]?.needed && !input.value;
    const at = (isNew && this.fields.find(empty)) || this.fields.find(each => each.column === column);
    if (at?.row.hidden) this.showAll(true);
    (at ?? this.fields[0])?.input.focus();
  }
}
