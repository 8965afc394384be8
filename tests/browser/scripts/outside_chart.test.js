import { PlanChart } from "/static/chart.js";
import { OutsideChart } from "/static/outside_chart.js";
import { equal, listener, near, placed, test } from "./check.js";
import { THEMES, sampleChart } from "./sample.js";

const PHASES = ["past", "past", "running", "ahead", "past", "running", "ahead"];

function opened(more = { phases: PHASES, now: 40 }) {
  const root = placed(document.createElement("div"));
  root.dataset.theme = "light";
  root.style.width = "910px";
  const chart = new PlanChart(root, listener(), {});
  root.append(chart.box);
  chart.canvas.style.cssText = "display: block; width: 100%";
  const now = { minute: 40 };
  const outside = new OutsideChart(chart, () => now.minute);
  chart.load(sampleChart(more), THEMES);
  return { chart, outside, now };
}

test("what is done is hatched, what is in hand up to now, and outlined", () => {
  const { chart } = opened();
  const ends = [...chart.canvas.querySelectorAll(".pk-past")].map(
    each => Number(each.getAttribute("x")) + Number(each.getAttribute("width")),
  );
  [20, 40, 10, 40].forEach((minute, at) => near(ends[at], chart.x(minute), 0.02)); // A1, B1, C1, B1
  equal(chart.canvas.querySelectorAll(".pk-running").length, 2);
});

test("the hatching lies under the labels", () => {
  const { chart } = opened();
  const [past, labels] = [".pk-past", ".pk-labels"].map(each => chart.canvas.querySelector(each));
  equal(past.compareDocumentPosition(labels), Node.DOCUMENT_POSITION_FOLLOWING);
});

test("the line stands at now and moves with it", () => {
  const { chart, outside, now } = opened();
  const at = () => outside.line.getAttribute("transform");
  equal(
    [at(), outside.line.querySelector("text").textContent],
    [`translate(${chart.x(40).toFixed(2)},0)`, "now 0:40"],
  );
  now.minute = 41.9;
  outside.tick();
  equal(
    [at(), outside.line.querySelector("text").textContent],
    [`translate(${chart.x(41.9).toFixed(2)},0)`, "now 0:41"],
  );
});

test("the flag stays whole at the edge of the chart", () => {
  const { outside, now } = opened();
  now.minute = -8;
  outside.tick();
  equal(outside.flag.getAttribute("transform"), "translate(34.00,0)");
  const { y, height } = outside.flag.querySelector("path").getBBox();
  equal([y >= 0, height >= outside.chart.places.axis.height - 1], [true, true]); // hides the time behind it
  now.minute = 40;
  outside.tick();
  equal(outside.flag.getAttribute("transform"), "translate(0.00,0)");
});

test("a plan that is not under way has no line", () => {
  const { chart, outside } = opened({});
  equal([chart.canvas.querySelector(".pk-now-line"), outside.line], [null, undefined]);
  outside.tick();
});

test("the chart follows now until it is moved, and again by a key; what was seen before comes back", () => {
  const { chart, outside, now } = opened();
  const data = minute => sampleChart({ phases: PHASES, now: minute, end: 400, limits: [["hard", 420]] });
  chart.setRange(20, 30);
  const [from, to] = chart.range;
  outside.follow(true, data(40));
  chart.load(data(40));
  equal([chart.range[0], outside.button.ariaPressed], [10, "true"]);
  now.minute = 100;
  outside.follow(false, data(100));
  chart.load(data(100));
  equal(chart.range[0], 70);
  chart.setRange(0, 60);
  equal(outside.button.ariaPressed, "false");
  now.minute = 110;
  outside.follow(false, data(110));
  equal([chart.range[0], outside.onKey({ key: "n" }), chart.range[0]], [0, true, 80]);
  equal([outside.onKey({ key: "N" }), chart.isWhole, outside.onKey({ key: "x" })], [true, true, false]);
  outside.leave();
  equal(chart.range, [from, to]);
});
