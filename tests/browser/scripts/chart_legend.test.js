import { PlanChart } from "/static/chart.js";
import { legendGroup, legendOf } from "/static/chart_legend.js";
import { svg } from "/static/dom.js";
import { equal, listener, placed, test } from "./check.js";
import { THEME, THEMES, sampleChart } from "./sample.js";

const kinds = (chart, notes) => legendOf(chart, notes).map(([kind]) => kind);

test("only what this plan has is explained", () => {
  const bare = sampleChart({ bars: [["A1", "EV1", "work", 0, 20, "T1", "Open"]], links: [], inhibits: [] });
  const none = { ...bare, handovers: [], limits: [], light: { day: [], penumbra: [], night: [] } };
  equal(kinds(none), ["work"]);
  const all = kinds(sampleChart(), { findings: [{ severity: "stop", minute: 3 }], tight: ["A1"] });
  for (const kind of [
    "travel",
    "shared",
    "tight",
    "night",
    "link",
    "inhibit",
    "limit",
    "handover",
    "finding",
  ])
    equal(all.includes(kind), true, kind);
  equal(all.includes("ghost") || all.includes("broken") || all.includes("wait"), false);
});

test("a task has its fill, letter and name; one without work here is left out", () => {
  const chart = sampleChart();
  chart.fills.T9 = ["#FFFFFF", "Z", "Elsewhere"];
  equal(legendOf(chart).filter(([kind]) => kind === "work")[0], ["work", "T1 The lid", "#AACCEE", "A"]);
  equal(
    legendOf(chart).some(([, words]) => words.includes("Elsewhere")),
    false,
  );
});

test("it is folded at first in a low chart, and opened by its button", () => {
  const root = placed(document.createElement("div"));
  root.style.width = "910px";
  const plan = new PlanChart(root, listener(), {});
  root.append(plan.box);
  plan.load(sampleChart(), THEMES);
  const { list, toggle } = plan.legend;
  equal([list.hidden, list.children.length, toggle.getAttribute("aria-expanded")], [true, 0, "false"]);
  toggle.click();
  equal([list.hidden, toggle.getAttribute("aria-expanded")], [false, "true"]);
  equal(list.children.length, legendOf(sampleChart()).length);
  const [first] = list.children;
  plan.zoom(0.5);
  equal(list.children[0] === first, true, "made anew only where it says something else");
});

test("in a picture its entries stand in rows that hold them", () => {
  const look = { theme: THEME, clipId: "c", inkOnFill: "#111111" };
  const { group, height } = legendGroup(legendOf(sampleChart()), look, 300);
  placed(svg("svg", { width: 400, height: 400 }, group));
  for (const entry of group.children) equal(entry.getBoundingClientRect().width <= 300, true);
  equal(height > 36 && group.getBBox().height <= height, true);
});

test("names of a scenario are text", () => {
  const chart = sampleChart();
  chart.fills.T1[2] = "<img src=x onerror=alert(1)>";
  const { group } = legendGroup(legendOf(chart), { theme: THEME, clipId: "c" }, 900);
  equal(group.querySelector("img"), null);
});
