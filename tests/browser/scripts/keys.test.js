import { PlanChart } from "/static/chart.js";
import { KEYS, benchAct, cellAct, keyEvent, rowAct, suggestionAfter, tabAfter } from "/static/keys.js";
import { equal, listener, placed, press, test } from "./check.js";
import { THEMES, sampleChart } from "./sample.js";

const key = (name, ...held) => ({
  key: name,
  altKey: held.includes("alt"),
  ctrlKey: held.includes("ctrl"),
  metaKey: held.includes("meta"),
  shiftKey: held.includes("shift"),
});

test("arrows go round the tabs, other keys do not", () => {
  const names = ["a", "b", "c"];
  equal(
    ["ArrowRight", "ArrowLeft"].map(each => tabAfter(names, "a", each)),
    ["b", "c"],
  );
  equal(tabAfter(names, "c", "ArrowRight"), "a");
  equal(
    ["ArrowUp", "Enter", "Tab", "b"].map(each => tabAfter(names, "a", each)),
    [null, null, null, null],
  );
});

test("undo and redo by Ctrl or by the other system's key", () => {
  for (const held of ["ctrl", "meta"]) {
    equal(benchAct(key("z", held), false), "undo");
    equal(benchAct(key("Z", held, "shift"), false), "redo");
    equal(benchAct(key("y", held), false), "redo");
  }
  equal(benchAct(key("z"), false), null);
});

test("in a field undo is the field's own, but saving works everywhere", () => {
  equal(
    ["z", "y"].map(each => benchAct(key(each, "ctrl"), true)),
    [null, null],
  );
  equal(benchAct(key("s", "alt"), true), "save");
  equal(benchAct(key("S", "alt"), false), "save");
  equal(benchAct(key("s", "ctrl"), false), null);
});

test("rows are handled with Alt alone", () => {
  const keys = ["n", "d", "Delete", "ArrowUp", "ArrowDown"];
  equal(
    keys.map(each => rowAct(key(each, "alt"))),
    ["add", "duplicate", "delete", "up", "down"],
  );
  equal(
    keys.map(each => rowAct(key(each))),
    [null, null, null, null, null],
  );
  equal(
    keys.map(each => rowAct(key(each, "alt", "ctrl"))),
    [null, null, null, null, null],
  );
  equal(rowAct(key("x", "alt")), null);
});

test("a letter begins to edit a cell, Delete empties it, a command does neither", () => {
  equal(
    ["a", "7", " ", "F2"].map(each => cellAct(key(each))),
    ["edit", "edit", "edit", "edit"],
  );
  equal(
    ["Delete", "Backspace"].map(each => cellAct(key(each))),
    ["empty", "empty"],
  );
  equal(
    ["Enter", "ArrowUp", "F5", "Shift"].map(each => cellAct(key(each))),
    [null, null, null, null],
  );
  for (const held of ["alt", "ctrl", "meta"]) {
    equal(
      ["a", "Delete", "F2"].map(each => cellAct(key(each, held))),
      [null, null, null],
    );
  }
});

test("arrows go round the suggestions, from none to the first or the last", () => {
  equal(
    [-1, 0, 1, 2].map(at => suggestionAfter(at, 3, "ArrowDown")),
    [0, 1, 2, 0],
  );
  equal(
    [-1, 0, 1, 2].map(at => suggestionAfter(at, 3, "ArrowUp")),
    [2, 2, 0, 1],
  );
});

test("each key of the list does what it says there", () => {
  const acts = {
    Anywhere: event => benchAct(event, false),
    Tables: event => rowAct(event) ?? cellAct(event),
  };
  for (const [place, keys, does, act] of KEYS.filter(each => acts[each[0]]))
    equal(acts[place](keyEvent(keys)), act, `${keys}: ${does}`);
});

test("each key of the list for the chart is taken by the chart", () => {
  for (const [, keys, does] of KEYS.filter(each => each[0] === "Chart"))
    for (const name of keys.split(" ")) {
      const root = placed(document.createElement("div"));
      const chart = new PlanChart(root, listener(), { onChoose: () => {}, onOpen: () => {} });
      root.append(chart.box);
      chart.load(sampleChart(), THEMES);
      chart.choose("A1");
      const event = keyEvent(name);
      equal(press(chart.canvas, event.key, event), true, `${name}: ${does}`);
    }
});

test("a question mark that is typed is text", () => {
  equal([benchAct(key("?", "shift"), false), benchAct(key("?", "shift"), true)], ["keys", null]);
});
