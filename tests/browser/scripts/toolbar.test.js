import { PetZeroSlider, Toolbar, options } from "/static/toolbar.js";
import { equal, listener, placed, press, test, type } from "./check.js";

const FIRST = Date.UTC(2031, 4, 14, 11, 0);
const MINUTE = 60000;
const PET_ZERO = { first: FIRST, last: FIRST + 100 * MINUTE, at: FIRST + 24 * MINUTE };
const status = (more = {}) => ({
  undo: null,
  redo: null,
  unsaved: false,
  versions: [],
  baseline: "",
  head: [],
  pet_zero: PET_ZERO,
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
  const pet_zero = new PetZeroSlider(send);
  placed(pet_zero.box);
  pet_zero.show(PET_ZERO);
  return { pet_zero, send, said: send.said };
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

test("the slider stands at pet_zero within its range", () => {
  const { pet_zero } = slider();
  equal([pet_zero.slider.min, pet_zero.slider.max, pet_zero.slider.value], ["0", "100", "24"]);
  equal(
    [pet_zero.field.value, ...pet_zero.ends.map(each => each.textContent)],
    ["2031-05-14T11:24", "11:00", "12:40"],
  );
});

test("a slider that is dragged sends one message at a time, and the last place", () => {
  const { pet_zero, send, said } = slider();
  pet_zero.slider.dispatchEvent(new PointerEvent("pointerdown"));
  for (const value of ["30", "31", "32"]) type(pet_zero.slider, value);
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
  const { pet_zero } = slider();
  pet_zero.slider.dispatchEvent(new PointerEvent("pointerdown"));
  type(pet_zero.slider, "30");
  pet_zero.show(PET_ZERO);
  equal(pet_zero.slider.value, "30");
  pet_zero.slider.dispatchEvent(new PointerEvent("pointerup"));
});

test("a date is sent with Enter, not with each digit", () => {
  const { pet_zero, said } = slider();
  press(pet_zero.field, "2");
  pet_zero.field.value = "2031-05-14T11:40";
  pet_zero.field.dispatchEvent(new Event("change"));
  pet_zero.show(PET_ZERO);
  equal([said, pet_zero.field.value], [[], "2031-05-14T11:40"]);
  press(pet_zero.field, "Enter");
  equal(said, [{ kind: "pet_zero", ms: FIRST + 40 * MINUTE }]);
});

test("a date that is not whole is not sent", () => {
  const { pet_zero, said } = slider();
  pet_zero.field.value = "";
  pet_zero.commit();
  equal(said, []);
});

test("each tried pet_zero stands at its place, by how much it leaves", () => {
  const { pet_zero } = slider();
  const part = (minute, left) => ({
    state: "running",
    part: { ms: FIRST + minute * MINUTE, left, reason: "no window" },
  });
  pet_zero.swept(part(0, 5));
  pet_zero.swept(part(50, -3));
  pet_zero.swept(part(100, null));
  const tries = [...pet_zero.strip.children];
  equal(
    tries.map(each => each.style.left),
    ["0%", "50%", "100%"],
  );
  equal(
    tries.map(each => each.className),
    ["pk-try pk-some", "pk-try pk-over", "pk-try pk-none"],
  );
  equal([tries[0].title, tries[2].title], ["11:00: 5 min before the hard limit", "12:40: no window"]);
  pet_zero.swept({ state: "done", result: [{ ms: FIRST, left: 5 }] });
  equal(pet_zero.strip.childElementCount, 1);
});
