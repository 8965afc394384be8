import { layoutLanes } from "/static/chart_layout.js";
import { clearTicks, limitWords, tagOf, wordsOfBars } from "/static/chart_words.js";
import { equal, near, test } from "./check.js";
import { THEME, sampleChart } from "./sample.js";

const ROOM = [96, 1000];

// The same random numbers every time (a linear congruential generator of Park and Miller, 1988).
function numbers(seed) {
  let state = seed;
  return () => {
    state = (state * 16807) % 2147483647;
    return state / 2147483647;
  };
}

// Bars one after another in each lane, most of them short.
function randomBars(seed, places) {
  const random = numbers(seed);
  const bars = [];
  for (const lane of Object.values(places.lanes)) {
    let from = ROOM[0] - 30 * random();
    while (from < ROOM[1]) {
      const until = from + 1 + 60 * random() ** 3;
      const name = "ABCDWM"[Math.floor(random() * 6)].repeat(1 + Math.floor(random() * 4)) + bars.length;
      const title = "take the long way round to the box".slice(0, Math.floor(random() * 34));
      bars.push({ name, title, letter: "MW", from, until, strip: lane.main, lane });
      from = until + 5 * random();
    }
  }
  return bars;
}

const cover = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];

test("no words cover others, at any height, and all are level and in the picture", () => {
  for (let seed = 1; seed <= 12; seed += 1) {
    const places = layoutLanes(sampleChart(), [150, 260, 330, 420, 600, 900][seed % 6]);
    const words = wordsOfBars(randomBars(seed, places), ROOM);
    equal(words.length > 20, true);
    words.forEach((one, at) => {
      for (const other of words.slice(at + 1))
        if (cover(one.box, other.box)) throw new Error(`${seed}: ${one.words} covers ${other.words}`);
      equal([one.box[0] >= ROOM[0] - 1, one.box[2] <= ROOM[1] + 1], [true, true], one.words);
      equal("turn" in one, false);
    });
  }
});

test("no line to a word passes through another", () => {
  for (let seed = 20; seed <= 30; seed += 1) {
    const places = layoutLanes(sampleChart(), 800);
    const words = wordsOfBars(randomBars(seed, places), ROOM);
    const led = words.filter(each => each.line);
    equal(
      led.some(each => Math.abs(each.line[1] - each.line[2]) > 10),
      true,
      "a second row",
    );
    for (const { words: name, line } of led) {
      const [at, from, until] = line;
      const thin = [at - 0.4, Math.min(from, until), at + 0.4, Math.max(from, until)];
      for (const other of words)
        if (other.words !== name && cover(thin, other.box))
          throw new Error(`${seed}: ${name} through ${other.words}`);
    }
  }
});

test("an id stands in its bar where it fits, else beside its own middle", () => {
  const { lanes } = layoutLanes(sampleChart());
  const bar = { name: "EG1", title: "Open", letter: "A", strip: lanes.EV1.main, lane: lanes.EV1 };
  const of = (from, until) => wordsOfBars([{ ...bar, from, until }], ROOM);
  equal(
    of(200, 300).map(each => each.kind),
    ["id", "letter", "title"],
  );
  equal(
    of(200, 210).map(each => each.kind),
    ["letter", "leader"],
  );
  const [, leader] = of(200, 210);
  equal([leader.box[0] <= 205, leader.box[2] >= 205, leader.line[0]], [true, true, 205]);
  equal(
    of(200, 204).map(each => each.kind),
    ["leader"],
  );
  equal(of(20, 90), [], "out of sight");
});

test("names of limits stand under their lines, and move apart", () => {
  const x = minute => minute * 2;
  const [hard, planned] = limitWords(
    [
      ["planned", 200, "planned 3:20"],
      ["hard", 400, "hard 6:40"],
    ],
    x,
    [96, 900],
  );
  near((hard.left + hard.right) / 2, 800);
  near((planned.left + planned.right) / 2, 400);
  const near_ = limitWords(
    [
      ["planned", 448, "planned 7:28"],
      ["hard", 450, "hard 7:30"],
    ],
    x,
    [96, 900],
  );
  equal(near_[0].right, 900);
  equal(near_[1].right < near_[0].left, true);
  equal(limitWords([["hard", 500, "hard"]], x, [96, 900]), [], "out of sight");
  equal(clearTicks([380, 400, 430], x, [hard]), [430]);
});

test("what is chosen shows all its words: a tag where the bar has no room", () => {
  const places = layoutLanes(sampleChart());
  const look = scale => ({ places, x: minute => 100 + minute * scale, theme: THEME, width: 1000 });
  const bar = ["A1", "EV1", "work", 0, 20, "T1", "Open the lid"];
  equal(tagOf(bar, look(10)), []);
  const [, words] = tagOf(bar, look(1));
  equal(words.drawn().textContent, "A1 Open the lid");
});
