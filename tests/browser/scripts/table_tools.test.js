import { TableTools } from "/static/table_tools.js";
import { equal, test } from "./check.js";
import { sampleSchema, sampleSheets } from "./sample.js";

// The tools over a grid that keeps what it is asked; `seen` are the steps that its filter lets through.
function tools({ sorters = [], column = "step" } = {}) {
  const asked = [];
  let keeps = () => true;
  const table = {
    getSorters: () => sorters,
    setSort: (...what) => asked.push(...what),
    setFilter: filter => {
      keeps = filter;
    },
    clearFilter: () => {
      keeps = () => true;
    },
    getDataCount: () => seen().length,
  };
  const tables = {
    current: "steps",
    schema: sampleSchema(),
    sheets: sampleSheets(),
    grids: { steps: { table, isBuilt: true, filters: {} } },
    spot: () => ({ column }),
  };
  const rows = tables.sheets.steps.order.map(id => {
    const [step, crew] = tables.sheets.steps.rows[id];
    return { step, crew };
  });
  const seen = () => rows.filter(keeps).map(row => row.step);
  const made = new TableTools(tables, [], []);
  made.paint();
  return { made, tables, seen, asked };
}

test("the work of one person is theirs and that of both", () => {
  const { made, seen } = tools();
  made.picks.crew.value = "EV2";
  made.filter();
  equal([seen(), made.count.textContent, made.isFiltering], [["B1"], "1 of 3 rows", true]);
  made.picks.crew.value = "EV1";
  made.filter();
  equal(seen(), ["A1", "B1", "A2"]);
  made.find.value = "a2";
  made.filter();
  equal(seen(), ["A2"]);
});

test("people are listed where the table names them, tasks where it has them", () => {
  const { made, tables } = tools();
  equal([made.picks.crew.hidden, made.picks.task.hidden], [false, true]);
  equal(
    [...made.picks.crew.options].map(each => each.textContent),
    ["Everyone", "both", "EV1", "EV2"],
  );
  tables.current = "crew";
  made.paint();
  equal([made.picks.crew.hidden, made.count.textContent], [true, "2 rows"]);
});

test("clearing tells whether there was something to clear, and each table keeps its filter", () => {
  const { made, tables } = tools();
  equal(made.clear(), false);
  made.find.value = "a1";
  made.filter();
  equal(tables.grids.steps.filters, { find: "a1", crew: "", task: "" });
  equal([made.clear(), made.isFiltering, tables.grids.steps.filters.find], [true, false, ""]);
});

test("a column is sorted upwards first, then the other way, and the next one upwards again", () => {
  const sorted = (column, sorters) => {
    const { made, asked } = tools({ column, sorters });
    made.sortByChosen();
    return asked;
  };
  equal(sorted("crew", []), ["crew", "asc"]);
  equal(sorted("crew", [{ field: "crew", dir: "asc" }]), ["crew", "desc"]);
  equal(sorted("crew", [{ field: "crew", dir: "desc" }]), ["crew", "asc"]);
  equal(sorted("crew", [{ field: "step", dir: "asc" }]), ["crew", "asc"]);
});
