import { change, redraw, shape } from "/static/drawing.js";
import { svg } from "/static/dom.js";
import { equal, test } from "./check.js";

const bar = (x, more = {}) => shape("rect", { x, ...more });
const word = (words, x = 0) => shape("text", { x }, words);

test("a drawing stands in the page as it was described, texts as texts", () => {
  const attack = "<image href=x onerror=alert(1)>";
  const group = shape(
    "g",
    { id: null, role: undefined, hidden: false, tabindex: 0 },
    [bar(1), null],
    word(attack),
  );
  const node = svg("svg", {}, group).firstChild;
  equal(node.namespaceURI, "http://www.w3.org/2000/svg");
  equal(node.getAttributeNames(), ["tabindex"]);
  equal(
    [...node.children].map(each => each.tagName),
    ["rect", "text"],
  );
  equal([node.lastChild.children.length, node.textContent], [0, attack]);
});

test("what is drawn anew keeps its nodes, and only what differs is set", () => {
  const box = svg("g");
  redraw(box, [bar(1, { fill: "red", role: "option" }), word("A1"), shape("g", {}, bar(5))]);
  const nodes = [...box.children, box.lastChild.firstChild];
  const watch = new MutationObserver(() => {});
  watch.observe(box, { attributes: true, childList: true, subtree: true, characterData: true });
  redraw(box, [bar(2, { fill: "red" }), word("A1"), shape("g", {}, bar(5))]);
  const changes = watch.takeRecords().map(each => [each.type, each.attributeName]);
  equal(changes, [
    ["attributes", "x"],
    ["attributes", "role"],
  ]);
  equal(
    [...box.children, box.lastChild.firstChild].every((each, at) => each === nodes[at]),
    true,
  );
  equal([nodes[0].getAttribute("x"), nodes[0].hasAttribute("role")], ["2", false]);
  redraw(box, [bar(2), word("B1")]);
  equal([box.textContent, box.children.length, nodes[0].hasAttribute("fill")], ["B1", 2, false]);
});

test("shapes stand in their order, however many of each there were", () => {
  const box = svg("g");
  const said = () => [...box.children].map(each => each.textContent || each.getAttribute("x"));
  redraw(box, [bar(1), word("A"), bar(2), word("B")]);
  redraw(box, [word("C"), bar(3), word("D"), word("E")]);
  equal(said(), ["C", "3", "D", "E"]);
  redraw(box, [bar(4), bar(5), word("F")]);
  equal(said(), ["4", "5", "F"]);
  redraw(box, []);
  equal(said(), []);
});

test("what others have put between the shapes goes with the next drawing", () => {
  const box = svg("g");
  redraw(box, [bar(1), bar(2)]);
  box.prepend(svg("circle"));
  box.append(svg("rect", { x: 9 }));
  redraw(box, [bar(1), bar(3)]);
  equal(
    [...box.children].map(each => each.getAttribute("x")),
    ["1", "3"],
  );
});

test("the next drawing knows what was changed since the last", () => {
  const box = svg("g");
  const draw = () => redraw(box, [bar(1, { "aria-selected": "false" })]);
  draw();
  change(box.firstChild, { "aria-selected": "true" });
  equal([box.firstChild.ariaSelected, box.firstChild.getAttribute("x")], ["true", "1"]);
  draw();
  equal(box.firstChild.ariaSelected, "false");
});
