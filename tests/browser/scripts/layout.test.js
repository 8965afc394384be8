import { Layout } from "/static/layout.js";
import { equal, frame, near, placed, press, test } from "./check.js";

function opened(more = () => {}) {
  sessionStorage.clear();
  more();
  const box = (width, height) => {
    const part = document.createElement("div");
    Object.assign(part.style, { width: `${width}px`, height: `${height}px` });
    return part;
  };
  const [root, chart, tables, fold] = [box(1000, 400), box(600, 200), box(600, 200), box(20, 20)];
  root.append(chart, tables, fold);
  placed(root);
  const layout = new Layout(root, { fold });
  layout.hold(root, chart, tables);
  root.append(layout.split, layout.edge);
  return { layout, root, fold };
}

test("a splitter goes by arrows, no further than its ends, and back at a double click", () => {
  const { layout, root } = opened();
  const now = () => Number(layout.split.getAttribute("aria-valuenow"));
  equal([now(), root.style.getPropertyValue("--chart")], [56, "0.560fr"]);
  press(layout.split, "ArrowDown");
  equal([now(), root.style.getPropertyValue("--but-chart")], [59, "0.410fr"]);
  equal(press(layout.split, "ArrowLeft"), false);
  for (let times = 0; times < 30; times += 1) press(layout.split, "ArrowUp");
  equal(now(), Number(layout.split.getAttribute("aria-valuemin")));
  layout.split.dispatchEvent(new MouseEvent("dblclick"));
  equal(now(), 56);
  press(layout.edge, "ArrowLeft");
  equal(layout.edge.getAttribute("aria-valuenow"), "30");
});

test("a splitter that is dragged is where the pointer is", () => {
  const { layout, root } = opened();
  const { top } = root.getBoundingClientRect();
  const move = buttons =>
    layout.split.dispatchEvent(new PointerEvent("pointermove", { clientY: top + 120, buttons }));
  move(0);
  near(layout.shares.chart, 0.56);
  move(1);
  near(layout.shares.chart, 0.3);
});

test("what was chosen is kept for the next view of the page, and is not needed", () => {
  press(opened().layout.split, "ArrowDown");
  const chosen = sessionStorage.getItem("planning_kit layout");
  near(opened(() => sessionStorage.setItem("planning_kit layout", chosen)).layout.shares.chart, 0.59);
  near(opened(() => sessionStorage.setItem("planning_kit layout", "no json")).layout.shares.chart, 0.56);
});

test("the side is folded where there is little room, until the planner says otherwise", async () => {
  const { layout, root, fold } = opened();
  await frame();
  await frame();
  equal([root.dataset.side, fold.getAttribute("aria-expanded")], ["open", "true"]);
  root.style.width = "700px";
  await frame();
  await frame();
  equal(root.dataset.side, "folded");
  fold.click();
  equal(root.dataset.side, "open");
  layout.fit();
  equal(root.dataset.side, "open");
  layout.stop();
});

test("as high as the window where no notebook is around", () => {
  const { layout, root } = opened();
  layout.fit();
  equal(root.style.getPropertyValue("--room"), `${window.innerHeight - 8}px`);
  equal(root.classList.contains("pk-short"), false);
});

test("after a run it comes into view, but not after the user has done something", () => {
  const { layout, root } = opened();
  let times = 0;
  root.scrollIntoView = () => {
    times += 1;
  };
  layout.stand();
  window.dispatchEvent(new WheelEvent("wheel"));
  layout.stand();
  equal(times, 1);
});
