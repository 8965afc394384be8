import { Outside } from "/static/outside.js";
import { Side } from "/static/side.js";
import { equal, listener, placed, press, test } from "./check.js";

const PET_ZERO = Date.UTC(2031, 4, 14, 11, 24);

function told(more = {}) {
  return {
    head: [["inside", "6:20", ""]],
    clock: { kind: "held", now_ms: PET_ZERO, pet_zero_ms: PET_ZERO, runs: false, call: null },
    log: { words: "log.csv", rows: 0, later: 0, is_kept: true, faults: [] },
    standing: ["PET 0:00."],
    lanes: [
      {
        who: "EV1",
        title: "",
        is_crew: true,
        between: "",
        steps: [
          { step: "A1", title: "", status: "planned", start: 0, finish: 5, late: null, events: ["started"] },
        ],
      },
    ],
    refused: {},
    preview: "",
    trouble: "",
    ...more,
  };
}

function opened() {
  const root = placed(document.createElement("div"));
  root.tabIndex = -1;
  const send = listener();
  const heads = [];
  const side = new Side(root, send, {});
  const outside = new Outside(root, send, {
    chart: {},
    side,
    toolbar: { head: { setFacts: head => heads.push(head) } },
    onStep: () => {},
  });
  root.append(outside.switch, outside.clock.box, outside.preview, outside.box, side.box);
  root.addEventListener("keydown", event => {
    if (outside.onKey(event)) event.preventDefault();
  });
  clearInterval(outside.timer);
  return { root, outside, side, heads, said: send.said };
}

test("one press goes outside, another back; where one is already says nothing", () => {
  const { outside, said } = opened();
  const [planning, out] = outside.switch.children;
  planning.click();
  out.click();
  outside.show(told());
  out.click();
  planning.click();
  equal(said, [{ kind: "outside" }, { kind: "planning" }]);
});

test("outside the plan is fixed, the tabs are others, the first card has the keys", () => {
  const { root, outside, side, heads } = opened();
  outside.show(told());
  equal(
    [root.dataset.mode, outside.chart.isFixed, Object.keys(side.names).includes("home")],
    ["outside", true, true],
  );
  equal([document.activeElement.dataset.lane, heads.length], ["EV1", 1]);
  equal(
    [...outside.switch.children].map(each => each.ariaPressed),
    ["false", "true"],
  );
  outside.leave();
  equal(
    [...outside.switch.children].map(each => each.ariaPressed),
    ["true", "false"],
  );
  equal(
    [root.dataset.mode, outside.chart.isFixed, Object.keys(side.names).includes("home")],
    ["planning", false, false],
  );
  equal(document.activeElement.dataset.modeTo, "planning");
});

test("what comes later leaves the keys where they are", () => {
  const { outside } = opened();
  outside.show(told());
  outside.clock.by.focus();
  outside.show(told());
  equal([document.activeElement === outside.clock.by, outside.root.dataset.outside], [true, "2"]);
});

test("a preview says that nothing is decided, and Escape ends it", () => {
  const { root, outside, said } = opened();
  outside.show(told({ preview: "Drop T1" }));
  equal(
    [
      outside.preview.hidden,
      outside.preview.textContent.includes("Nothing is decided"),
      root.classList.contains("pk-is-preview"),
    ],
    [false, true, true],
  );
  equal(press(root, "Escape"), true);
  equal(said, [{ kind: "look_away" }]);
  outside.show(told());
  equal([outside.preview.hidden, press(root, "Escape")], [true, false]);
});

test("a number chooses a card from anywhere but a field, and only outside", () => {
  const { root, outside } = opened();
  equal(press(root, "1"), false);
  outside.show(told());
  outside.clock.by.focus();
  equal(
    [press(outside.clock.by, "1"), press(root, "1"), document.activeElement.dataset.lane],
    [false, true, "EV1"],
  );
});
