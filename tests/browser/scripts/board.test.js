import { Board } from "/static/board.js";
import { equal, listener, placed, press, test } from "./check.js";
import { THEME } from "./sample.js";

const ATTACK = "<img src=x onerror=alert(1)>";
const card = (task, more = {}) => ({
  task,
  title: ATTACK,
  can_move: true,
  why: "",
  need: "optional, value 5",
  asks: "",
  chance: "chance 88 %, margin 11 min",
  when: "PET 0:30 to 1:00",
  ...more,
});
const column = (outing, cards, more = {}) => ({
  outing,
  title: outing && `Outing ${ATTACK}`,
  is_open: false,
  takes: true,
  facts: outing ? [{ what: "reserve", words: "3 of 10 min used", level: "concern" }] : [],
  why_fixed: "",
  cards,
  ...more,
});
const told = (more = {}) => ({
  number: 1,
  is_reading: false,
  faults: null,
  words: "1 of 4 open tasks on no outing",
  findings: [["stop", "R1: too soon"]],
  columns: [
    column("R0", [card("X", { can_move: false })], { takes: false, why_fixed: "it has a log" }),
    column("R1", [card("A"), card("B")], { is_open: true }),
    column("R2", [card("C")]),
    column("", [card("D", { why: "not tried on R1, R2" })]),
  ],
  ...more,
});

function opened() {
  const root = placed(document.createElement("div"));
  const send = listener();
  const board = new Board(root, send, { onPage: () => {}, theme: () => THEME });
  root.append(board.button, board.box);
  const at = task => board.columns.querySelector(`.pk-card[data-task=${task}]`);
  const has = act => board.aside.box.querySelector(`[data-act=${act}]`);
  return { root, send, board, at, has };
}

const asked = () =>
  new Promise(done => {
    setTimeout(done, 150);
  });

test("the page is offered once a campaign is told, and opens where the keys are on a card", () => {
  const { root, send, board } = opened();
  equal(board.button.hidden, true);
  board.show(told());
  equal(board.button.hidden, false);
  board.open();
  equal([root.dataset.page, send.last().kind], ["campaign", "board_open"]);
  equal(document.activeElement.dataset.task, "X");
  board.close();
  equal(root.dataset.page, undefined);
});

test("outings with their facts, cards and words are shown as text", () => {
  const { board } = opened();
  board.show(told());
  equal(
    [...board.columns.children].map(each => each.getAttribute("aria-label")),
    ["Outing R0", "Outing R1", "Outing R2", "On no outing"],
  );
  equal(board.box.querySelectorAll("img").length, 0);
  const first = board.columns.children[1];
  equal(first.querySelector("dl").textContent, "reserve3 of 10 min used");
  equal(first.querySelectorAll("dl .pk-sign").length, 1);
  equal(first.hasAttribute("data-open"), true);
  equal(board.columns.children[0].querySelectorAll("[data-can-move]").length, 0);
  equal(board.aside.findings.textContent, "Between the outings: 1 findingsR1: too soon");
});

test("arrows choose, Alt and an arrow asks, Enter leads to Keep, which keeps that move", async () => {
  const { send, board, at, has } = opened();
  board.show(told());
  at("A").focus();
  press(document.activeElement, "ArrowDown");
  equal(document.activeElement.dataset.task, "B");
  press(document.activeElement, "ArrowLeft");
  press(document.activeElement, "ArrowRight");
  equal(document.activeElement.dataset.task, "A");
  equal(press(at("A"), "ArrowRight", { altKey: true }), true);
  await asked();
  equal(send.last(), { kind: "board_move", task: "A", outing: "R2" });
  equal(board.columns.children[2].querySelector(".pk-card-ghost").textContent, "A: asked …");
  equal(press(at("A"), "Enter"), false); // nothing is answered yet
  board.moves.hear({
    task: "A",
    outing: "R2",
    head: "A on R2",
    keep: "Saves R1, R2",
    parts: [{ outing: "R1", words: "", lines: [["stop", "hard limit passed"]] }],
  });
  equal(board.aside.status.textContent, "A on R2");
  press(at("A"), "Enter");
  equal(document.activeElement, has("board_keep"));
  has("board_keep").click();
  equal(send.last(), { kind: "board_keep", task: "A", outing: "R2" });
  board.show(told({ number: 2, columns: [column("R1", [card("B")]), column("R2", [card("A")])] }));
  equal([document.activeElement.dataset.task, document.activeElement.dataset.outing], ["A", "R2"]);
});

test("a no has no Keep; Escape drops it; a task that stays is not asked about", async () => {
  const { send, board, at, has } = opened();
  board.show(told());
  at("D").focus();
  press(at("D"), "ArrowLeft", { altKey: true });
  await asked();
  board.moves.hear({ task: "D", outing: "R2", refused: "D does not go on R2: no room" });
  equal([has("board_keep"), board.aside.status.textContent], [null, "D does not go on R2: no room"]);
  press(at("D"), "Escape");
  equal([send.last().kind, board.aside.status.textContent], ["board_drop", ""]);
  const before = send.said.length;
  at("X").focus();
  press(at("X"), "ArrowRight", { altKey: true });
  await asked();
  equal(send.said.length, before);
  equal(board.aside.chosen.textContent.includes("It stays where it is."), true);
});

test("buttons try a chosen task on each other outing that takes one", async () => {
  const { send, board, at } = opened();
  board.show(told());
  at("C").focus();
  const tries = [...board.aside.box.querySelectorAll("[data-try]")];
  equal(
    tries.map(each => each.textContent),
    ["R1", "no outing"],
  );
  tries[1].click();
  await asked();
  equal(send.last(), { kind: "board_move", task: "C", outing: "" });
});

test("faults stand in place of the outings, and reading again brings these back", () => {
  const { send, board, has } = opened();
  board.show(told());
  const faults = { columns: ["table", "problem"], rows: [["backlog", ATTACK]] };
  board.show({ is_reading: false, faults });
  equal([board.faults.hidden, board.columns.children.length], [false, 0]);
  equal([board.faults.querySelectorAll("img").length, board.aside.findings.hidden], [0, true]);
  has("board_read").click();
  equal(send.last(), { kind: "board_read" });
  board.show(told());
  equal([board.faults.hidden, board.columns.children.length], [true, 4]);
});
