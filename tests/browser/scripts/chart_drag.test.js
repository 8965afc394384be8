import { ChartDrag } from "/static/chart_drag.js";
import { layoutLanes } from "/static/chart_layout.js";
import { workBars } from "/static/chart_hands.js";
import { svg } from "/static/dom.js";
import { equal, listener, placed, test } from "./check.js";
import { THEME, sampleChart } from "./sample.js";

const data = sampleChart();
const places = layoutLanes(data);

// A chart that shows minutes 0 to 100 on 1000 px, ten pixels a minute, from x = 96.
function begun(step, who, { isEdge = false, isFixed = false } = {}) {
  const bar = workBars(data).find(each => each.step === step && each.who === who);
  const send = listener();
  const moves = [];
  const chart = {
    chart: data,
    places,
    range: [0, 100],
    width: 1000 + 96 + 14,
    theme: THEME,
    isFixed,
    send,
    canvas: placed(svg("svg")),
    work: () => workBars(data),
    x: minute => 96 + minute * 10,
    minuteAt: px => (px - 96) / 10,
    setRange: (start, size) => moves.push(["range", start, size]),
    sendMove: (moved, lane, before) => moves.push([moved.step, lane, before]),
  };
  const y = places.lanes[who].main.y + 30;
  const drag = new ChartDrag(chart, [500, y], bar ? { bar, isEdge } : null);
  const words = () => [...chart.canvas.querySelectorAll("text")].map(each => each.textContent);
  return { chart, drag, moves, y, words, said: send.said };
}

test("a ghost says where the bar would be, and goes with the drop", () => {
  const { chart, drag, moves, y, words } = begun("A1", "EV1");
  drag.move([500 + 310, y]); // its middle from 10 to 41 min: after that of B1, at 40
  equal([words(), chart.canvas.querySelectorAll(".pk-drop-line").length], [["A1"], 1]);
  drag.end();
  equal([moves, chart.canvas.childElementCount], [[["A1", "EV1", "A2"]], 0]);
});

test("a step of both says that it keeps its lane, and is not moved", () => {
  const { drag, moves, words } = begun("B1", "EV1");
  drag.move([500, places.lanes.EV2.main.y + 30]);
  equal(words(), ["B1", "B1 keeps its lane"]);
  drag.end();
  equal(moves, []);
});

test("the ghost of an end says the minutes, before and after", () => {
  const { drag, y, words, said } = begun("A1", "EV1", { isEdge: true });
  drag.move([500 + 47, y]);
  equal(words(), ["20 → 25 min"]);
  drag.end();
  equal(said, [{ kind: "minutes", step: "A1", minutes: 25 }]);
});

test("an end that comes back to where it was says nothing", () => {
  const { drag, y, said } = begun("A1", "EV1", { isEdge: true });
  drag.move([600, y]);
  drag.move([502, y]);
  drag.end();
  equal(said, []);
});

test("it begins four pixels away, and goes on nearer", () => {
  const { drag, y, words } = begun("A1", "EV1");
  drag.move([503, y]);
  equal(words(), []);
  drag.move([504, y]);
  drag.move([501, y]);
  equal(words(), ["A1"]);
});

test("the ground moves the view from where it was taken", () => {
  const { drag, y, moves } = begun("none", "EV1");
  drag.move([480, y]);
  drag.move([450, y]);
  drag.end();
  equal(moves, [
    ["range", 2, 100],
    ["range", 5, 100],
  ]);
});

test("outside a bar cannot be taken", () => {
  const { drag, y, words, moves } = begun("A1", "EV1", { isFixed: true });
  drag.move([800, y]);
  drag.end();
  equal([words(), moves], [[], []]);
});

test("a drag that was stopped leaves no ghost", () => {
  const { chart, drag, y } = begun("A1", "EV1");
  drag.move([800, y]);
  drag.stop();
  equal(chart.canvas.childElementCount, 0);
});
