import { Candidate } from "/static/chart_candidate.js";
import { ChartDrag } from "/static/chart_drag.js";
import { layoutLanes } from "/static/chart_layout.js";
import { workBars } from "/static/chart_hands.js";
import { svg } from "/static/dom.js";
import { equal, listener, placed, test } from "./check.js";
import { THEME, sampleChart } from "./sample.js";

const data = sampleChart();
const places = layoutLanes(data);

// A chart that shows minutes 0 to 100 on 1000 px, ten pixels a minute, from x = 96.
function begun(step, who, { isEdge = false, isFixed = false, chosen = [] } = {}) {
  const bar = workBars(data).find(each => each.step === step && each.who === who);
  const send = listener();
  const asked = listener();
  const moves = [];
  const chart = {
    chart: data,
    places,
    range: [0, 100],
    width: 1000 + 96 + 14,
    theme: THEME,
    isFixed,
    send,
    chosen: new Set(chosen),
    candidate: new Candidate(asked, () => {}),
    look: { places, x: minute => 96 + minute * 10, clipId: "clip" },
    root: placed(document.createElement("div")),
    canvas: placed(svg("svg")),
    work: () => workBars(data),
    x: minute => 96 + minute * 10,
    minuteAt: px => (px - 96) / 10,
    setRange: (start, size) => moves.push(["range", start, size]),
    choose: chosenStep => moves.push(["choose", chosenStep]),
  };
  const y = places.lanes[who].main.y + 30;
  const drag = new ChartDrag(chart, [500, y], bar ? { bar, isEdge } : null);
  const words = () => [...chart.canvas.querySelectorAll("text")].map(each => each.textContent);
  const where = () => drag.box.firstChild.textContent;
  return { chart, drag, moves, y, words, where, said: send.said, asked };
}

test("a ghost follows the hand, the box says where it goes, and both go with the drop", () => {
  const { chart, drag, said, y, words, where } = begun("A1", "EV1");
  drag.move([500 + 310, y]); // its middle from 10 to 41 min: after that of B1, at 40
  equal([words(), chart.canvas.querySelectorAll(".pk-drop-line").length], [["A1"], 1]);
  equal(where(), "A1: EV1, before A2");
  drag.finish();
  equal(said, [{ kind: "move", step: "A1", lane: "EV1", before: "A2" }]);
  equal([chart.canvas.childElementCount, chart.root.childElementCount], [0, 0]);
});

test("near its drop place a bar snaps to it, unless Alt lets it go", () => {
  const { chart, drag, y } = begun("A2", "EV1");
  const left = () => Number(chart.canvas.querySelector(".pk-drag-bar").getAttribute("x"));
  drag.move([500 - 199, y]); // its left edge from 596 to 397, before B1 at 396
  equal(left(), 396 - 2);
  drag.move([500 - 199, y], true);
  equal(left(), 397);
});

test("a step of both says that it keeps its lane, and is not moved", () => {
  const { drag, said, where, asked } = begun("B1", "EV1");
  drag.move([500, places.lanes.EV2.main.y + 30]);
  equal(where(), "B1 is of both and keeps its lane");
  drag.finish();
  equal([said, asked.said], [[], []]);
});

test("several chosen ones move as one", () => {
  const { chart, drag, y, where, said } = begun("A1", "EV1", { chosen: ["A1", "B1"] });
  drag.move([500 + 600, y]);
  equal(chart.canvas.querySelectorAll(".pk-drag-bar").length, 2);
  equal(where(), "A1 B1: EV1, last");
  drag.finish();
  equal(said, [{ kind: "move", step: "A1", lane: "EV1", before: null, more: ["B1"] }]);
});

test("of two lanes they do not move, and say why", () => {
  const { drag, y, where, said } = begun("A1", "EV1", { chosen: ["A1", "C1"] });
  drag.move([500 + 600, y]);
  equal(where(), "C1 is not in the lane of EV1: only steps of one lane move together");
  drag.finish();
  equal(said, []);
});

test("an end says the minutes, before and after, and what it snapped to", () => {
  const { drag, y, words, where, said } = begun("A1", "EV1", { isEdge: true });
  drag.move([500 + 20, y]);
  equal([where(), words()], ["A1: 20 → 22 min", []]);
  drag.move([500 + 47, y]);
  equal([where(), words()], ["A1: 20 → 25 min, to the start of D1, arm", ["start of D1, arm"]]);
  drag.move([500 + 47, y], true);
  equal([where(), words()], ["A1: 20 → 25 min", []]);
  drag.finish();
  equal(said, [{ kind: "minutes", step: "A1", minutes: 25 }]);
});

test("what would be dropped is asked, where it was is not", () => {
  const { drag, y, asked } = begun("A1", "EV1", { isEdge: true });
  drag.move([500 + 20, y]);
  equal(asked.said, [{ kind: "candidate", drop: { kind: "minutes", step: "A1", minutes: 22 } }]);
  drag.move([500, y]);
  asked.answer();
  equal(asked.said.length, 1);
});

test("an end that comes back to where it was says nothing", () => {
  const { drag, y, said } = begun("A1", "EV1", { isEdge: true });
  drag.move([600, y]);
  drag.move([502, y]);
  drag.finish();
  equal(said, []);
});

test("a press without a drag leaves only that bar chosen", () => {
  const { drag, moves } = begun("A1", "EV1", { chosen: ["A1", "B1"] });
  drag.finish();
  equal(moves, [["choose", "A1"]]);
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
  drag.finish();
  equal(moves, [
    ["range", 2, 100],
    ["range", 5, 100],
  ]);
});

test("outside a bar cannot be taken", () => {
  const { drag, y, words, moves } = begun("A1", "EV1", { isFixed: true });
  drag.move([800, y]);
  drag.finish();
  equal([words(), moves], [[], [["choose", "A1"]]]);
});

test("a drag that was stopped leaves no ghost", () => {
  const { chart, drag, y } = begun("A1", "EV1");
  drag.move([800, y]);
  drag.stop();
  equal(chart.canvas.childElementCount, 0);
});
