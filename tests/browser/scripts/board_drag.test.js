import { CardDrag } from "/static/board_drag.js";
import { equal, placed, test } from "./check.js";

function opened() {
  const told = [];
  const box = placed(document.createElement("div"));
  box.style.cssText = "position: relative; width: 400px; height: 200px";
  const columns = document.createElement("div");
  columns.style.cssText = "display: flex; height: 200px";
  for (const [outing, canMove] of [
    ["R1", true],
    ["R2", false],
  ]) {
    const column = document.createElement("section");
    column.style.cssText = "width: 200px; height: 200px";
    column.dataset.outing = outing;
    const card = document.createElement("button");
    if (canMove) card.dataset.canMove = "";
    column.append(card);
    columns.append(column);
  }
  box.append(columns);
  columns.setPointerCapture = () => {};
  const drag = new CardDrag(box, columns, {
    onBegin: () => told.push("begin"),
    onOver: outing => told.push(outing),
    onEnd: isMeant => told.push(isMeant),
  });
  const { left, top } = box.getBoundingClientRect();
  const point = (target, kind, x, more = {}) =>
    target.dispatchEvent(
      new PointerEvent(kind, { bubbles: true, clientX: left + x, clientY: top + 50, button: 0, ...more }),
    );
  return { box, columns, drag, told, point, cards: columns.querySelectorAll("button") };
}

test("a card follows the pointer and tells the outing under it; let go, it is meant", () => {
  const { box, columns, drag, told, point, cards } = opened();
  point(cards[0], "pointerdown", 10);
  point(columns, "pointermove", 12);
  equal([told, drag.isUnderWay], [[], false]);
  point(columns, "pointermove", 60);
  point(columns, "pointermove", 260);
  equal(box.querySelectorAll(".pk-held").length, 1);
  point(columns, "pointermove", 900);
  point(columns, "pointerup", 260);
  equal(told, ["begin", "R1", "R2", null, true]);
  equal(box.querySelectorAll(".pk-held").length, 0);
});

test("a press alone, another button and a card that stays are no drag; a cancelled one is taken back", () => {
  const { columns, told, point, cards } = opened();
  point(cards[0], "pointerdown", 10);
  point(columns, "pointerup", 10);
  point(cards[0], "pointerdown", 10, { button: 2 });
  point(columns, "pointermove", 260);
  point(cards[1], "pointerdown", 210);
  point(columns, "pointermove", 60);
  equal(told, []);
  point(cards[0], "pointerdown", 10);
  point(columns, "pointermove", 260);
  point(columns, "pointercancel", 260);
  equal(told, ["begin", "R2", false]);
});
