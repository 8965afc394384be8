import { Candidate, candidateLines, paintCandidate, placeBox } from "/static/chart_candidate.js";
import { layoutLanes } from "/static/chart_layout.js";
import { el } from "/static/dom.js";
import { equal, listener, test } from "./check.js";
import { sampleChart } from "./sample.js";

const A = { kind: "minutes", step: "A1", minutes: 21 };
const B = { ...A, minutes: 22 };
const SOON = {
  kind: "candidate",
  end: "+0:01, end 1:11",
  limits: [],
  windows: [],
  moved: [["A1", "EV1", 0, 21]],
};
const WHOLE = { ...SOON, kind: "consequences", found: "no new stops or concerns", level: "", worst: "" };
const ATTACK = "<img src=x onerror=alert(1)>";

function asking() {
  const send = listener();
  const told = [];
  const candidate = new Candidate(send, () => told.push(candidate.answer?.end ?? null));
  const kinds = () => send.said.map(({ kind, drop }) => `${kind} ${drop.minutes}`);
  return { candidate, send, told, kinds };
}

const still = ms =>
  new Promise(done => {
    setTimeout(done, ms);
  });

test("one is asked at a time, and the newest that waits is the next", () => {
  const { candidate, send, kinds } = asking();
  candidate.ask(A);
  for (const minutes of [22, 23, 24]) candidate.ask({ ...A, minutes });
  equal(kinds(), ["candidate 21"]);
  candidate.hear(SOON);
  send.answer();
  equal(kinds(), ["candidate 21", "candidate 24"]);
});

test("what has not changed is not asked again", () => {
  const { candidate, send, kinds } = asking();
  for (const drop of [A, { ...A }, A]) candidate.ask(drop);
  candidate.hear(SOON);
  send.answer();
  candidate.ask({ ...A });
  equal(kinds(), ["candidate 21"]);
});

test("a still hand is told the checks too, once", async () => {
  const { candidate, send, kinds } = asking();
  candidate.ask(A);
  candidate.hear(SOON);
  send.answer();
  await still(80);
  equal(kinds(), ["candidate 21", "consequences 21"]);
  candidate.hear(WHOLE);
  send.answer();
  await still(80);
  equal(kinds().length, 2);
});

test("a hand that goes on is told the next ghosts first", async () => {
  const { candidate, send, kinds } = asking();
  candidate.ask(A);
  candidate.hear(SOON);
  send.answer();
  candidate.ask(B);
  await still(80);
  equal(kinds(), ["candidate 21", "candidate 22"]);
  candidate.hear({ kind: "candidate", refused: "no" });
  send.answer();
  await still(80);
  equal(kinds().length, 2); // a no has nothing more to tell
});

test("an older answer is shown as old", () => {
  const { candidate, told } = asking();
  candidate.ask(A);
  candidate.ask(B);
  candidate.hear(SOON);
  equal([told, candidate.isCurrent], [[SOON.end], false]);
});

test("an answer that comes after it was taken back is not heard, nor by the next drag", () => {
  const { candidate, send, told, kinds } = asking();
  candidate.ask(A);
  candidate.stop();
  candidate.hear(SOON);
  candidate.ask(A);
  candidate.hear(SOON);
  equal([told, candidate.answer], [[], null]);
  send.answer();
  equal(kinds(), ["candidate 21", "candidate 21"]);
  candidate.hear(SOON);
  equal(told.length, 1);
});

test("ghosts stand in the lanes of their steps, and say which windows they change", () => {
  const places = layoutLanes(sampleChart());
  const windows = [["A1", "night 1", "", "A1 leaves night 1"]];
  const moved = [...SOON.moved, ["C1", "EV2", 5, 9], ["X", "nobody", 1, 2], [ATTACK, "EV2", 10, 90]];
  const look = { places, x: minute => minute * 10, clipId: "clip" };
  const layer = paintCandidate({ moved, windows }, look).drawn();
  const rects = [...layer.querySelectorAll("rect")];
  equal(
    rects.map(each => [each.dataset.step, each.getAttribute("class"), Number(each.getAttribute("y"))]),
    [
      ["A1", "pk-leaves", places.lanes.EV1.main.y],
      ["C1", null, places.lanes.EV2.main.y],
      [ATTACK, null, places.lanes.EV2.main.y],
    ],
  );
  equal(
    [...layer.querySelectorAll("text")].map(each => each.textContent),
    ["A1", "night 1 → none", "C1", ATTACK],
  );
  equal(layer.querySelector("img"), null);
});

test("the box says the end, limits, windows, then the checks; what is not known yet is grey", () => {
  const words = (answer, isCurrent = true) =>
    candidateLines("A1: EV1, last", answer, isCurrent).map(each => [each.textContent, each.className.trim()]);
  equal(words(null), [["A1: EV1, last", "pk-drag-where"]]);
  const windows = Array.from({ length: 5 }, (_, at) => ["S", "", "", `S leaves night ${at}`]);
  const soon = words({ ...SOON, limits: ["planned limit passed by 0:04"], windows });
  equal(soon[2], ["planned limit passed by 0:04", "pk-drag-stop"]);
  equal(soon[6][0], "2 more in other windows");
  equal(soon[7], ["stops, concerns, tightest margin: …", "pk-pending"]);
  const whole = words({
    ...WHOLE,
    found: "new stops: 1",
    level: "stop",
    worst: ATTACK,
    tightest: { words: "3 min" },
  });
  equal(whole.slice(2), [
    ["new stops: 1", "pk-drag-stop"],
    [ATTACK, "pk-drag-worst"],
    ["Tightest: 3 min", ""],
  ]);
  equal(words(WHOLE, false)[1], [SOON.end, "pk-drag-end pk-pending"]);
  equal(words({ refused: ATTACK })[1], [ATTACK, "pk-drag-stop"]);
  equal(words({ waits: "Hold still" })[1][0], "Hold still");
});

test("the box stays within the chart", () => {
  const box = el("div", {});
  const [home, room] = [
    { left: 10, top: 20 },
    { left: 30, top: 50, width: 800, height: 300 },
  ];
  const at = point => {
    placeBox(box, [200, 100], point, home, room);
    return box.style.transform;
  };
  equal(at([100, 50]), "translate(136px, 96px)");
  equal(at([700, 290]), `translate(${20 + 700 - 16 - 200}px, ${30 + 200}px)`);
  equal(at([5, -50]), "translate(41px, 30px)");
});
