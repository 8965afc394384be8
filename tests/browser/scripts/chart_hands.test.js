import * as hands from "/static/chart_hands.js";
import { CHART_LEFT, CHART_RIGHT } from "/static/chart_layout.js";
import { equal, near, test } from "./check.js";
import { CREW, sampleChart } from "./sample.js";

const WIDTH = CHART_LEFT + CHART_RIGHT + 100; // 100 px of room
const RANGE = [0, 50]; // so that a minute is two pixels
const bars = hands.workBars(sampleChart());
const bar = (step, who = "EV1") => bars.find(each => each.step === step && each.who === who);
const steps = lane => lane.map(each => each.step);

test("minutes go to pixels and back", () => {
  equal(hands.xOf(0, RANGE, WIDTH), CHART_LEFT);
  equal(hands.xOf(50, RANGE, WIDTH), WIDTH - CHART_RIGHT);
  equal([hands.minutesPerPx(RANGE, WIDTH), hands.minutesPerPx([10, 60], WIDTH)], [0.5, 0.5]);
  for (const minute of [-7, 0, 12.5, 60]) {
    near(hands.minuteOf(hands.xOf(minute, RANGE, WIDTH), RANGE, WIDTH), minute, 1e-9);
  }
});

test("the whole is from before pet_zero to after the last limit or end", () => {
  equal(hands.wholeRange(sampleChart()), [-8, 98]);
  equal(hands.wholeRange(sampleChart({ end: 110 })), [-8, 118]);
});

test("what is under the pointer stays there while the chart is zoomed", () => {
  const range = hands.zoomedRange([0, 80], 0.5, 20, sampleChart());
  equal(range, [10, 50]);
  equal(hands.xOf(20, range, WIDTH), hands.xOf(20, [0, 80], WIDTH));
});

test("the chart is zoomed to five minutes at the least, to the whole at the most", () => {
  equal(hands.zoomedRange([0, 9], 0.5, 4, sampleChart()), null);
  equal(hands.zoomedRange([0, 10], 0.5, 4, sampleChart()), [2, 7]);
  equal(hands.zoomedRange([0, 90], 3, 45, sampleChart()), [-8, 98]);
});

test("a zoom about nothing chosen is about now, else about the work that is seen", () => {
  const chart = sampleChart({ end: 40, limits: [["hard", 300]] });
  const work = hands.workBars(chart);
  const [first, last] = [
    Math.min(...work.map(each => each.start)),
    Math.max(...work.map(each => each.finish)),
  ];
  equal(hands.middleSeen([-8, 308], chart), (first + last) / 2);
  equal(hands.middleSeen([last - 10, 308], chart), last - 5);
  equal(hands.middleSeen([200, 300], chart), 250); // no work is there
  equal(hands.middleSeen([-8, 308], { ...chart, now: 33 }), 33);
  equal(hands.zoomedRange([-8, 308], 0.5, 100, chart, 0.5), [21, 179]);
});

test("the view keeps between what comes before pet_zero and the horizon", () => {
  const chart = sampleChart();
  equal(hands.keptRange(-50, 40, chart), [-8, 32]);
  equal(hands.keptRange(500, 40, chart), [80, 120]);
  equal(hands.keptRange(20, 40, chart), [20, 60]);
});

test("only the whole is the whole", () => {
  const chart = sampleChart();
  equal(hands.isWholeRange([-8, 98], chart), true);
  equal(hands.isWholeRange([-7, 98], chart), false);
  equal(hands.isWholeRange([0, 106], chart), false);
});

test("work is what has a step; ways and waits are not", () => {
  equal(steps(bars), ["A1", "B1", "A2", "C1", "B1", "D1"]);
  equal(steps(hands.laneOf(bars, "EV1")), ["A1", "B1", "A2"]);
  equal(steps(hands.laneOf(bars, "EV1", "B1")), ["A1", "A2"]);
  equal(steps(hands.laneOf([...bars].reverse(), "EV1")), ["A1", "B1", "A2"]);
});

test("a step is of both when both of the crew do it, an operator does not count", () => {
  equal(
    ["A1", "B1", "D1"].map(step => hands.isBothOf(bars, step, CREW)),
    [false, true, false],
  );
  const withArm = [...bars, { ...bar("A1"), who: "arm" }];
  equal(hands.isBothOf(withArm, "A1", CREW), false);
});

test("a lane is hit a little above and below it too, the gap between is nobody's", () => {
  const lanes = { EV1: { main: { y: 100, height: 60 } }, EV2: { main: { y: 190, height: 60 } } };
  equal(
    [91, 92, 130, 168, 169].map(y => hands.laneNear(lanes, y) ?? null),
    [null, "EV1", "EV1", "EV1", null],
  );
  equal(hands.laneNear(lanes, 182), "EV2");
});

test("a bar is hit in it, its end also three pixels beyond", () => {
  const x = minute => minute * 2; // A1 from 0 to 40 px, B1 from 60 to 100, A2 from 100 to 120
  const lane = hands.laneOf(bars, "EV1");
  const hit = px => {
    const found = hands.barAt(lane, px, x);
    return found && [found.bar.step, found.isEdge];
  };
  equal(hit(0), ["A1", false]);
  equal(hit(33), ["A1", false]);
  equal(hit(34), ["A1", true]);
  equal(hit(43), ["A1", true]);
  equal(hit(44), null);
  equal(hit(100), ["B1", true]);
  equal(hit(104), ["A2", false]);
});

test("a short bar can still be grabbed in the middle", () => {
  const lane = [{ step: "S", start: 0, finish: 6 }];
  const edges = [0, 1, 3, 4, 6, 9].map(px => hands.barAt(lane, px, minute => minute)?.isEdge);
  equal(edges, [false, false, false, true, true, true]); // the last third and three pixels beyond
});

test("the tip says what is under the pointer, a bar's title until its own words come", () => {
  const notes = {
    findings: [{ severity: "stop", check: "sun", when: "at 0:10", message: "Too bright." }],
    ghost_hovers: [["A1 before"]],
    hovers: [["A1 now"]],
  };
  const chart = sampleChart();
  equal(hands.hoverLines({ finding: "0" }, chart, notes), ["stop sun at 0:10", "Too bright."]);
  equal(hands.hoverLines({ ghost: "0" }, chart, notes), ["A1 before"]);
  equal(hands.hoverLines({ inhibit: "0 0" }, chart, notes), [
    "I1 Arm power off",
    "Must stand from PET 0:05 to 0:45",
  ]);
  const broken = sampleChart({ broken: [{ words: "2 min short" }] });
  equal(hands.hoverLines({ broken: "0" }, broken, notes), ["Broken: 2 min short"]);
  equal(hands.hoverLines({ bar: "0" }, chart, notes), ["A1 now"]);
  equal(hands.hoverLines({ bar: "2" }, chart, notes), ["Lift the box"]);
  equal(hands.hoverLines({ bar: "2" }, chart, undefined), ["Lift the box"]);
  equal(hands.hoverLines({}, chart, notes), null);
});

test("a dragged end gives whole minutes, one at the least", () => {
  equal(hands.draggedMinutesOf(bar("A1"), 9, 0.5), 25); // 20 and 4.5, to the nearest
  equal(hands.draggedMinutesOf(bar("A1"), -8, 0.5), 16);
  equal(hands.draggedMinutesOf(bar("A1"), -400, 0.5), 1);
});

test("work of one may go to the other of the crew, work of both and of others stays", () => {
  const may = (who, step, from) => hands.mayGoTo(who, bar(step, from), bars, CREW);
  equal([may("EV2", "A1"), may("EV1", "A1"), may("arm", "A1")], [true, true, false]);
  equal([may("EV2", "B1"), may("EV1", "B1")], [false, true]);
  equal([may("EV1", "D1", "arm"), may("arm", "D1", "arm")], [false, true]);
});

test("a bar drops before the first step whose middle lies later", () => {
  const lane = hands.laneOf(bars, "EV1"); // with middles at 10, 40 and 55
  equal(
    [-5, 10, 11, 39.9, 40, 90].map(middle => hands.placeInLane(lane, middle)),
    [0, 1, 1, 1, 2, 3],
  );
  equal(hands.placeInLane([], 5), 0);
});

test("bars dropped where they were say nothing, elsewhere they move in their order", () => {
  const move = (moved, who, before) => hands.moveOf(bars, "EV1", moved, who, before);
  equal(
    [move(["A1"], "EV1", "B1"), move(["A2"], "EV1", null), move(["A1", "B1"], "EV1", "A2")],
    [null, null, null],
  );
  equal(move(["A1"], "EV1", null), { kind: "move", step: "A1", lane: "EV1", before: null });
  equal(move(["A1"], "EV2", "B1"), { kind: "move", step: "A1", lane: "EV2", before: "B1" });
  // Some that stand apart close up.
  equal(move(["A1", "A2"], "EV1", "B1"), {
    kind: "move",
    step: "A1",
    lane: "EV1",
    before: "B1",
    more: ["A2"],
  });
});

test("what moves with a bar, and why it cannot", () => {
  const taken = chosen => hands.takenWith(bars, new Set(chosen), bar("A2"));
  equal(taken(["A1"]), { steps: ["A2"], why: "" });
  equal(taken(["A2", "A1"]), { steps: ["A1", "A2"], why: "" });
  equal(taken(["A2", "C1"]).why, "C1 is not in the lane of EV1: only steps of one lane move together");
  const why = (who, ...moved) => hands.whyNotTo(who, "EV1", moved, bars, CREW);
  equal([why("EV1", "A1", "B1"), why("EV2", "A1", "A2")], ["", ""]);
  equal(why("EV2", "A1", "B1"), "B1 is of both and keeps its lane");
  equal([why("arm", "A1"), why("nobody", "A1")], ["A1 keeps its lane", "A1 keeps its lane"]);
});

test("a dragged end snaps to what is near, and never passes it", () => {
  const targets = hands.snapTargets(sampleChart(), bars, bar("A1"));
  equal(
    targets.some(({ words }) => words.includes("A1")),
    false,
  );
  const at = (movedPx, from = targets) => {
    const { minutes, to } = hands.draggedEnd(bar("A1"), movedPx, 0.5, from);
    return [minutes, to?.words ?? null];
  };
  equal(at(14), [25, "start of D1, arm"]); // 7 minutes on: 27, four pixels from 25
  equal(at(22), [30, "start of B1, EV1"]);
  equal(at(44), [41, "begin of night 1"]);
  equal(at(64), [50, "finish of B1, EV1"]);
  equal(at(64, []), [52, null]); // let go
  equal(at(0), [20, null]);
  equal(at(4, [{ minute: 21.97, words: "x" }]), [21.9, "x"]);
  equal(at(4, [{ minute: 20.02, words: "where it is" }]), [22, null]);
  equal(at(-38, [{ minute: 0.5, words: "less than a minute" }]), [1, null]);
});

test("arrows walk along the lane, and to the nearest step of the next", () => {
  const people = ["EV1", "EV2", "arm"];
  const to = (key, from) => hands.stepBeside(key, from, bars, people);
  equal([to("ArrowRight", bar("A1")), to("ArrowLeft", bar("A2"))], ["B1", "B1"]);
  equal([to("ArrowLeft", bar("A1")), to("ArrowRight", bar("A2"))], [null, null]);
  equal([to("ArrowDown", bar("A1")), to("ArrowDown", bar("A2"))], ["C1", "B1"]);
  equal([to("ArrowUp", bar("A1")), to("ArrowDown", bar("D1", "arm"))], [null, null]);
  equal(to("ArrowUp", bar("D1", "arm")), "B1");
});

test("Alt and an arrow changes places with the neighbour, none at the ends", () => {
  const to = (key, from) => hands.moveOfKey(key, from, bars, CREW);
  equal(to("ArrowRight", bar("A1")), { who: "EV1", before: "A2" });
  equal(to("ArrowRight", bar("B1")), { who: "EV1", before: null });
  equal(to("ArrowLeft", bar("A2")), { who: "EV1", before: "B1" });
  equal([to("ArrowLeft", bar("A1")), to("ArrowRight", bar("A2"))], [null, null]);
});

test("Alt and an arrow gives work to the other, before what begins no sooner", () => {
  const to = (key, from) => hands.moveOfKey(key, from, bars, CREW);
  equal(to("ArrowDown", bar("A1")), { who: "EV2", before: "C1" });
  equal(to("ArrowDown", bar("A2")), { who: "EV2", before: null });
  equal(to("ArrowUp", bar("C1", "EV2")), { who: "EV1", before: "A1" });
  equal(to("ArrowUp", bar("A1")), null);
  equal(to("ArrowUp", bar("D1", "arm")), null);
  equal(to("Home", bar("A1")), null);
});

test("Alt and an arrow moves several past the next one", () => {
  const lane = ["A", "B", "C", "D", "E"].map((step, at) => ({ step, who: "EV1", start: at, finish: at + 1 }));
  const to = (key, ...moved) => hands.moveOfKey(key, lane[1], lane, CREW, moved);
  equal(to("ArrowRight", "B", "C"), { who: "EV1", before: "E" });
  equal(to("ArrowLeft", "B", "C"), { who: "EV1", before: "A" });
  equal(to("ArrowRight", "B", "D"), { who: "EV1", before: null });
  equal([to("ArrowLeft", "A", "B"), to("ArrowRight", "D", "E")], [null, null]);
});
