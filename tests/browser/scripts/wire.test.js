import { QUIET_WORDS, Wire } from "/static/wire.js";
import { equal, test } from "./check.js";

function opened(model) {
  const told = [];
  const root = document.createElement("div");
  const wire = new Wire(model, root, "a view", {
    onAct: () => told.push("act"),
    onQuiet: words => told.push(words),
    isKept: () => false,
  });
  return { wire, root, told };
}

test("what is sent has a number, and is answered in order", () => {
  const sent = [];
  const done = [];
  const { wire, root, told } = opened({ send: message => sent.push(message) });
  wire.send({ kind: "explain" }, () => done.push(1));
  wire.send({ kind: "undo" }, () => done.push(2));
  equal([sent.map(each => each.n), told, root.dataset.sent], [[1, 2], ["act"], "2"]);
  equal([wire.answered(null), done], [false, []]);
  equal([wire.answered(2), done, root.dataset.answered], [true, [1, 2], "2"]);
  clearTimeout(wire.timer);
});

test("a kernel that is gone is said to be, and whether what was typed is kept", () => {
  const send = () => {
    throw new Error("gone");
  };
  const { wire, told } = opened({ send });
  wire.send({ kind: "hello" });
  equal([told[0].startsWith(QUIET_WORDS), told[0].includes("could not be kept")], [true, true]);
});

test("a greeting that was lost is sent again until it is answered, and nothing else is", () => {
  const sent = [];
  const { wire } = opened({ send: message => sent.push(message) });
  wire.send({ kind: "hello" });
  wire.send({ kind: "explain" });
  wire.greetAgain();
  equal(
    sent.map(each => [each.kind, each.n]),
    [
      ["hello", 1],
      ["explain", 2],
      ["hello", 1],
    ],
  );
  wire.answered(2);
  wire.greetAgain();
  equal(sent.length, 3);
  clearTimeout(wire.timer);
});
