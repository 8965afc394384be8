import { ActionsPane, actionsOf } from "/static/actions_pane.js";
import { equal, listener, placed, test } from "./check.js";

const COLUMNS = "step,number,who,action,on,value,unit,tool,expected,record,class,warning,go,if_not,critical";
const columns = COLUMNS.split(",");
const row = cells => columns.map(column => cells[column] ?? "");
const SHEET = {
  columns,
  order: [7, 5, 9, 6],
  rows: {
    5: row({ step: "B3", number: "2", action: "Second" }),
    6: row({ step: "B3", number: "10", action: "Third", go: "inside", if_not: "R-1", critical: "yes" }),
    7: row({ step: "C1", number: "1", action: "Elsewhere" }),
    9: row({
      step: "B3",
      number: "1",
      who: "EV1",
      action: "<img src=x onerror=alert(1)>",
      warning: "caution: sharp edge",
    }),
  },
};

function shown(sheets, step, isFixed = false) {
  const pane = placed(document.createElement("div"));
  const send = listener();
  const opened = [];
  new ActionsPane(pane, send, (...cell) => opened.push(cell)).show(sheets, step, isFixed);
  return { pane, sent: send.said, opened };
}

test("the actions of a step come by their numbers, whatever the order of rows", () => {
  equal(
    actionsOf(SHEET, "B3").map(each => each.line),
    [9, 5, 6],
  );
  equal(actionsOf(undefined, "B3"), []);
});

test("a warning stands before its line, and text of the scenario is text", () => {
  const { pane } = shown({ actions: SHEET }, "B3");
  const [first] = pane.querySelectorAll("li");
  equal(first.firstElementChild.className, "pk-warning");
  equal(first.firstElementChild.dataset.kind, "caution");
  equal(first.firstElementChild.textContent, "CAUTION: sharp edge");
  equal(pane.querySelectorAll("img").length, 0);
});

test("a line leads to its row; who gives the GO and what if not are told", () => {
  const { pane, opened } = shown({ actions: SHEET }, "B3");
  const last = [...pane.querySelectorAll("button.pk-item")].at(-1);
  equal(last.textContent.includes("GO from inside: Third"), true);
  equal(last.textContent.includes("if not: R-1"), true);
  last.click();
  equal(opened, [["actions", 6, "action"]]);
});

test("a new action has the step and the next whole number; outside nothing is added", () => {
  const { pane, sent } = shown({ actions: SHEET }, "B3");
  pane.querySelector("[data-act=add_action]").click();
  equal(sent, [{ kind: "add", sheet: "actions", after: 6, texts: { step: "B3", number: "11" } }]);
  const bare = shown({ actions: SHEET }, "D1");
  bare.pane.querySelector("[data-act=add_action]").click();
  equal(bare.sent[0].texts, { step: "D1", number: "1" });
  const fixed = shown({ actions: SHEET }, "B3", true).pane;
  equal(fixed.querySelectorAll("button").length, 0);
});
