import { PlanChart } from "/static/chart.js";
import { equal, listener, near, placed, press, test } from "./check.js";
import { THEMES, sampleChart } from "./sample.js";

const WIDTH_PX = 910; // 800 px of room

function opened() {
  const root = placed(document.createElement("div"));
  root.dataset.theme = "light";
  root.style.cssText = `width: ${WIDTH_PX}px; position: relative`;
  const told = [];
  const heard = listener();
  const plan = new PlanChart(root, heard, { onChoose: step => told.push(step) });
  root.append(plan.box);
  plan.canvas.style.cssText = "display: block; width: 100%";
  plan.load(sampleChart(), THEMES);
  return { plan, told, heard };
}

test("a frame on an axis is zoomed to, Escape takes it back", () => {
  const { plan, told } = opened();
  plan.canvas.setPointerCapture = () => {};
  const box = plan.canvas.getBoundingClientRect();
  const send = (type, minute, more = {}) =>
    plan.canvas.dispatchEvent(
      new PointerEvent(type, {
        clientX: box.left + plan.x(minute),
        clientY: box.top + 5,
        button: 0,
        pointerId: 1,
        ...more,
      }),
    );
  send("pointerdown", 60);
  send("pointermove", 20);
  equal(plan.canvas.querySelectorAll(".pk-frame").length, 1);
  press(plan.canvas, "Escape");
  send("pointerup", 20);
  equal([plan.isWhole, plan.canvas.querySelector(".pk-frame")], [true, null]);
  send("pointerdown", 60);
  send("pointermove", 20);
  send("pointerup", 20);
  near(plan.range[0], 20, 0.01);
  near(plan.range[1], 60, 0.01);
  const ground = { shiftKey: true, clientY: box.top + plan.places.lanes.EV1.main.y + 30 };
  for (const [type, minute] of [
    ["pointerdown", 22],
    ["pointermove", 28],
    ["pointerup", 28],
  ])
    send(type, minute, ground);
  near(plan.range[0], 22, 0.01);
  near(plan.range[1], 28, 0.01);
  equal(told, []);
});

test("what is told of a drag that a zoom makes another drop is of that drop", () => {
  const { plan, heard } = opened();
  plan.canvas.setPointerCapture = () => {};
  const box = plan.canvas.getBoundingClientRect();
  const y = box.top + plan.places.lanes.EV1.main.y + 30;
  const px = plan.x(20) - 1; // the end of A1
  const send = (type, by) =>
    plan.canvas.dispatchEvent(new PointerEvent(type, { clientX: box.left + px + by, clientY: y }));
  send("pointerdown", 0);
  send("pointermove", 70);
  const before = plan.candidate.drop;
  plan.zoom(0.5);
  const told = plan.candidate.drop;
  send("pointerup", 70);
  equal(told.minutes < before.minutes, true);
  equal(heard.said.at(-1), told);
});
