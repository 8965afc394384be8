import { PlanChart } from "/static/chart.js";
import { equal, frame, listener, near, placed, test } from "./check.js";
import { THEMES, sampleChart } from "./sample.js";

const WIDTH_PX = 910; // 800 px of room

function opened() {
  const root = placed(document.createElement("div"));
  root.dataset.theme = "light";
  root.style.cssText = `width: ${WIDTH_PX}px; position: relative`;
  const plan = new PlanChart(root, listener(), { onChoose() {} });
  root.append(plan.box);
  plan.canvas.style.cssText = "display: block; width: 100%";
  plan.load(sampleChart(), THEMES);
  return { plan };
}

test("the lanes fill the height that the page gives, and take their own where it gives none", async () => {
  const { plan } = opened();
  equal(plan.given, null);
  const natural = plan.places.height;
  plan.box.style.cssText = "display: flex; flex-direction: column; height: 700px";
  plan.room.style.flex = "1 1 auto";
  await frame();
  await frame();
  equal(plan.given > natural, true);
  near(plan.places.height, plan.room.clientHeight, 1);
  equal(plan.room.scrollHeight <= plan.room.clientHeight + 1, true);
});

test("a chart that is too narrow to read waits until there is room", () => {
  const { plan } = opened();
  plan.root.style.width = "100px";
  plan.paint();
  equal([plan.isBehind, plan.width], [true, WIDTH_PX]);
  plan.root.style.width = "600px";
  plan.paint();
  equal([plan.isBehind, plan.width], [false, 600]);
});

test("a zoom with nothing chosen keeps the work in sight, what is pointed at in its place", () => {
  const { plan } = opened();
  plan.load(sampleChart({ end: 40, limits: [["hard", 600]] }), THEMES);
  plan.zoomAll();
  const last = Math.max(...plan.work().map(bar => bar.finish));
  for (let press = 0; press < 4; press += 1) plan.zoom(1 / 1.5);
  equal([plan.range[0] < 0, plan.range[1] > last], [true, true]);
  plan.zoomAll();
  plan.pointed = plan.x(100);
  plan.zoom(1 / 1.5);
  near(plan.x(100), plan.pointed, 0.01);
});
