import { OutsideHome } from "/static/outside_home.js";
import { equal, listener, placed, press, test } from "./check.js";

const person = (who, more = {}) => ({
  who,
  inside: "2:00",
  total: 30,
  step: "A1",
  make_safe: "",
  safe: 2,
  back: 28,
  oxygen: 40,
  is_short: false,
  reserve: 30,
  first_out: "CO2",
  suit: 90,
  is_suit_short: false,
  is_known: true,
  ...more,
});

const WAYS = Object.fromEntries(
  ["terminate", "abort"].map((how, at) => [
    how,
    { crew: [person(how)], sequence: [["EV1", "to the airlock", at, "1:20", "1:40"]] },
  ]),
);

function opened(told = { at: "1:20", words: "", ways: WAYS }) {
  const send = listener();
  const pane = placed(document.createElement("div"));
  const home = new OutsideHome(pane, send, { by: { value: "kim" } });
  placed(home.calls);
  placed(home.preview);
  const keys = placed(document.createElement("button"));
  keys.addEventListener("keydown", event => home.onKey(event) && event.preventDefault());
  home.preview.addEventListener("keydown", event => home.onKey(event) && event.preventDefault());
  if (told) home.tell(told);
  keys.focus();
  return { home, pane, keys, said: send.said };
}

test("both ways home are told, and a press changes to the other", () => {
  const { pane } = opened();
  const who = () => pane.querySelector(".pk-home-head strong").textContent;
  equal([who(), pane.querySelector("td").textContent], ["terminate", "1:20 to 1:40"]);
  pane.querySelector("[data-how=abort]").click();
  equal(
    [who(), document.activeElement.dataset.how, document.activeElement.getAttribute("aria-pressed")],
    ["abort", "abort", "true"],
  );
});

test("a margin below the reserve says what is wanted", () => {
  const { home, pane } = opened();
  home.tell({
    at: "1:20",
    words: "",
    ways: { terminate: { crew: [person("EV1", { oxygen: 20, is_short: true })], sequence: [] } },
  });
  equal(
    [...pane.querySelectorAll(".pk-over")].map(each => each.textContent),
    ["20 min left, at least 30 wanted"],
  );
  equal(pane.querySelector("dd").textContent, "A1: nothing to be done first, 2 min");
});

test("a way home that is not known is told as not known, never as a margin", () => {
  const { home, pane } = opened();
  const told = crew => {
    home.tell({ at: "1:20", words: "", ways: { terminate: { crew: [crew], sequence: [] } } });
    return pane.querySelector(".pk-home-crew").textContent;
  };
  const words = told(person("EV1", { is_known: false }));
  equal(words, "EV1 not known: how long the way home takes, and what is left");
  equal(told(person("EV1", { suit: "–" })).includes("CO2not known"), true);
});

test("where no way home can be told, it says why", () => {
  const { home, pane } = opened();
  home.tell({ at: "1:20", words: "both are inside", ways: {} });
  equal(pane.textContent, "No way home to tell: both are inside.");
});

test("one key shows the way home and calls nothing, however long it is held; Escape takes it back", () => {
  const { home, keys, said } = opened();
  equal([press(keys, "a"), press(keys, "a", { repeat: true }), home.preview.hidden], [true, true, false]);
  equal(
    [document.activeElement === home.preview, home.preview.textContent.includes("Not called yet")],
    [true, true],
  );
  equal(home.preview.querySelector(".pk-home-head strong").textContent, "abort");
  press(home.preview, "Enter");
  press(home.preview, "Escape");
  equal([home.preview.hidden, document.activeElement === keys, said], [true, true, []]);
  equal(press(keys, "Escape"), false);
});

test("a call is confirmed by its own button, once, in the name that is typed", () => {
  const { home, said } = opened();
  home.calls.querySelector("[data-call=terminate]").click();
  equal(home.confirm.textContent, "Call terminate");
  home.confirm.click();
  home.confirm.click();
  equal([said, home.preview.hidden], [[{ kind: "go_home", how: "terminate", by: "kim" }], true]);
});

test("what is shown follows now, and the keyboard stays on its button", () => {
  const { home, keys } = opened();
  press(keys, "t");
  home.confirm.focus();
  home.tell({ at: "1:21", words: "", ways: { ...WAYS, terminate: { crew: [person("EV2")], sequence: [] } } });
  equal(home.preview.querySelector(".pk-home-head strong").textContent, "EV2");
  equal(document.activeElement === home.confirm, true);
});

test("where no way home can be told there is nothing to confirm", () => {
  const { home, keys, said } = opened({ at: "1:20", words: "both are inside", ways: {} });
  press(keys, "a");
  equal([home.confirm.hidden, home.preview.textContent.includes("both are inside")], [true, true]);
  press(keys, "a", { ctrlKey: true });
  equal(said, []);
});

test("before anything is told a key asks nothing", () => {
  const { home, keys } = opened(null);
  press(keys, "a");
  equal(home.preview.hidden, true);
});
