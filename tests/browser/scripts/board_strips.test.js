import { strips } from "/static/board_strips.js";
import { equal, placed, test } from "./check.js";

const ROWS = [
  { label: "R1", bars: [[0, 0.5, "inside", "#99DDFF", "inside: PET 0:00 to 1:00"]] },
  { label: "night", bars: [[0.5, 1, "35", "night 0.583", "night 35 min"]] },
];

test("a row has its name and its bars, each where it begins and as long as it lasts", () => {
  const box = placed(strips({ rows: ROWS, ticks: [[0.5, "1:00"]], now: 0.25 }, "A thread"));
  equal(box.getAttribute("aria-label"), "A thread");
  equal(
    [...box.querySelectorAll(".pk-strip-name")].map(each => each.textContent),
    ["R1", "night", ""],
  );
  const [first, second] = box.querySelectorAll(".pk-strip-bar");
  equal([first.style.left, first.style.width, first.dataset.fill], ["0%", "50%", "task"]);
  equal(first.style.backgroundColor, "rgb(153, 221, 255)");
  equal([second.dataset.fill, second.style.getPropertyValue("--strength")], ["night", "0.583"]);
  equal([...box.querySelectorAll(".pk-strip-now")].map(each => each.style.left), ["25%", "25%"]);
  equal(box.querySelector(".pk-tick").style.left, "50%");
  equal(box.querySelector(".pk-strip-key"), null);
});

test("fills that have a meaning are told in words", () => {
  const box = placed(strips({ rows: ROWS, key: [["rest", "days of rest"]] }, "The season"));
  equal(box.querySelector(".pk-strip-key").textContent, "days of rest");
  equal(box.querySelectorAll(".pk-strip-now").length, 0);
});
