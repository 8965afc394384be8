import { PlanChart } from "/static/chart.js";
import { equal, listener, near, placed, press, test } from "./check.js";
import { THEMES, sampleChart } from "./sample.js";

const WIDTH_PX = 910; // 800 px of room

function opened(chart = sampleChart()) {
  const root = placed(document.createElement("div"));
  root.dataset.theme = "light";
  root.style.cssText = `width: ${WIDTH_PX}px; position: relative`;
  const send = listener();
  const told = [];
  const plan = new PlanChart(root, send, {
    onChoose: step => told.push(["choose", step]),
    onOpen: step => told.push(["open", step]),
    onFinding: at => told.push(["finding", at]),
    onRefused: words => told.push(["refused", words]),
  });
  root.append(plan.box);
  plan.canvas.style.cssText = "display: block; width: 100%";
  plan.load(chart, THEMES);
  // What is asked of a drop is told apart from what is sent.
  const asked = () => send.said.filter(({ kind }) => kind === "candidate").map(({ drop }) => drop);
  return { plan, told, send, asked, said: () => send.said.filter(({ kind }) => kind !== "candidate") };
}

// A press at a minute of a lane, moves, and the letting go.
function drag(plan, [minute, lane], ...moves) {
  const more = typeof moves[moves.length - 1]?.[1] === "string" ? {} : (moves.pop() ?? {});
  const box = plan.canvas.getBoundingClientRect();
  const y = who => box.top + plan.places.lanes[who].main.y + 30;
  const send = (type, px, who) =>
    plan.canvas.dispatchEvent(
      new PointerEvent(type, {
        clientX: box.left + px,
        clientY: y(who),
        button: 0,
        pointerId: 1,
        bubbles: true,
        ...more,
      }),
    );
  plan.canvas.setPointerCapture = () => {}; // no pointer is down
  send("pointerdown", plan.x(minute), lane);
  for (const [to, who] of moves) send("pointermove", plan.x(to), who);
  const [last, who] = moves[moves.length - 1] ?? [minute, lane];
  send("pointerup", plan.x(last), who);
}

test("the whole outing is seen at first", () => {
  const { plan } = opened();
  equal([plan.width, plan.range, plan.isWhole], [WIDTH_PX, [-8, 98], true]);
});

test("a press on a bar chooses its step, and says so once", () => {
  const { plan, told, said } = opened();
  drag(plan, [5, "EV1"]);
  equal(said(), []);
  drag(plan, [5, "EV1"]);
  equal(told, [["choose", "A1"]]);
  equal(said(), [{ kind: "explain", step: "A1", isAgain: true }], "a film goes back to it");
  equal([plan.canvas.dataset.chosen, plan.canvas.querySelectorAll(".pk-chosen").length], ["A1", 1]);
  const bar = plan.canvas.querySelector("[data-step=A1]");
  equal(plan.canvas.getAttribute("aria-activedescendant"), bar.id);
  equal(
    [bar.getAttribute("role"), bar.getAttribute("aria-selected"), bar.getAttribute("aria-label")],
    ["option", "true", "A1 Open the lid, EV1, PET 0:00 to 0:20"],
  );
  equal(plan.live.textContent, "", "the bar itself is read out");
});

test("a bar that is dragged moves nothing until it drops, and asks what it would come to", () => {
  const { plan, said, asked } = opened();
  drag(plan, [5, "EV1"], [20, "EV1"], [48, "EV1"]); // the middle of A1, at 10, goes to 53: between B1 and A2
  equal(said(), [{ kind: "move", step: "A1", lane: "EV1", before: "A2" }]);
  equal(asked(), [{ kind: "move", step: "A1", lane: "EV1", before: "A2" }]);
  equal(plan.canvas.querySelector(".pk-drag"), null);
});

test("Shift or Ctrl and a press choose more, one fewer where it was chosen", () => {
  const { plan, told, said } = opened();
  const rings = () => [[...plan.chosen].join(" "), plan.canvas.querySelectorAll(".pk-chosen").length];
  drag(plan, [5, "EV1"]);
  drag(plan, [55, "EV1"], { shiftKey: true });
  equal(rings(), ["A1 A2", 2]);
  equal(plan.live.textContent, "2 steps chosen: A1 A2");
  drag(plan, [40, "EV1"], { ctrlKey: true });
  equal(rings(), ["A1 A2 B1", 4]); // one in each lane
  drag(plan, [40, "EV1"], { ctrlKey: true });
  equal(rings(), ["A1 A2", 2]);
  drag(plan, [5, "EV1"], [80, "EV1"]);
  equal(said(), [{ kind: "move", step: "A1", lane: "EV1", before: null, more: ["A2"] }]);
  equal([rings()[0], told.map(([, step]) => step)], ["A1 A2", ["A1", "A2", "B1", "A2"]]);
  press(plan.canvas, "Escape");
  equal(rings(), ["A2", 1]);
});

test("ghosts come with the answer, stay through a zoom, and go with a plan that changed", () => {
  const { plan, told } = opened();
  plan.canvas.setPointerCapture = () => {};
  const box = plan.canvas.getBoundingClientRect();
  const y = box.top + plan.places.lanes.EV1.main.y + 30;
  const send = (type, minute) =>
    plan.canvas.dispatchEvent(new PointerEvent(type, { clientX: box.left + plan.x(minute), clientY: y }));
  const seen = () =>
    [".pk-candidate", ".pk-drag", ".pk-trying"]
      .map(name => plan.root.querySelectorAll(name).length)
      .concat(plan.root.querySelectorAll(".pk-drag-box").length);
  send("pointerdown", 5);
  send("pointermove", 48);
  equal(seen(), [0, 1, 0, 1]);
  const answer = { kind: "candidate", end: "+0:01", limits: [], windows: [], moved: [["A1", "EV1", 50, 70]] };
  plan.candidate.hear(answer);
  equal(seen(), [1, 1, 1, 1]);
  equal(plan.canvas.querySelector("[data-step=A1].pk-bar").classList.contains("pk-pale"), true);
  plan.zoom(0.9);
  equal(seen(), [1, 1, 1, 1]);
  plan.load(sampleChart()); // another view has edited
  equal(seen(), [0, 0, 0, 0]);
  equal(told.pop(), ["refused", "The plan has changed meanwhile: drag once more."]);
  plan.candidate.hear(answer);
  send("pointermove", 60);
  equal(seen(), [0, 0, 0, 0]);
  for (const lost of ["pointercancel", "lostpointercapture"]) {
    send("pointerdown", 5);
    send("pointermove", 48);
    send(lost, 48);
    equal(seen(), [0, 0, 0, 0], lost);
  }
});

test("a bar may be given to the other, but not one of both", () => {
  const { plan, said } = opened();
  drag(plan, [55, "EV1"], [55, "EV2"]);
  equal(said(), [{ kind: "move", step: "A2", lane: "EV2", before: null }]);
  drag(plan, [40, "EV1"], [40, "EV2"]);
  equal(said().length, 1);
});

test("the end of a bar is dragged to whole minutes", () => {
  const { plan, said } = opened();
  drag(plan, [20, "EV1"], [25.2, "EV1"]);
  equal(said(), [{ kind: "minutes", step: "A1", minutes: 25 }]);
});

test("a hand that trembles drags nothing", () => {
  const { plan, said } = opened();
  drag(plan, [20, "EV1"], [20.3, "EV1"]); // two pixels
  equal(said(), []);
});

test("Escape ends a drag, and the drop after it says nothing", () => {
  const { plan, said } = opened();
  const box = plan.canvas.getBoundingClientRect();
  plan.canvas.setPointerCapture = () => {};
  const send = (type, minute) =>
    plan.canvas.dispatchEvent(
      new PointerEvent(type, {
        clientX: box.left + plan.x(minute),
        clientY: box.top + plan.places.lanes.EV1.main.y + 30,
        pointerId: 1,
      }),
    );
  send("pointerdown", 5);
  send("pointermove", 40);
  equal(plan.canvas.querySelectorAll(".pk-drag").length, 1);
  press(plan.canvas, "Escape");
  send("pointerup", 40);
  equal([said(), plan.canvas.querySelector(".pk-drag")], [[], null]);
});

test("outside nothing is moved, but the view is", () => {
  const { plan, said } = opened();
  plan.isFixed = true;
  drag(plan, [5, "EV1"], [48, "EV1"]);
  for (const key of ["+", "-"]) press(plan.canvas, key);
  press(plan.canvas, "ArrowRight", { altKey: true });
  equal(said(), []);
  plan.zoom(0.5);
  const [first] = plan.range;
  drag(plan, [first + 30, "arm"], [first + 30, "arm"]);
  equal(plan.range[0], first);
});

test("the ground is dragged under the pointer", () => {
  const { plan } = opened();
  plan.zoom(0.5, 45); // 53 min on 800 px
  const [first] = plan.range;
  drag(plan, [70, "arm"], [60, "arm"]);
  near(plan.range[0] - first, 10, 1e-6);
  equal(plan.isWhole, false);
});

test("arrows choose, Enter opens, Home shows all", () => {
  const { plan, told } = opened();
  for (const key of ["ArrowRight", "ArrowRight", "ArrowRight", "ArrowUp", "Enter"]) {
    equal(press(plan.canvas, key), true, key);
  }
  equal(told, [
    ["choose", "A1"],
    ["choose", "B1"],
    ["choose", "A2"],
    ["open", "A2"],
  ]);
  plan.zoom(0.5);
  press(plan.canvas, "Home");
  equal(plan.isWhole, true);
});

test("a wheel scrolls the page; with Ctrl it zooms about the pointer", () => {
  const { plan } = opened();
  const box = plan.canvas.getBoundingClientRect();
  const wheel = ctrlKey =>
    plan.canvas.dispatchEvent(
      new WheelEvent("wheel", {
        deltaY: -1,
        ctrlKey,
        clientX: box.left + plan.x(45),
        clientY: box.top + 9,
        cancelable: true,
      }),
    );
  equal([wheel(false), plan.isWhole], [true, true]);
  const before = plan.x(45);
  equal(wheel(true), false);
  near(plan.x(45), before, 1e-6);
  near(plan.range[1] - plan.range[0], 106 / 1.2, 1e-6);
});

test("a chosen step out of sight is brought into the middle", () => {
  const { plan } = opened();
  plan.setRange(0, 20);
  plan.choose("A2");
  near((plan.range[0] + plan.range[1]) / 2, 55, 1e-9);
});

test("findings come after the chart and are chosen by a press", () => {
  const { plan, told } = opened();
  plan.tell({
    findings: [{ severity: "stop", minute: 10, lanes: ["EV1"] }],
    tight: ["A1"],
    hovers: [],
    ghost_hovers: [],
  });
  const mark = plan.canvas.querySelector(".pk-mark");
  mark.dispatchEvent(new PointerEvent("pointerdown", { bubbles: true, button: 0 }));
  equal(told, [["finding", 0]]);
  equal(plan.canvas.querySelector("[data-step=A1]").getAttribute("stroke-width"), "2.2");
});

test("a choice made elsewhere is read out with the findings there", () => {
  const { plan } = opened();
  const told = (more = {}) => ({
    severity: "stop",
    message: "No light.",
    minute: 5,
    lanes: ["EV1"],
    ...more,
  });
  const findings = [told(), told({ step: "A2", minute: null, message: "Late." }), told({ lanes: ["EV2"] })];
  plan.tell({ findings, tight: [], hovers: [], ghost_hovers: [] });
  plan.choose("A1", false);
  equal(plan.live.textContent, "A1 Open the lid, EV1, PET 0:00 to 0:20. stop: No light.");
  const name = plan.canvas.querySelector("[data-step=A2]").getAttribute("aria-label");
  equal(name, "A2 Close the lid, EV1, PET 0:50 to 1:00. stop: Late.");
});

test("z shows the chosen step with as much beside it", () => {
  const { plan } = opened();
  plan.choose("B1");
  equal(press(plan.canvas, "z"), true);
  equal(plan.range, [10, 70]);
});

test("the tip follows the pointer over a bar, and goes when it leaves", () => {
  const { plan } = opened();
  const box = plan.canvas.getBoundingClientRect();
  const over = (selector, type) =>
    plan.canvas
      .querySelector(selector)
      .dispatchEvent(
        new PointerEvent(type, {
          clientX: box.left + plan.x(5),
          clientY: box.top + plan.places.lanes.EV1.main.y + 30,
          bubbles: true,
        }),
      );
  over("[data-step=A1]", "pointermove");
  equal([plan.tip.hidden, plan.tip.textContent, plan.canvas.style.cursor], [false, "Open the lid", "grab"]);
  plan.canvas.dispatchEvent(new PointerEvent("pointerleave"));
  equal(plan.tip.hidden, true);
});
