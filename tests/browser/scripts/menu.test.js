import { Menu } from "/static/menu.js";
import { equal, placed, press, test } from "./check.js";

function opened() {
  const done = [];
  const words = ["Versions", "Export", "<b>Keys</b>"];
  const entries = words.map(each => [each.slice(0, 1), each, () => done.push(each)]);
  const menu = new Menu("More", "More", () => entries);
  placed(menu.box);
  return { menu, done, at: () => document.activeElement.textContent };
}

test("arrows, ends and letters go through the menu", () => {
  const { menu, at } = opened();
  press(menu.button, "ArrowDown");
  equal([at(), menu.button.getAttribute("aria-expanded")], ["Versions", "true"]);
  const keys = ["ArrowUp", "ArrowDown", "End", "Home", "e", "q"];
  const seen = keys.map(each => {
    press(document.activeElement, each);
    return at();
  });
  equal(seen, ["<b>Keys</b>", "Versions", "<b>Keys</b>", "Versions", "Export", "Export"]);
  equal(menu.list.querySelector("b"), null);
});

test("Escape and a choice give the keyboard back to the button", () => {
  const { menu, done } = opened();
  menu.button.click();
  press(document.activeElement, "Escape");
  equal([menu.list.hidden, document.activeElement === menu.button], [true, true]);
  menu.button.click();
  menu.list.children[1].click();
  equal([menu.list.hidden, document.activeElement === menu.button, done], [true, true, ["Export"]]);
});

test("a menu that is left closes", () => {
  const { menu } = opened();
  const other = placed(document.createElement("button"));
  menu.button.click();
  other.focus();
  equal([menu.list.hidden, document.activeElement === other], [true, true]);
});
