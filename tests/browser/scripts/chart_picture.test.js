import { PlanChart } from "/static/chart.js";
import { CAUTION } from "/static/page.js";
import { equal, listener, placed, test } from "./check.js";
import { THEMES, sampleChart } from "./sample.js";

function opened(more) {
  const root = placed(document.createElement("div"));
  root.dataset.theme = "light";
  root.style.width = "910px";
  const plan = new PlanChart(root, listener(), {});
  root.append(plan.box);
  plan.load(sampleChart(more), THEMES);
  return plan;
}

const parsed = text => new DOMParser().parseFromString(text, "image/svg+xml").documentElement;

test("the picture stands alone: title, caution, both axes, legend, nothing to fetch", () => {
  const picture = parsed(opened().asSvg());
  equal(picture.nodeName, "svg");
  const words = [...picture.querySelectorAll("text")].map(each => each.textContent);
  for (const wanted of ["A small plan", CAUTION, "PET", "GMT", "hard 1:30", "T1 The lid", "A1"])
    equal(words.includes(wanted), true, wanted);
  const links = [...picture.querySelectorAll("*")]
    .flatMap(each => [...each.attributes])
    .filter(each => /href|url\((?!#)|src/.test(`${each.name}=${each.value}`));
  equal(links.length, 0);
  const ids = [...picture.querySelectorAll("[id]")].map(each => each.id);
  equal(new Set(ids).size, ids.length);
});

test("what a scenario says cannot break it", () => {
  const attack = "</text><script>alert(1)</script>\u0001 & \uD800";
  const plan = opened({ title: attack });
  const picture = parsed(plan.asSvg());
  equal(
    [picture.nodeName, picture.querySelector("script"), picture.querySelector("parsererror")],
    ["svg", null, null],
  );
});

test("as PNG it has twice the pixels", async () => {
  const blob = await opened().asPng();
  equal(blob.type, "image/png");
  const image = await createImageBitmap(blob);
  equal(image.width, 2400);
  const canvas = document.createElement("canvas");
  canvas.getContext("2d").drawImage(image, 0, 0);
  equal([...canvas.getContext("2d").getImageData(3, 3, 1, 1).data], [255, 255, 255, 255]);
});

test("it is saved under the plan's title", async () => {
  const plan = opened({ title: "A/small: plan?" });
  const saved = [];
  document.addEventListener("click", event => {
    saved.push(event.target.download);
    event.preventDefault();
  });
  plan.saveSvg();
  await plan.savePng();
  equal(saved, ["A-small-plan.svg", "A-small-plan.png"]);
});
