import * as words from "/static/outside_words.js";
import { equal, test } from "./check.js";

const text = parts => parts.map(part => part.textContent ?? part).join("");
const first = (more = {}) => ({ step: "A1", status: "planned", start: 60, finish: 80, late: null, ...more });

test("past the hard limit is worse than late, and late than well", () => {
  equal(words.standingLevel("Inside at 6:40: hard limit 10 min over"), "pk-stands-bad");
  equal(["5 min over the planned end", "7 min behind", "Not done: T3"].map(words.standingLevel), [
    "pk-stands-late",
    "pk-stands-late",
    "pk-stands-late",
  ]);
  equal(words.standingLevel("Inside at 6:20, hard limit 10 min left"), "");
});

test("the clock's own words are not said twice", () => {
  equal(words.standingLines(["PET 1:20. PET 0 was 11:24, 4 min late", "A2 is next"]), [
    "PET 0 was 11:24, 4 min late",
    "A2 is next",
  ]);
  equal(words.standingLines(["PET 1:20.", ""]), []);
});

test("what is past the hard limit stands first", () => {
  const end =
    "Both inside at 9:24, 93 min later than planned; planned limit 164 min over, hard limit 134 min over.";
  equal(words.standingLines(["PET 1:20.", "EV1 90 min behind", end]), [end, "EV1 90 min behind"]);
});

test("the log says where it is kept, and what of it lies after now", () => {
  equal(words.logWords({ words: "log.csv", rows: 1, later: 0 }), "Log: log.csv, 1 row");
  equal(words.logWords({ words: "log.csv", rows: 5, later: 2 }), "Log: log.csv, 5 rows, 2 written after now");
});

test("silence says how long, and as of when the picture is", () => {
  const said = words.silenceWords(185000, 83.9);
  equal([said.includes("for 3 min"), said.includes("PET 1:23,")], [true, true]);
});

test("the key of a button is underlined", () => {
  const parts = words.keyed("Skipped", "k");
  equal([text(parts), parts.map(part => part.tagName ?? "")], ["Skipped", ["", "U", ""]]);
  equal(
    words.keyed("Rate", "r").map(part => part.textContent ?? part),
    ["R", "ate"],
  );
});

test("a lane says what is next, and when", () => {
  equal(text(words.laneWords({}, first(), false, 50)), "next at 1:00");
  equal(text(words.laneWords({ between: "on the way" }, first(), false, 50)), "on the way; next at 1:00");
  equal(text(words.laneWords({}, first({ start: null }), false, 50)), "the next finds no place any more");
  equal(text(words.laneWords({}, undefined, false, 50)), "all steps done");
});

test("a lane at work says how long it has to go by its estimate", () => {
  const toGo = minute => text(words.laneWords({}, first(), true, minute));
  equal(toGo(65), "at work since 1:00; about 15 min to go");
  equal(toGo(79.5), "at work since 1:00; less than a minute to go");
  equal(
    [toGo(80), toGo(95)],
    ["at work since 1:00; estimate used up", "at work since 1:00; estimate used up"],
  );
});

test("a step of both says what the other has called", () => {
  equal(
    text(words.laneWords({}, first({ awaits: true }), true, 65)).includes("the other is at it since 1:00"),
    true,
  );
  equal(
    text(words.laneWords({}, first({ status: "done" }), false, 65)).includes("the other has finished"),
    true,
  );
});

test("behind, ahead or as planned", () => {
  const sign = late =>
    words.lateSign(first({ late })).map(each => [each.textContent, each.className.includes("pk-is-late")]);
  equal(
    [sign(7.4), sign(-3), sign(0.4), sign(null)],
    [[["7 min behind", true]], [["3 min ahead", false]], [["as planned", false]], []],
  );
});

test("what an option gains or costs", () => {
  equal([12.4, -3, 0.4, -0.4].map(words.gainWords), ["12 min gained", "3 min later", "", ""]);
});

test("a limit that is missed by seconds is over", () => {
  equal(words.limitWords("hard", 12.9), "hard 12 min left");
  equal(words.limitWords("hard", 0.2), "hard less than 1 min left");
  equal(words.limitWords("hard", -0.2), "hard less than 1 min over");
  equal(words.limitWords("planned", -7), "planned 7 min over");
  equal(words.limitWords("planned", -7.1), "planned 8 min over");
});

test("an option is open until its minute, now, or past", () => {
  const open = left => words.openWords({ until: "2:10", left });
  equal(
    [open(12.9), open(0.9), open(0), open(-0.1), open(null)],
    [
      "open until 2:10, 12 min",
      "open until 2:10, now",
      "open until 2:10, now",
      "open until 2:10, which is past",
      "open until 2:10",
    ],
  );
  equal([words.openWords({ until: "", left: null }), words.mustWords({ must_by: "" })], ["", ""]);
  equal(words.mustWords({ must_by: "2:40" }), "if kept, it must begin by 2:40 for the hard limit");
});

test("what changes next is told on its safe side, the first two", () => {
  const chart = {
    light: {
      night: [[64.5, 100]],
      day: [
        [0, 62],
        [102.2, 160],
      ],
    },
    links: [
      ["west", [[10, 69.9]]],
      ["east", [[70.2, 90]]],
    ],
  };
  equal(words.nextWords(chart, 60), ["night 1:04, in 4 min", "west ends 1:09, in 9 min"]);
  equal(words.nextWords(chart, 71), ["east ends 1:30, in 19 min", "day 1:43, in 32 min"]);
  equal(words.nextWords({ light: { night: [], day: [] }, links: [] }, 60), []);
});
