import { Roving } from "/static/roving.js";
import { equal, placed, press, test } from "./check.js";

function tools() {
  const box = placed(document.createElement("div"));
  box.innerHTML = "<button>a</button><input value='xy'><button hidden>c</button><button>d</button>";
  const roving = new Roving(box);
  roving.settle();
  const stop = () => [...box.children].findIndex(each => each.tabIndex === 0);
  return { box, roving, stop };
}

test("Tab has one stop, arrows go on from there and round, past what is hidden", () => {
  const { box, stop } = tools();
  equal(stop(), 0);
  box.children[0].focus();
  const seen = ["ArrowRight", "ArrowLeft", "End", "ArrowRight", "ArrowLeft", "Home"].map(key => {
    if (document.activeElement.matches("input")) document.activeElement.setSelectionRange(0, 0);
    press(document.activeElement, key);
    return stop();
  });
  equal(seen, [1, 0, 3, 0, 3, 0]);
});

test("in a field arrows go on only at the end of its text", () => {
  const { box, stop } = tools();
  const field = box.children[1];
  field.focus();
  field.setSelectionRange(1, 1);
  equal([press(field, "ArrowRight"), stop()], [false, 1]);
  field.setSelectionRange(2, 2);
  equal([press(field, "ArrowRight"), stop()], [true, 3]);
  press(box.children[3], "ArrowRight");
  equal(stop(), 0);
  press(box.children[0], "ArrowLeft");
  equal(stop(), 3);
});

test("a stop that goes away hands its place to the first", () => {
  const { box, roving, stop } = tools();
  box.children[3].focus();
  box.children[3].disabled = true;
  roving.settle();
  equal(stop(), 0);
});
