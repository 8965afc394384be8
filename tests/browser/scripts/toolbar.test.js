import { EgressSlider, Toolbar, options } from "/static/toolbar.js";
import { equal, listener, placed, press, test, type } from "./check.js";

const FIRST = Date.UTC(2031, 4, 14, 11, 0);
const MINUTE = 60000;
const EGRESS = { first: FIRST, last: FIRST + 100 * MINUTE, at: FIRST + 24 * MINUTE };
const status = (more = {}) => ({
  undo: null,
  redo: null,
  unsaved: false,
  versions: [],
  baseline: "",
  head: [],
  egress: EGRESS,
  ...more,
});

function opened() {
  const send = listener();
  const bar = new Toolbar(send, { zoom: () => {}, zoomAll: () => {} });
  placed(bar.box);
  placed(bar.said);
  placed(bar.asks);
  return { bar, send, said: send.said };
}

function slider() {
  const send = listener();
  const egress = new EgressSlider(send);
  placed(egress.box);
  egress.show(EGRESS);
  return { egress, send, said: send.said };
}

test("what cannot be done keeps its place and says nothing", () => {
  const { bar, said } = opened();
  bar.show(status());
  bar.undo.click();
  equal([said, bar.undo.disabled, bar.undo.title], [[], false, "Nothing to undo"]);
  bar.show(status({ undo: "type 25", unsaved: true }));
  bar.undo.click();
  bar.save.click();
  equal([said, bar.undo.title], [[{ kind: "undo" }, { kind: "save" }], "Undo: type 25 (Ctrl+Z)"]);
});

test("saved or not is said in words", () => {
  const { bar } = opened();
  const states = [
    { unsaved: true, is_kept: true },
    { unsaved: true, is_kept: false },
    { unsaved: false, is_kept: true },
  ];
  const words = states.map(state => {
    bar.show(status(state));
    return bar.state.textContent;
  });
  equal(words, ["unsaved", "unsaved, not kept on disk", "saved"]);
});

test("a name is kept with Enter, and the field is empty then", () => {
  const { bar, said } = opened();
  bar.name.value = "before lunch";
  press(bar.name, "Enter");
  equal([said, bar.name.value], [[{ kind: "keep", name: "before lunch" }], ""]);
});

test("a chosen version stays chosen while others come", () => {
  const select = placed(document.createElement("select"));
  options(
    select,
    [
      ["a", "a"],
      ["b", "b"],
    ],
    "b",
  );
  options(
    select,
    [
      ["a", "a"],
      ["b", "b"],
      ["c", "c"],
    ],
    "b",
  );
  equal([select.value, select.length], ["b", 3]);
  const first = select.options[0];
  options(
    select,
    [
      ["a", "a"],
      ["b", "b"],
      ["c", "c"],
    ],
    "gone",
  );
  equal([select.value, select.options[0] === first], ["b", true]);
});

test("a message stays when it is bad, or when a way back is offered", () => {
  const { bar, said } = opened();
  bar.say({ level: "bad", text: "<b>no</b>" });
  equal(
    [bar.said.textContent, bar.said.className, bar.timer],
    ["<b>no</b>", "pk-said pk-said-bad", undefined],
  );
  bar.say({ level: "good", text: "Deleted.", way_back: { kind: "bring_back", label: "Bring back" } });
  equal(bar.timer, undefined);
  bar.said.querySelector("button").click();
  equal(said, [{ kind: "bring_back" }]);
  bar.say({ level: "good", text: "Saved." });
  equal(typeof bar.timer, "number");
  clearTimeout(bar.timer);
});

test("the latest three of unsaved work are offered, and none when none is left", () => {
  const { bar, said } = opened();
  const left = ["today", "yesterday", "last week", "long ago"];
  bar.offer({ offers: left.map(written => ({ written, path: written, in_use: false })) });
  equal(bar.asks.querySelectorAll("[data-act=discard]").length, 3);
  equal(bar.asks.textContent.includes("1 more"), true);
  bar.asks.querySelector("[data-act=restore]").click();
  equal(said, [{ kind: "restore", path: "today" }]);
  bar.offer({ offers: [] });
  equal(bar.asks.childElementCount, 0);
});

test("work that another session holds can be copied and not discarded", () => {
  const { bar, said } = opened();
  bar.offer({ offers: [{ written: "today", path: "b", in_use: true }] });
  equal(bar.asks.querySelectorAll("[data-act=discard]").length, 0);
  bar.asks.querySelector("[data-act=restore]").click();
  equal(said, [{ kind: "restore", path: "b" }]);
});

test("the slider stands at egress within its range", () => {
  const { egress } = slider();
  equal([egress.slider.min, egress.slider.max, egress.slider.value], ["0", "100", "24"]);
  equal(
    [egress.field.value, ...egress.ends.map(each => each.textContent)],
    ["2031-05-14T11:24", "11:00", "12:40"],
  );
});

test("a slider that is dragged sends one message at a time, and the last place", () => {
  const { egress, send, said } = slider();
  egress.slider.dispatchEvent(new PointerEvent("pointerdown"));
  for (const value of ["30", "31", "32"]) type(egress.slider, value);
  equal(
    said.map(each => (each.ms - FIRST) / MINUTE),
    [30],
  );
  send.answer();
  equal(
    said.map(each => (each.ms - FIRST) / MINUTE),
    [30, 32],
  );
  send.answer();
  equal([said.length, said[0].drag === said[1].drag, said[0].drag !== null], [2, true, true]);
});

test("while it is dragged no answer moves it", () => {
  const { egress } = slider();
  egress.slider.dispatchEvent(new PointerEvent("pointerdown"));
  type(egress.slider, "30");
  egress.show(EGRESS);
  equal(egress.slider.value, "30");
  egress.slider.dispatchEvent(new PointerEvent("pointerup"));
});

test("a date is sent with Enter, not with each digit", () => {
  const { egress, said } = slider();
  press(egress.field, "2");
  egress.field.value = "2031-05-14T11:40";
  egress.field.dispatchEvent(new Event("change"));
  egress.show(EGRESS);
  equal([said, egress.field.value], [[], "2031-05-14T11:40"]);
  press(egress.field, "Enter");
  equal(said, [{ kind: "egress", ms: FIRST + 40 * MINUTE }]);
});

test("a date that is not whole is not sent", () => {
  const { egress, said } = slider();
  egress.field.value = "";
  egress.commit();
  equal(said, []);
});

test("each tried egress stands at its place, by how much it leaves", () => {
  const { egress } = slider();
  const part = (minute, left) => ({
    state: "running",
    part: { ms: FIRST + minute * MINUTE, left, reason: "no window" },
  });
  egress.swept(part(0, 5));
  egress.swept(part(50, -3));
  egress.swept(part(100, null));
  const tries = [...egress.strip.children];
  equal(
    tries.map(each => each.style.left),
    ["0%", "50%", "100%"],
  );
  equal(
    tries.map(each => each.className),
    ["pk-try pk-some", "pk-try pk-over", "pk-try pk-none"],
  );
  equal([tries[0].title, tries[2].title], ["11:00: 5 min before the hard limit", "12:40: no window"]);
  egress.swept({ state: "done", result: [{ ms: FIRST, left: 5 }] });
  equal(egress.strip.childElementCount, 1);
});
