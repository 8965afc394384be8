import {
  FocusKeeper,
  button,
  el,
  oneStop,
  openDialog,
  options,
  svg,
  tabButton,
  tableOf,
} from "/static/dom.js";
import { equal, frame, placed, press, test } from "./check.js";

test("text goes in as text, never as markup", () => {
  const attack = "<img src=x onerror=alert(1)>";
  const box = el("p", { title: attack }, attack, [attack]);
  equal(box.children.length, 0);
  equal(box.textContent, attack + attack);
  equal(box.title, attack);
});

test("what is not there is left out, zero is not", () => {
  const box = el("p", { id: null, lang: undefined, hidden: false, tabindex: 0 }, null, undefined, 0, "");
  equal(box.getAttributeNames(), ["tabindex"]);
  equal(box.textContent, "0");
  equal(el("input", { disabled: true }).getAttribute("disabled"), "");
});

test("an attribute that begins with on is a listener", () => {
  let pressed = 0;
  const box = button(
    "Go",
    "a hint",
    () => {
      pressed += 1;
    },
    { "data-act": "go" },
  );
  box.click();
  equal(
    [pressed, box.type, box.title, box.dataset.act, box.hasAttribute("onclick")],
    [1, "button", "a hint", "go", false],
  );
});

test("shapes are of the SVG name space", () => {
  const shape = svg("g", {}, svg("rect", { x: 1 }));
  equal(shape.firstChild.namespaceURI, "http://www.w3.org/2000/svg");
  equal(shape.firstChild instanceof SVGRectElement, true);
});

test("a table has a caption, heads and rows", () => {
  const table = tableOf(
    ["a", "b"],
    [
      [1, "<b>"],
      [2, null],
    ],
    "Both",
  );
  equal(table.caption.textContent, "Both");
  equal(
    [...table.tHead.rows[0].cells].map(cell => [cell.textContent, cell.scope]),
    [
      ["a", "col"],
      ["b", "col"],
    ],
  );
  equal(
    [...table.tBodies[0].rows].map(row => [...row.cells].map(cell => cell.textContent)),
    [
      ["1", "<b>"],
      ["2", ""],
    ],
  );
  equal(tableOf([], []).caption, null);
});

test("a tab counts what there is to count", () => {
  equal(tabButton("Findings", 3, {}).textContent, "Findings3");
  equal(tabButton("Findings", 0, {}).textContent, "Findings");
  equal(tabButton("Findings", undefined, { "aria-selected": "true" }).ariaSelected, "true");
});

test("a button that goes away hands the keys on", async () => {
  const [gone, next] = [button("gone", ""), button("next", "")];
  const root = placed(el("div", {}, gone, next));
  const keeper = new FocusKeeper(root, () => () => next);
  gone.focus();
  gone.remove();
  await frame();
  await frame();
  equal(document.activeElement.textContent, "next");
  keeper.stop();
});

test("so does one that is hidden, but not one that was left willingly", async () => {
  const [gone, next, outside] = [button("gone", ""), button("next", ""), button("outside", "")];
  const root = placed(el("div", {}, gone, next));
  placed(outside);
  const keeper = new FocusKeeper(root, () => () => next);
  gone.focus();
  gone.hidden = true;
  await frame();
  await frame();
  equal(document.activeElement.textContent, "next");
  outside.focus();
  next.remove();
  await frame();
  await frame();
  equal(document.activeElement.textContent, "outside");
  keeper.stop();
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

const stops = box => [...box.children].filter(each => each.tabIndex === 0).map(each => each.textContent);

test("a row of controls is one stop, and the arrows go round it", async () => {
  const box = placed(el("div", {}, ...["a", "b", "c"].map(each => button(each, "", null))));
  oneStop(box);
  await frame();
  await frame();
  equal(stops(box), ["a"]);
  box.firstChild.focus();
  press(box.firstChild, "ArrowLeft");
  equal([document.activeElement.textContent, stops(box)], ["c", ["c"]]);
  equal(press(box.lastChild, "ArrowLeft", { altKey: true }), false);
});

test("the stop of a row goes on when it is hidden, and comes to what is new", async () => {
  const box = placed(el("div", {}, button("a", "", null), button("b", "", null)));
  oneStop(box);
  box.firstChild.hidden = true;
  box.append(button("c", "", null));
  await frame();
  await frame();
  equal(
    stops(box).filter(each => each !== "a"),
    ["b"],
  ); // what is hidden is no stop, and neither is the new one
});

test("the arrows of a field in a row are its own, Escape leads out of it", () => {
  const field = el("input", { type: "search" });
  const box = placed(oneStop(el("div", {}, field, button("b", "", null))));
  field.focus();
  equal(press(field, "ArrowRight"), false);
  field.value = "typed";
  equal(press(field, "Escape"), false);
  field.value = "";
  press(field, "Escape");
  equal(document.activeElement, box.lastChild);
});

test("a window closes by its button, and gives the keyboard back", async () => {
  const from = placed(button("open", "", null));
  from.focus();
  const dialog = openDialog(document.body, "Keys", el("p", {}, "<b>text</b>"));
  equal([dialog.open, dialog.querySelector("p").textContent], [true, "<b>text</b>"]);
  dialog.querySelector("[data-act=close_dialog]").click();
  await frame();
  await frame();
  equal([dialog.isConnected, document.activeElement === from], [false, true]);
});
