import { minuteOf, stripOf, xAt } from "/film/film_strip.js";
import { equal, near, placed, test } from "./check.js";
import { scene } from "./film_scene.js";

test("a place on the strip is a minute and the other way round", () => {
  for (const minute of [0, 17, 120]) near(minuteOf(xAt(minute, 120), 120), minute, 1e-9);
  equal([minuteOf(-50, 120), minuteOf(5000, 120)], [0, 120]);
});

test("it has a bar for each, night behind them, a sign a finding, and now", () => {
  const strip = stripOf(scene, () => {});
  placed(strip.element);
  equal(strip.element.querySelectorAll("rect[stroke]").length, 6);
  equal(strip.element.querySelectorAll("rect[fill='#2E3856']").length, 3);
  equal(strip.element.querySelector("path title").textContent, "Hands over at night <b>");
  strip.set(60);
  near(Number(strip.element.querySelector(".pkf-now").getAttribute("x1")), xAt(60, 120), 1e-9);
});

test("a press on it chooses its minute", () => {
  const chosen = [];
  const strip = stripOf(scene, minute => chosen.push(minute));
  placed(strip.element).style.width = "1000px";
  strip.element.setPointerCapture = () => {};
  const { left } = strip.element.getBoundingClientRect();
  strip.element.dispatchEvent(new PointerEvent("pointerdown", { clientX: left + xAt(30, 120) }));
  near(chosen[0], 30, 0.2);
});
