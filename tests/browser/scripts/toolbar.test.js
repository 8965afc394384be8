import { KEYS } from "/static/keys.js";
import { Toolbar } from "/static/toolbar.js";
import { THEME } from "./sample.js";
import { equal, listener, placed, press, test } from "./check.js";

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
  faults: [],
  against: "",
  pet_zero: PET_ZERO,
  ...more,
});

function opened() {
  const send = listener();
  const root = placed(document.createElement("div"));
  const chosen = [];
  const bar = new Toolbar(
    root,
    send,
    { zoom: () => {}, zoomAll: () => {}, theme: THEME },
    {
      acts: [["own", "Another act", () => chosen.push("own")]],
      events: { onAgainst: () => chosen.push("held") },
    },
  );
  root.append(bar.box);
  placed(bar.said);
  placed(bar.asks);
  return { bar, root, send, said: send.said, chosen };
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

const entry = (bar, act) => {
  bar.menu.button.click();
  bar.menu.list.querySelector(`[data-act=${act}]`).click();
};

test("what is rarely wanted is in the menu, and less of it outside", () => {
  const { bar, root, chosen } = opened();
  const entries = () => {
    bar.menu.open();
    return [...bar.menu.list.children].map(each => each.dataset.act);
  };
  equal(entries(), ["versions", "held", "out", "own", "keys"]);
  root.dataset.mode = "outside";
  equal(entries(), ["own", "keys"]);
  delete root.dataset.mode;
  entry(bar, "own");
  entry(bar, "held");
  equal(chosen, ["own", "held"]);
});

test("versions are kept, switched to and deleted in a window that closes then", () => {
  const { bar, root, said } = opened();
  bar.show(status({ versions: ["as loaded", "v"] }));
  bar.versions.value = "v";
  for (const act of ["switch", "drop", "keep"]) {
    entry(bar, "versions");
    bar.name.value = "w";
    root.querySelector(`dialog [data-act=${act}]`).click();
    equal(root.querySelector("dialog[open]"), null);
  }
  equal(said, [
    { kind: "switch", name: "v" },
    { kind: "drop", name: "v" },
    { kind: "keep", name: "w" },
  ]);
});

test("the list of keys shows every key of the table", () => {
  const { bar, root } = opened();
  bar.showKeys();
  const dialog = root.querySelector("dialog");
  equal([dialog.open, dialog.querySelectorAll("dt").length], [true, KEYS.length]);
  equal(dialog.textContent.includes("Arrow"), false);
  equal(dialog.querySelector("kbd").textContent, "Ctrl+Z");
  dialog.close();
});
