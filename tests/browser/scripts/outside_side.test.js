import { OutsideSide } from "/static/outside_side.js";
import { equal, listener, placed, test } from "./check.js";

const row = (number, more = {}) => ({
  number,
  words: `Drop T${number}`,
  kind: "drop",
  end: "6:20",
  gain: 12,
  planned: 3,
  hard: 13,
  stops: 0,
  concerns: 0,
  until: "2:10",
  left: 10,
  must_by: "",
  moves: "",
  can_be_taken: true,
  ...more,
});
function opened() {
  const send = listener();
  const panes = { options: placed(document.createElement("div")) };
  const aside = new OutsideSide({ panes }, send, { by: { value: "kim" } });
  const press = act => panes.options.querySelector(`[data-act=${act}]`).click();
  return { aside, press, ...panes, said: send.said };
}

test("options are looked for once at a time, and the search can be stopped", () => {
  const { press, said, aside } = opened();
  for (const act of ["options", "options", "orders"]) press(act);
  equal(said, [{ kind: "options", with_orders: false }, { kind: "stop_options" }]);
  aside.tellOptions({ is_looking: false, at: "1:20", is_old: false, rows: [] });
  press("orders");
  equal(said[2], { kind: "options", with_orders: true });
});

test("options found before the last entries say so", () => {
  const { aside } = opened();
  aside.tellOptions({ is_looking: false, at: "1:20", is_old: true, rows: [row(1)] });
  equal(
    [aside.looking.textContent, aside.find.textContent],
    ["as of PET 1:20: the log has gone on since", "Find again"],
  );
});

test("an option tells what it gains, its limits, and how long it is open", () => {
  const { aside, options } = opened();
  aside.tellOptions({
    is_looking: false,
    at: "1:20",
    is_old: false,
    rows: [row(1, { hard: -2, stops: 1, must_by: "2:40" })],
  });
  equal(
    options.querySelector(".pk-option-text").textContent,
    "12 min gained; planned 3 min left, hard 2 min over, 1 new stop",
  );
  equal(
    [...options.querySelectorAll(".pk-over")].map(each => each.textContent),
    ["hard 2 min over", "1 new stop"],
  );
  equal(
    options.querySelector(".pk-source").textContent,
    "open until 2:10, 10 min; if kept, it must begin by 2:40 for the hard limit",
  );
});

test("a preview decides nothing, Take does, in the name that is typed", () => {
  const { aside, options, said } = opened();
  aside.tellOptions({
    is_looking: false,
    at: "1:20",
    is_old: false,
    rows: [row(1), row(2, { can_be_taken: false })],
  });
  equal(options.querySelectorAll("[data-act=decide]").length, 1);
  options.querySelector("[data-act=look]").click();
  options.querySelector("[data-act=decide]").click();
  equal(said, [
    { kind: "look", number: 1, words: "Drop T1" },
    { kind: "decide", by: "kim", number: 1, words: "Drop T1" },
  ]);
});
