import { CHART_LEFT, layoutLanes, ticksFor } from "/static/chart_layout.js";
import { paintChart } from "/static/chart_paint.js";
import { svg } from "/static/dom.js";
import { equal, near, placed, test } from "./check.js";
import { THEME, sampleChart } from "./sample.js";

const PX_PER_MIN = 8;

function painted(chart, { range = [-8, 98], tight = [] } = {}) {
  const look = {
    places: layoutLanes(chart),
    x: minute => CHART_LEFT + (minute - range[0]) * PX_PER_MIN,
    theme: THEME,
    width: 1000,
    range,
    ticks: ticksFor(range, 890),
    clipId: "c",
    tight: new Set(tight),
    inkOnFill: "#111111",
  };
  const canvas = placed(svg("svg", {}, paintChart(chart, look)));
  const all = selector => [...canvas.querySelectorAll(selector)];
  const words = selector => all(selector).map(each => each.textContent);
  return { look, canvas, all, words };
}

test("a bar stands from its start to its finish, in its lane", () => {
  const { all, look } = painted(sampleChart());
  const box = all("[data-step=A2]")[0].getBBox();
  near(box.x, look.x(50), 0.01);
  near(box.width, 10 * PX_PER_MIN, 0.01);
  near(box.y, look.places.lanes.EV1.main.y, 0.01);
  near(box.height, look.places.lanes.EV1.main.height, 0.01);
});

test("what lies outside the view is not drawn", () => {
  const { all } = painted(sampleChart(), { range: [0, 22] });
  equal(
    all(".pk-bar-work").map(bar => bar.dataset.step),
    ["A1", "C1"],
  );
});

test("a way is low and a wait too, work fills its lane", () => {
  const { all } = painted(sampleChart());
  equal(all(".pk-bar-travel")[0].getBBox().height < 20, true);
  equal(all(".pk-bar-travel")[0].getAttribute("fill"), "url(#c-travel)");
});

test("work without slack has a bold outline", () => {
  const { all } = painted(sampleChart(), { tight: ["A1"] });
  equal(
    [
      all("[data-step=A1]")[0].getAttribute("stroke-width"),
      all("[data-step=A2]")[0].getAttribute("stroke-width"),
    ],
    ["2.2", "0.8"],
  );
});

test("a step of both is bridged when both begin it together, and only then", () => {
  const bridges = chart => painted(chart).all("rect[opacity='0.4']").length;
  equal(bridges(sampleChart()), 1);
  const apart = sampleChart();
  apart.bars[5] = ["B1", "EV2", "work", 32, 52, "T2", "Lift the box"];
  equal(bridges(apart), 0);
});

test("a bar too narrow for its id has it beside the lane, at the end of a line", () => {
  const chart = sampleChart({
    bars: [
      ["A1", "EV1", "work", 0, 2, "T1", "Open"],
      ["D1", "arm", "work", 10, 11, "T1", "Close"],
    ],
  });
  const { all, look } = painted(chart);
  equal(
    all(".pk-id").map(each => [each.textContent, each.hasAttribute("transform")]),
    [["A1", false]],
  );
  const [line] = all(".pk-leader");
  equal(line.getAttribute("d").startsWith(`M${look.x(1)},`), true);
});

test("tasks have letters, not textures", () => {
  const { words, all } = painted(sampleChart());
  equal(words(".pk-letter"), ["A", "B", "A", "C", "B"]);
  equal(all("[fill*='c-|'], [fill*='c--']").length, 0);
});

test("every bar of work is an option with its name, where names are asked for", () => {
  const { look } = painted(sampleChart());
  const canvas = svg("svg", {}, paintChart(sampleChart(), { ...look, nameOf: ([step]) => `step ${step}` }));
  const options = [...canvas.querySelectorAll("[role=option]")];
  equal(options.map(each => each.getAttribute("aria-label")).slice(0, 3), ["step A1", "step B1", "step A2"]);
  equal(new Set(options.map(each => each.id)).size, 6);
  equal(painted(sampleChart()).all("[role=option]").length, 0);
});

test("limits say their PET, the hard one in the colour of a stop", () => {
  const { all, words } = painted(sampleChart());
  equal(
    words("text").filter(each => /planned|hard/.test(each)),
    ["hard 1:30", "planned 1:20"],
  );
  equal(
    all("text")
      .find(each => each.textContent === "hard 1:30")
      .getAttribute("fill"),
    THEME.stop,
  );
});

test("names of limits keep clear of each other and of the axis", () => {
  const limits = [
    ["planned", 88],
    ["hard", 89],
  ];
  const { all, canvas } = painted(sampleChart({ limits }));
  canvas.style.cssText = "font: 10px sans-serif";
  const foot = all("text").filter(each => /\d:\d\d$/.test(each.textContent) && each.textContent[3] !== "/");
  const boxes = foot.map(each => each.getBBox()).sort((a, b) => a.x - b.x);
  boxes.forEach((box, at) =>
    equal(!at || boxes[at - 1].x + boxes[at - 1].width <= box.x, true, foot[at].textContent),
  );
  equal(
    foot.some(each => each.textContent === "1:30"),
    false,
  );
  equal(
    foot.some(each => each.textContent === "1:10"),
    true,
  );
});

test("the axes tell PET below and GMT above, at the same minutes", () => {
  const { words } = painted(sampleChart());
  equal(
    words("text")
      .filter(each => /^\d:\d\d$/.test(each))
      .slice(0, 2),
    ["0:00", "0:10"],
  );
  equal(
    words("text")
      .filter(each => /^134\//.test(each))
      .slice(0, 2),
    ["134/11:24", "134/11:34"],
  );
});

test("ghosts are hollow, and named where there is room", () => {
  const { all, words } = painted(
    sampleChart({
      ghosts: [
        ["A1", "EV1", 5, 25],
        ["D1", "arm", 20, 50],
      ],
    }),
  );
  equal(
    all(".pk-ghost").map(each => [each.dataset.ghost, each.getAttribute("fill")]),
    [
      ["0", "transparent"],
      ["1", "transparent"],
    ],
  );
  equal(words(".pk-lane-name, .pk-small").includes("before"), true);
});

test("a handover of somebody without a lane is not drawn", () => {
  equal(painted(sampleChart()).all("path[marker-end]").length, 1);
  equal(painted(sampleChart({ handovers: [["EV1", "EV9", 1, 2]] })).all("path[marker-end]").length, 0);
});

test("text of a scenario is text", () => {
  const attack = "<image href=x onerror=alert(1)>";
  const chart = sampleChart({
    inhibits: [[["I1", attack, 0, 90]]],
    actors: [[attack, attack]],
    links: [[attack, [[0, 40]]]],
  });
  chart.bars = [["A1", "EV1", "work", 0, 90, "T1", attack]];
  equal(painted(chart).all("image").length, 0);
});

test("night is shaded from below the light to the foot of the chart", () => {
  const { all, look } = painted(sampleChart());
  const [shade] = all("rect").filter(each => each.getAttribute("fill") === THEME.night_shade);
  const { light, bottom } = look.places;
  const first = light.y + light.height;
  equal([Number(shade.getAttribute("y")), Number(shade.getAttribute("height"))], [first, bottom - first]);
  near(Number(shade.getAttribute("x")), look.x(41), 0.01);
});

test("a handover goes from the lower edge of the upper lane, or the upper of the lower", () => {
  const path = handovers => painted(sampleChart({ handovers })).all("path[marker-end]")[0].getAttribute("d");
  const { lanes } = layoutLanes(sampleChart());
  const [upper, lower] = [lanes.EV1.main, lanes.EV2.main];
  const ends = d => [/^M[\d.]+,([\d.]+)/, /,([\d.]+)$/].map(each => Number(each.exec(d)[1]));
  equal(ends(path([["EV1", "EV2", 20, 30]])), [upper.y + upper.height, lower.y]);
  equal(ends(path([["EV2", "EV1", 20, 30]])), [lower.y, upper.y + upper.height]);
});

test("a ghost too narrow for its name has none", () => {
  const names = finish =>
    painted(sampleChart({ ghosts: [["A1", "EV1", 5, finish]] }))
      .words("text")
      .filter(each => each === "A1");
  equal([names(25).length, names(6).length], [2, 1]); // the bar has its own
});
