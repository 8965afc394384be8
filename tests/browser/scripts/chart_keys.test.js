import { ChartKeys } from "/static/chart_keys.js";
import { layoutLanes } from "/static/chart_layout.js";
import { workBars } from "/static/chart_hands.js";
import { equal, listener, test } from "./check.js";
import { sampleChart } from "./sample.js";

// The keys of a chart in which `selected` is chosen, and `along` besides it.
function keysOf(selected, along = [], data = sampleChart()) {
  const send = listener();
  const told = [];
  const chart = {
    chart: data,
    places: layoutLanes(data),
    send,
    selected,
    along,
    events: { onOpen: step => told.push(["open", step]), onRefused: words => told.push(["refused", words]) },
    work: () => workBars(data),
    zoomAll: () => told.push(["all"]),
    zoom: factor => told.push(["zoom", factor > 1]),
    stopDrag: () => told.push(["stop"]),
    choose: (step, _, more = []) => Object.assign(chart, { selected: step, along: more }),
    get chosen() {
      return new Set([...chart.along, chart.selected]);
    },
  };
  const keys = new ChartKeys(chart);
  const press = (key, more = {}) => {
    const event = { key, preventDefault: () => told.push(["taken"]), ...more };
    keys.onKey(event);
    return [...chart.chosen].join(" ");
  };
  return { chart, press, told, said: send.said };
}

test("the first arrow chooses the first step, others walk, and no other key is taken", () => {
  const { press, told } = keysOf(null);
  equal([press("x"), told.length], ["", 0]);
  equal(
    ["ArrowDown", "ArrowRight", "ArrowDown"].map(key => press(key)),
    ["A1", "B1", "B1"],
  );
  equal(
    ["F2", "ArrowLeft"].map(key => press(key)),
    ["B1", "A1"],
  );
  press("Home", { ctrlKey: true });
  equal(
    told.map(([what]) => what),
    ["taken", "taken", "taken", "taken"],
  );
});

test("plus and minus zoom while nothing is chosen, and change the minutes of what is", () => {
  const [none, one] = [keysOf(null), keysOf("A1")];
  for (const { press } of [none, one]) ["+", "-"].forEach(key => press(key));
  const zooms = [["zoom", false], ["taken"], ["zoom", true], ["taken"]];
  equal([none.told, none.said.length, one.told, one.said.length], [zooms, 0, [["taken"], ["taken"]], 2]);
});

test("Shift and arrows choose more, and let go on the way back", () => {
  const { press } = keysOf("A1");
  const shift = key => press(key, { shiftKey: true });
  equal(["ArrowRight", "ArrowRight", "ArrowLeft"].map(shift), ["A1 B1", "A1 B1 A2", "A1 B1"]);
  equal(press("ArrowRight"), "A2");
});

test("Escape takes a drag back, else the choice of several", () => {
  const { chart, press, told } = keysOf("A2", ["A1"]);
  chart.drag = {};
  equal([press("Escape"), told[0]], ["A1 A2", ["stop"]]);
  chart.drag = null;
  equal(press("Escape"), "A2");
});

test("Alt and an arrow moves all that are chosen, in their order, or says why not", () => {
  const { chart, press, told, said } = keysOf("B1", ["A1"]);
  const alt = key => press(key, { altKey: true });
  alt("ArrowRight");
  equal(said, [{ kind: "move", step: "A1", lane: "EV1", before: null, more: ["B1"] }]);
  alt("ArrowLeft"); // they are the first
  alt("ArrowDown");
  equal(
    told.filter(([what]) => what !== "taken"),
    [["refused", "B1 is of both and keeps its lane"]],
  );
  Object.assign(chart, { selected: "A2", along: ["A1"] });
  alt("ArrowDown");
  equal(said.slice(1), [{ kind: "move", step: "A1", lane: "EV2", before: "C1", more: ["A2"] }]);
  Object.assign(chart, { selected: "A2", along: ["C1"] });
  alt("ArrowLeft");
  equal(told.at(-2)[1], "C1 is not in the lane of EV1: only steps of one lane move together");
  chart.isFixed = true;
  alt("ArrowLeft");
  equal(said.length, 2);
});

test("plus and minus change the minutes of the chosen step, one at the least", () => {
  const { chart, press, said } = keysOf(
    "A1",
    [],
    sampleChart({ bars: [["A1", "EV1", "work", 0, 1, "T1", "Open"]] }),
  );
  for (const key of ["+", "-"]) press(key);
  equal(
    said.map(each => each.minutes),
    [2, 1],
  );
  chart.isFixed = true;
  press("+");
  equal(said.length, 2);
});
