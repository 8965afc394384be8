import { BoardLooks, minuteOf } from "/static/board_looks.js";
import { equal, listener, placed, press, test } from "./check.js";

const ATTACK = "<img src=x onerror=alert(1)>";
const pause = () =>
  new Promise(done => {
    setTimeout(done, 150);
  });

function opened() {
  const send = listener();
  const seen = [];
  const looks = new BoardLooks(send, {
    onLook: () => seen.push(looks.what),
    lines: all => document.createTextNode(all.map(([, words]) => words).join("|")),
  });
  placed(document.createElement("div")).append(looks.tabs, looks.box);
  const tab = name => looks.tabs.querySelector(`[data-look=${name}]`);
  return { send, seen, looks, tab };
}

const end = (ask, more = {}) => ({
  kind: "board_look",
  what: "end",
  ask,
  words: ATTACK,
  stands: "as it stands on the board",
  outing: "R1",
  minute: 30,
  last: 100,
  at: "0:30",
  picks: [
    ["R1", "R1 first", ""],
    ["R2", ATTACK, ""],
  ],
  rows: [{ label: ATTACK, bars: [[0.25, 0.75, ATTACK, "#99DDFF", ATTACK]] }],
  ticks: [[0, "0:00"]],
  now: 0.3,
  lines: [["stop", "the end is late"]],
  tables: [{ caption: "Left", columns: ["is"], rows: [[ATTACK]] }],
  ...more,
});

test("minutes are typed as h:mm or as minutes, and nothing else is one", () => {
  equal(
    ["1:05", " 0:30", "95", "", "soon", "1:2:3", "-5"].map(minuteOf),
    [65, 30, 95, NaN, NaN, NaN, NaN],
  );
});

test("a view is chosen by a click or an arrow, asked for, and greyed until its answer", async () => {
  const { send, seen, looks, tab } = opened();
  equal(looks.box.hidden, true);
  equal([tab("board").tabIndex, tab("thread").tabIndex], [0, -1]);
  tab("board").focus();
  press(tab("board"), "ArrowLeft");
  await pause();
  equal(document.activeElement, tab("end"));
  equal(seen, ["end"]);
  equal(send.last(), { kind: "board_look", what: "end", ask: 1 });
  equal([looks.box.hidden, looks.box.ariaBusy], [false, "true"]);
  looks.hear(end(1));
  equal(looks.box.ariaBusy, "false");
  equal(looks.stands.textContent, "The campaign as it stands on the board.");
  looks.ask();
  equal(looks.box.ariaBusy, "true");
  looks.hear(end(1, { words: "old" })); // an older answer is none
  equal(looks.box.ariaBusy, "true");
  equal(looks.answer.textContent.includes("old"), false);
});

test("text of others is shown as text, and a bar lies where it is told", async () => {
  const { looks, tab } = opened();
  tab("end").click();
  await pause();
  looks.hear(end(1));
  equal(looks.box.querySelectorAll("img").length, 0);
  const bar = looks.box.querySelector(".pk-strip-bar");
  equal([bar.textContent, bar.title, bar.style.left, bar.style.width], [ATTACK, ATTACK, "25%", "50%"]);
  equal(looks.box.querySelector("td").textContent, ATTACK);
});

test("the minute is moved by button, slider and field, and stays in the outing", async () => {
  const { send, looks, tab } = opened();
  tab("end").click();
  looks.hear(end(1));
  const [earlier, later] = looks.minute.querySelectorAll("button");
  later.click();
  await pause();
  equal(send.last().minute, 31);
  earlier.click();
  earlier.click();
  await pause();
  equal(send.last().minute, 29);
  looks.field.value = "9:00";
  looks.field.dispatchEvent(new Event("change"));
  await pause();
  equal(send.last().minute, 100);
  const before = send.said.length;
  looks.field.value = "soon";
  looks.field.dispatchEvent(new Event("change"));
  await pause();
  equal(looks.field.ariaInvalid, "true");
  equal(send.said.length, before);
  looks.range.value = 50;
  looks.range.dispatchEvent(new Event("input"));
  looks.range.value = 60;
  looks.range.dispatchEvent(new Event("input"));
  await pause();
  equal(send.said.length, before + 1); // a slider on its way is not asked about
  equal(send.last().minute, 60);
  looks.pick.value = "R2";
  looks.pick.dispatchEvent(new Event("change"));
  await pause();
  equal([send.last().outing, send.last().minute], ["R2", undefined]);
});
