import { PetZeroSlider } from "/static/pet_zero.js";
import { equal, listener, placed, press, test, type } from "./check.js";

const FIRST = Date.UTC(2031, 4, 14, 11, 0);
const MINUTE = 60000;
const PET_ZERO = { first: FIRST, last: FIRST + 100 * MINUTE, at: FIRST + 24 * MINUTE };

function slider() {
  const send = listener();
  const pet_zero = new PetZeroSlider(send);
  placed(pet_zero.box);
  pet_zero.show(PET_ZERO);
  return { pet_zero, send, said: send.said };
}

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
