import { boardAct, cardBeside, Moves, outingBeside, placeOf } from "/static/board_moves.js";
import { equal, listener, test } from "./check.js";

const card = (task, canMove = true) => ({ task, can_move: canMove });
const COLUMNS = [
  { outing: "R1", takes: true, cards: [card("A"), card("B"), card("C")] },
  { outing: "R2", takes: false, cards: [] },
  { outing: "R3", takes: true, cards: [card("D")] },
  { outing: "", takes: true, cards: [card("E"), card("F")] },
];
const waited = () =>
  new Promise(done => {
    setTimeout(done, 150);
  });

test("keys choose, move, answer and drop; with others held they are somebody else's", () => {
  equal(boardAct({ key: "ArrowDown" }), { act: "choose", key: "ArrowDown" });
  equal(boardAct({ key: "ArrowRight", altKey: true }), { act: "move", by: 1 });
  equal(boardAct({ key: "ArrowUp", altKey: true }), null);
  equal([boardAct({ key: "Enter" }).act, boardAct({ key: "Escape" }).act], ["answer", "drop"]);
  equal(
    [boardAct({ key: "z", ctrlKey: true }), boardAct({ key: "ArrowLeft", shiftKey: true })],
    [null, null],
  );
});

test("an arrow leads to the card beside, past a column that has none", () => {
  const from = { outing: "R1", task: "C" };
  equal(cardBeside(COLUMNS, from, "ArrowUp"), { outing: "R1", task: "B" });
  equal(cardBeside(COLUMNS, from, "ArrowDown"), null);
  equal(cardBeside(COLUMNS, from, "ArrowRight"), { outing: "R3", task: "D" });
  equal(cardBeside(COLUMNS, { outing: "", task: "F" }, "ArrowRight"), null);
  equal(cardBeside(COLUMNS, { outing: "gone", task: "F" }, "ArrowLeft"), null);
});

test("a card goes past an outing that takes none, to no outing at the end and no further", () => {
  equal(outingBeside(COLUMNS, "R1", 1), "R3");
  equal(outingBeside(COLUMNS, "R3", 1), "");
  equal(outingBeside(COLUMNS, "", 1), "");
  equal(outingBeside(COLUMNS, "R1", -1), "R1");
});

test("a task that has left its outing is found where it is, rather where it can be moved", () => {
  equal(placeOf(COLUMNS, { outing: "R1", task: "D" }).outing, "R3");
  equal(placeOf(COLUMNS, { outing: "R1", task: "gone" }), null);
  equal(placeOf(COLUMNS, null), null);
  const both = [
    { outing: "R0", cards: [card("E", false)] },
    { outing: "", cards: [card("E")] },
  ];
  equal(placeOf(both, { outing: "R9", task: "E" }).outing, "");
});

test("one move is asked about at a time, and only the newest of those that waited", async () => {
  const send = listener();
  const moves = new Moves(send, () => {});
  moves.ask({ task: "A", outing: "R2" }); // the hand passes over it
  moves.ask({ task: "A", outing: "R3" });
  await waited();
  equal(send.said, [{ kind: "board_move", task: "A", outing: "R3" }]);
  moves.ask({ task: "A", outing: "" });
  await waited();
  equal(send.said.length, 1);
  moves.hear({ task: "A", outing: "R3", head: "of the old one" });
  equal([moves.answer, send.last().outing], [null, ""]);
  moves.hear({ task: "A", outing: "", head: "told" });
  equal(moves.answer.head, "told");
});

test("with other plans it is asked again; taken back, a late answer is nobody's", async () => {
  const send = listener();
  const moves = new Moves(send, () => {});
  moves.want({ task: "A", outing: "R3" });
  moves.hear({ task: "A", outing: "R3", head: "old" });
  moves.renew({ task: "A" });
  equal([moves.answer, send.said.length], [null, 2]);
  moves.ask(null);
  equal(send.last(), { kind: "board_drop" });
  moves.hear({ task: "A", outing: "R3", head: "late" });
  await waited();
  equal([moves.answer, moves.wanted, send.said.length], [null, null, 3]);
  moves.want({ task: "A", outing: "R3" });
  moves.renew(null); // the campaign cannot be read any more
  equal([moves.wanted, send.said.length], [null, 4]);
});
