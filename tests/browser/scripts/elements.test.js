import { choice } from "/film/film_controls.js";
import { el, svg } from "/film/elements.js";
import { equal, placed, test } from "./check.js";

test("text stays text, attributes that are not there are left out", () => {
  const element = placed(el("p", { title: null, hidden: false, id: "one" }, "<b>"));
  equal(element.outerHTML, '<p id="one">&lt;b&gt;</p>');
  equal(svg("line", { x1: 3 }).getAttribute("x1"), "3");
});

test("a list tells what is chosen; one that only leads somewhere shows its words again", () => {
  const chosen = [];
  const list = placed(choice("to", [["1", "one"]], value => chosen.push(value), false));
  list.value = "1";
  list.dispatchEvent(new Event("change"));
  equal([chosen, list.value, list.getAttribute("aria-label")], [["1"], "", "to"]);
});
