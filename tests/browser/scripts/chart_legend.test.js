import { PlanChart } from "/static/chart.js";
import { legendGroup, legendOf } from "/static/chart_legend.js";
import { svg } from "/static/dom.js";
import { equal, listener, placed, test } from "./check.js";
import { THEME, THEMES, sampleChart } from "./sample.js";

const LOOK = { theme: THEME, clipId: "c", inkOnFill: "#111111" };
const said = (chart, notes) => legendOf(chart, notes, LOOK).map(({ words }) => words);

test("only what this plan has is explained", () => {
  const bare = sampleChart({ bars: [["A1", "EV1", "work", 0, 20, "T1", "Open"]], links: [], inhibits: [] });
  const none = { ...bare, handovers: [], limits: [], light: { day: [], penumbra: [], night: [] } };
  equal(said(none), ["T1 The lid"]);
  const all = said(sampleChart(), { findings: [{ severity: "stop", minute: 3 }], tight: ["A1"] });
  const wanted = ["translation", "done by both", "no slack to plan", "night", "link or window", "handover"];
  for (const words of [...wanted, "inhibit must stand", "hard limit", "stop"])
    equal(all.includes(words), true, words);
  for (const words of ["before", "breaks a rule", "wait", "concern"])
    equal(all.includes(words), false, words);
});

test("a task has its fill, letter and name; one without work here is left out", () => {
  const chart = sampleChart();
  chart.fills.T9 = ["#FFFFFF", "Z", "Elsewhere"];
  const [first] = legendOf(chart, null, LOOK);
  const [box, letter] = first.mark().map(each => each.drawn());
  equal([first.words, box.getAttribute("fill"), letter.textContent], ["T1 The lid", "#AACCEE", "A"]);
  equal(
    said(chart).some(words => words.includes("Elsewhere")),
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
  equal(list.children.length, said(sampleChart()).length);
  const [first] = list.children;
  plan.zoom(0.5);
  equal(list.children[0] === first, true, "made anew only where it says something else");
});

test("in a picture its entries stand in rows that hold them", () => {
  const { group, height } = legendGroup(legendOf(sampleChart(), null, LOOK), THEME, 300);
  placed(svg("svg", { width: 400, height: 400 }, group));
  for (const entry of group.children) equal(entry.getBoundingClientRect().width <= 300, true);
  equal(height > 36 && group.getBBox().height <= height, true);
});

test("names of a scenario are text", () => {
  const chart = sampleChart();
  chart.fills.T1[2] = "<img src=x onerror=alert(1)>";
  const { group } = legendGroup(legendOf(chart, null, LOOK), THEME, 900);
  equal(group.querySelector("img"), null);
});
