import { BoardAside, nameOf } from "/static/board_aside.js";
import { equal, test } from "./check.js";
import { THEME } from "./sample.js";

test("what comes of a move is told outing by outing, its severities by a sign", () => {
  const aside = new BoardAside({});
  const lines = [
    ["", "the end stays 3:50"],
    ["concern", "new concerns: 1"],
  ];
  const answer = {
    head: "A on R2",
    keep: "Saves R2, R3",
    parts: [{ outing: "R3", words: "begins later", lines }],
  };
  aside.setMove({ wanted: { task: "A", outing: "R2" }, answer: null }, THEME);
  equal(aside.status.textContent, "A on R2: what comes of it is worked out …");
  aside.setMove({ wanted: { task: "A", outing: "R2" }, answer }, THEME);
  equal(aside.status.textContent, "A on R2");
  equal(aside.answer.querySelector("h4").textContent, "R3: begins later");
  equal(
    [...aside.answer.querySelectorAll("li")].map(each => [
      each.textContent,
      each.querySelectorAll("svg").length,
    ]),
    [
      ["the end stays 3:50", 0],
      ["new concerns: 1", 1],
    ],
  );
  equal(aside.answer.textContent.includes("Saves R2, R3"), true);
  aside.setMove({ wanted: null, answer: null }, THEME);
  equal([aside.status.textContent, aside.answer.childElementCount], ["", 0]);
  equal([nameOf(""), nameOf("R1")], ["no outing", "R1"]);
});
