import { PlanChart } from "/static/chart.js";
import { equal, listener, near, placed, press, test } from "./check.js";
import { THEMES, sampleChart } from "./sample.js";

function opened() {
  const root = placed(document.createElement("div"));
  root.dataset.theme = "light";
  root.style.width = "910px";
  const plan = new PlanChart(root, listener(), {});
  root.append(plan.box);
  plan.load(sampleChart(), THEMES);
  const { overview } = plan;
  overview.box.style.cssText = "position: relative; width: 800px";
  overview.box.setPointerCapture = () => {};
  return { plan, overview };
}

function drag(overview, target, from, to) {
  const left = overview.box.getBoundingClientRect().left;
  const send = (type, minute) =>
    target.dispatchEvent(
      new PointerEvent(type, { clientX: left + overview.x(minute), button: 0, pointerId: 1, bubbles: true }),
    );
  send("pointerdown", from);
  send("pointermove", to);
  send("pointerup", to);
}

test("the window is as wide as what is seen, and says so", () => {
  const { plan, overview } = opened();
  equal([overview.window.style.left, overview.window.style.width], ["0px", "800px"]);
  plan.setRange(10, 53);
  near(parseFloat(overview.window.style.left), (18 / 106) * 800, 0.1);
  near(parseFloat(overview.window.style.width), 400, 0.1);
  const value = name => overview.window.getAttribute(`aria-value${name}`);
  equal(["min", "max", "now", "text"].map(value), ["-8", "98", "37", "PET 0:10 to 1:03"]);
});

test("the window is dragged, and its ends zoom", () => {
  const { plan, overview } = opened();
  plan.setRange(10, 40);
  drag(overview, overview.window, 30, 40);
  near(plan.range[0], 20, 0.01);
  near(plan.range[1], 60, 0.01);
  const [first, last] = overview.window.children;
  drag(overview, first, 20, 30);
  near(plan.range[0], 30, 0.01);
  near(plan.range[1], 60, 0.01);
  drag(overview, last, 60, 90);
  near(plan.range[1], 90, 0.01);
  drag(overview, last, 90, 10);
  near(plan.range[1] - plan.range[0], 5, 0.01); // never too little to see
});

test("a press beside the window brings it there", () => {
  const { plan, overview } = opened();
  plan.setRange(0, 20);
  drag(overview, overview.box, 70, 70);
  equal(plan.range.map(Math.round), [60, 80]);
});

test("keys move the window and zoom", () => {
  const { plan, overview } = opened();
  plan.setRange(20, 20);
  const after = key => [press(overview.window, key), ...plan.range.map(each => Math.round(each * 10) / 10)];
  equal(after("ArrowRight"), [true, 22, 42]);
  equal(after("ArrowLeft"), [true, 20, 40]);
  equal(after("PageDown"), [true, 40, 60]);
  equal(after("+"), [true, 42, 58]);
  equal(after("x"), [false, 42, 58]);
  equal([press(overview.window, "Home"), plan.isWhole], [true, true]);
});

test("a zoom leaves the picture of the whole as it is", () => {
  const { plan, overview } = opened();
  const watch = new MutationObserver(() => {});
  watch.observe(overview.picture, { childList: true, subtree: true, attributes: true });
  plan.zoom(0.5);
  equal(watch.takeRecords().length, 0);
  plan.load(sampleChart({ end: 75 }));
  equal(watch.takeRecords().length > 0, true);
});
