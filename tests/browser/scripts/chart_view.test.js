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
