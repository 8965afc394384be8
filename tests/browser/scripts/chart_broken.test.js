import { paintBroken } from "/static/chart_broken.js";
import { layoutLanes } from "/static/chart_layout.js";
import { svg } from "/static/dom.js";
import { equal, placed, test } from "./check.js";
import { THEME, sampleChart } from "./sample.js";

function painted(broken) {
  const chart = sampleChart({ broken });
  const look = { places: layoutLanes(chart), x: minute => 10 * minute, theme: THEME, clipId: "c" };
  const canvas = placed(svg("svg", {}, paintBroken(chart, look)));
  return { lanes: look.places.lanes, all: selector => [...canvas.querySelectorAll(selector)] };
}

const number = (shape, name) => Number(shape.getAttribute(name));

test("where all rules hold nothing is drawn", () => {
  equal(painted([]).all("rect, line, path").length, 0);
});

test("a step outside its window is framed in each of its lanes and hatched where it lies outside", () => {
  const { all, lanes } = painted([{ steps: ["B1"], words: "", outside: [["B1", 45, 50]], line: [] }]);
  equal(
    all(".pk-broken-frame").map(each => [number(each, "x"), number(each, "width")]),
    [
      [300, 200],
      [300, 200],
    ],
  );
  equal(number(all(".pk-broken-frame")[0], "y") < lanes.EV1.main.y, true);
  equal(
    all(".pk-broken-outside").map(each => [number(each, "x"), number(each, "width"), number(each, "y")]),
    [
      [450, 50, lanes.EV1.main.y],
      [450, 50, lanes.EV2.main.y],
    ],
  );
});

test("a gap is a dashed line with a cross between the edges that face each other", () => {
  const line = [
    ["EV1", 20],
    ["EV2", 30],
  ];
  const { all, lanes } = painted([{ steps: ["A1"], words: "9 min over", outside: [], line }]);
  const [drawn] = all(".pk-broken-line");
  equal(
    ["x1", "x2", "y1", "y2"].map(each => number(drawn, each)),
    [200, 300, lanes.EV1.main.y + lanes.EV1.main.height, lanes.EV2.main.y],
  );
  equal(drawn.hasAttribute("stroke-dasharray"), true);
  equal(
    all("[data-broken]").map(each => each.dataset.broken),
    ["0", "0"],
  );
});
