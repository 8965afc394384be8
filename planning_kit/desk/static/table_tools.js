// What is looked at of a table: words to find, the work of one person or one task, sorting. For looking
// only: the scenario keeps its order.

import { button, el, oneStop } from "./dom.js";
import { isFound, rowsOf, suggestionsOf } from "./table_rows.js";

const BOTH = "both";

export class TableTools {
  // `acts` are the buttons for rows, `ways` those that change how the table is seen.
  constructor(tables, acts, ways) {
    this.tables = tables;
    this.find = el("input", {
      class: "pk-field",
      type: "search",
      placeholder: "Find",
      "aria-label": "Find in this table",
    });
    this.find.addEventListener("input", () => this.filter());
    this.picks = Object.fromEntries(
      ["crew", "task"].map(column => [
        column,
        el("select", {
          class: "pk-field",
          "aria-label": `Only the rows of one ${column}`,
          onchange: () => this.filter(),
        }),
      ]),
    );
    this.count = el("span", { class: "pk-quiet", role: "status" });
    this.sort = button(
      "Sort",
      "Sort by the chosen column, for looking only; again: the other way round",
      () => this.sortByChosen(),
    );
    this.asPlanned = button(
      "As planned",
      "Undo the sorting: show the order of work again",
      () => this.unsort(),
      { hidden: true },
    );
    const picks = Object.values(this.picks);
    this.box = el(
      "div",
      { class: "pk-row-tools", "aria-label": "Tools of the table" },
      [acts, this.find, picks, this.count, this.sort, this.asPlanned, ways].flat(),
    );
    oneStop(this.box);
  }

  get grid() {
    return this.tables.grids[this.tables.current];
  }

  // Another table, or other ids in it: the lists of people and tasks as they are now, the choice as it was.
  paint() {
    const { schema, sheets, current } = this.tables;
    const wanted = this.grid?.filters ?? {};
    this.find.value = wanted.find ?? "";
    for (const [column, select] of Object.entries(this.picks)) {
      const { options } = suggestionsOf(schema, sheets, current, column);
      select.hidden = !schema[current].fields[column]?.refers_to.length;
      select.replaceChildren(
        el("option", { value: "" }, column === "crew" ? "Everyone" : "Every task"),
        ...options.map(([id, title]) => el("option", { value: id }, title ? `${id} ${title}` : id)),
      );
      select.value = wanted[column] ?? "";
      if (select.selectedIndex < 0) select.value = "";
    }
    this.tellSorting();
    this.tellCount();
  }

  get isFiltering() {
    return Boolean(this.find.value || Object.values(this.picks).some(each => each.value && !each.hidden));
  }

  filter() {
    const { find, picks, grid } = this;
    const [crew, task] = [picks.crew, picks.task].map(each => (each.hidden ? "" : each.value));
    const words = find.value.toLowerCase();
    grid.filters = { find: find.value, crew, task };
    const { sheets, schema } = this.tables;
    const people = crew && sheets.crew.order.map(id => sheets.crew.rows[id]);
    const isSuited = crew && people.some(row => row[sheets.crew.columns.indexOf(schema.crew.key)] === crew);
    if (this.isFiltering)
      grid.table.setFilter(
        row =>
          (!words || isFound(row, words)) &&
          (!crew || row.crew === crew || (isSuited && row.crew === BOTH)) &&
          (!task || row.task === task),
      );
    else grid.table.clearFilter();
    this.tellCount();
  }

  // Whether a filter had to go.
  clear() {
    const wasFiltering = this.isFiltering;
    this.find.value = "";
    for (const each of Object.values(this.picks)) each.value = "";
    if (wasFiltering) this.filter();
    return wasFiltering;
  }

  tellCount() {
    const all = this.tables.sheets[this.tables.current].order.length;
    const shown = this.isFiltering && this.grid?.isBuilt ? this.grid.table.getDataCount("active") : all;
    this.count.textContent = shown === all ? `${all} row${all === 1 ? "" : "s"}` : `${shown} of ${all} rows`;
  }

  sortByChosen() {
    const { table } = this.grid;
    const column = this.tables.spot()?.column ?? this.tables.schema[this.tables.current].key;
    const [sorter] = table.getSorters();
    table.setSort(column, sorter?.field === column && sorter.dir === "asc" ? "desc" : "asc");
  }

  unsort() {
    this.grid.table.clearSort();
    this.grid.table.replaceData(rowsOf(this.tables.sheets[this.tables.current]));
    this.tellSorting();
  }

  tellSorting() {
    this.asPlanned.hidden = !this.grid?.isBuilt || !this.grid.table.getSorters().length;
  }
}
