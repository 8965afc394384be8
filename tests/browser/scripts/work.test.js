import { OddsPane, OrderPane, WorkControl } from "/static/work.js";
import { equal, listener, placed, test } from "./check.js";

function opened() {
  const send = listener();
  const control = new WorkControl("sweep", "Try all", "a hint", send);
  placed(control.box);
  return { control, said: send.said };
}

test("one button starts and stops", () => {
  const { control, said } = opened();
  control.button.click();
  control.told({ state: "running" });
  equal(control.button.textContent, "Stop");
  control.button.click();
  equal(
    [said, control.words.textContent],
    [
      [
        { kind: "ask", question: "sweep" },
        { kind: "stop", question: "sweep" },
      ],
      "stopping",
    ],
  );
  control.told({ state: "stopped" });
  equal(
    [control.button.textContent, control.words.textContent, control.meter.hidden],
    ["Try all", "stopped", true],
  );
});

test("how far it is, is shown where it is known", () => {
  const { control } = opened();
  control.told({ state: "running", words: "order 3", share: 0.25 });
  equal([control.meter.value, control.words.textContent, control.meter.hidden], [0.25, "order 3", false]);
  control.told({ state: "running" });
  equal([control.meter.hasAttribute("value"), control.words.textContent], [false, "begun"]);
});

test("what failed says why", () => {
  const { control } = opened();
  equal([control.told({ state: "failed", words: "no plan" }), control.words.textContent], [false, "no plan"]);
});

test("there is something to show when a part or the answer came", () => {
  const { control } = opened();
  const told = [{ part: 1 }, { result: [] }, {}].map(more => control.told({ state: "running", ...more }));
  equal(told, [true, true, false]);
});

test("an answer of the plan before the last edits says so, one in work does not", () => {
  const { control } = opened();
  const place = document.createElement("div");
  control.told({ state: "done", result: [1] }, "done");
  control.setOld(true, place);
  equal(
    [control.words.textContent, place.className],
    ["of the plan before your last edits", "pk-answer-old"],
  );
  control.setOld(false, place);
  equal([control.words.textContent, place.className], ["", ""]);
  control.told({ state: "running" });
  control.setOld(true, place);
  equal([control.words.textContent, place.className], ["begun", ""]);
});

test("the odds are told, least likely first as they come, and lead to their step", () => {
  const chosen = [];
  const pane = new OddsPane(listener(), step => chosen.push(step));
  placed(pane.body);
  const item = (what, share, step) => ({ what, share, odds: `${100 * share} %`, step });
  pane.told({
    state: "done",
    result: {
      items: [item("inside by the hard limit", 0.9, null)],
      windows: [item("A1 in its night", 0.5, "A1")],
      reasons: [],
      finish: [["50 %", "6:00"]],
      about: "200 samples",
    },
  });
  equal(
    [...pane.body.querySelectorAll(".pk-fill")].map(each => each.style.width),
    ["90%", "50%"],
  );
  pane.body.querySelector("button").click();
  equal([chosen, pane.body.textContent.includes("what is broken")], [["A1"], false]);
});

const ORDERS = {
  verdict: "Two orders.",
  rejected: [],
  current: [["in time", "90 %"]],
  orders: ["earliest end", "most done"].map(name => ({
    name,
    facts: ["10 min sooner"],
    chances: [],
    moves: ["A1 before B1"],
    verdict: "proved",
    is_repeatable: name === "most done",
  })),
};

function ordered() {
  const send = listener();
  const pane = new OrderPane(send);
  placed(pane.body);
  pane.told({ state: "done", result: ORDERS });
  const at = selector => pane.body.querySelector(selector);
  return { pane, at, said: send.said };
}

test("one order is looked at, at a time, and a second press looks away", () => {
  const { at, said } = ordered();
  for (const number of [0, 1, 1]) at(`[data-look='${number}']`).click();
  equal(said, [
    { kind: "preview", number: 0 },
    { kind: "preview", number: 1 },
    { kind: "preview", number: null },
  ]);
  equal(at("[data-look='1']").getAttribute("aria-pressed"), "false");
});

test("an order of a plan that has changed is not taken", () => {
  const { pane, at, said } = ordered();
  pane.setOld(true);
  at("[data-take='0']").click();
  equal(said, []);
  pane.setOld(false);
  at("[data-take='0']").click();
  equal(said, [{ kind: "take", number: 0 }]);
});

test("an order cut short says that it may differ next time", () => {
  const { pane } = ordered();
  const words = [...pane.body.querySelectorAll(".pk-source")].map(each => each.textContent);
  equal(words, ["proved; cut short, so it may differ next time", "proved"]);
  equal(pane.body.querySelectorAll("h4")[1].textContent, "Earliest end: 10 min sooner");
});
