import { FocusKeeper, button, el, svg, tabButton, tableOf } from "/static/dom.js";
import { equal, frame, placed, test } from "./check.js";

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
