import {
  block,
  outline,
  paintMarks,
  patterns,
  rect,
  ringOf,
  severitySign,
  text,
  widthOf,
} from "/static/chart_shapes.js";
import { equal, near, test } from "./check.js";
import { THEME } from "./sample.js";

const corners = sign => sign.attributes.points.split(" ").map(point => point.split(",").map(Number));

test("a stop has eight corners, a concern three, a remark is round", () => {
  equal(corners(severitySign("stop", 0, 0, 7, THEME)).length, 8);
  equal(corners(severitySign("concern", 0, 0, 7, THEME)).length, 3);
  equal(severitySign("remark", 0, 0, 7, THEME).tag, "circle");
  equal(
    ["stop", "concern", "remark"].map(each => severitySign(each, 0, 0, 7, THEME).attributes.fill),
    [THEME.stop, THEME.concern, THEME.remark],
  );
});

test("a stop stands on a side, a concern on two corners", () => {
  const stop = corners(severitySign("stop", 10, 20, 7, THEME));
  for (const [x, y] of stop) near(Math.hypot(x - 10, y - 20), 7, 0.1);
  const lowest = Math.max(...stop.map(([, y]) => y));
  equal(stop.filter(([, y]) => Math.abs(y - lowest) < 0.05).length, 2);
  const [top, ...feet] = corners(severitySign("concern", 10, 20, 7, THEME)).sort((a, b) => a[1] - b[1]);
  equal(top[0], 10);
  equal(feet[0][1], feet[1][1]);
});

test("no slack is a bold outline", () => {
  equal(outline(true, THEME), { stroke: THEME.ink, "stroke-width": 2.2 });
  equal(outline(true, THEME, 5), { stroke: THEME.ink, "stroke-width": 1.2 }, "or it would hide a slim bar");
  equal(outline(false, THEME), { stroke: THEME.bar_outline, "stroke-width": 0.8 });
});

test("a bar of no time can still be seen", () => {
  equal(rect(10, 10, { y: 1, height: 2 }, {}).attributes.width, "0.60");
  equal(block(10, 10, { y: 1, height: 2 }, {}).attributes.points.startsWith("10.00,1.00 10.60,1.00 "), true);
  equal(rect(10, 25.5, { y: 1, height: 2 }, {}).attributes.width, "15.50");
});

test("text of a scenario is text in the chart", () => {
  const words = text("<script>alert(1)</script>", 1, 2, {}).drawn();
  equal([words.children.length, words.textContent], [0, "<script>alert(1)</script>"]);
});

test("letters are measured: wide ones take more room", () => {
  equal(widthOf("WWWW", "650 11px") > widthOf("iiii", "650 11px"), true);
  near(widthOf("WW", "650 22px"), 2 * widthOf("WW", "650 11px"), 0.5);
});

test("at one spot the worst finding stands for those behind it", () => {
  const look = {
    places: { whole: { y: 0, height: 10 }, lanes: { EV1: { marks: { y: 20, height: 10 } } } },
    x: minute => minute * 14,
    theme: THEME,
    clipId: "c",
  };
  const found = (severity, minute, lanes) => ({ severity, minute, lanes });
  const layer = paintMarks(
    [
      found("stop", 1, ["EV1"]),
      found("concern", 1.2, ["EV1"]),
      found("remark", 1, [""]),
      found("remark", null, ["EV1"]),
      found("remark", 5, ["EV9"]),
      found("remark", 3, ["EV1"]),
    ],
    look,
  ).drawn();
  equal(
    [...layer.children].map(mark => mark.dataset.finding),
    ["0", "2", "5"],
  );
});

test("the ring around a bar is not another bar", () => {
  const bar = { "data-step": "A1", role: "option", id: "b", fill: "red" };
  const ring = ringOf(block(3, 4, { y: 0, height: 1 }, bar).drawn()).drawn();
  equal(
    [ring.dataset.step, ring.id, ring.getAttribute("role"), ring.getAttribute("fill")],
    [undefined, "", null, null],
  );
  equal(
    ["class", "points"].map(name => ring.getAttribute(name)),
    ["pk-chosen", "3.00,0.00 4.00,0.00 4.00,1.00 3.00,1.00"],
  );
});

test("the patterns of two charts in a page do not mix", () => {
  equal(
    patterns("one", THEME).map(each => each.attributes.id),
    ["one-travel", "one-wait", "one-outside", "one-arrow"],
  );
});
