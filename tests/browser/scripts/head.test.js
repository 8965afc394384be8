import { Head } from "/static/head.js";
import { equal, placed, test } from "./check.js";
import { THEME } from "./sample.js";

const FACTS = [
  ["Both inside", "PET 6:16", ""],
  ["Planned 6:30", "0:14 left", ""],
];
const found = (severity, accepted = "") => ({ severity, accepted });

function opened() {
  const told = [];
  const head = new Head(
    { theme: THEME },
    {
      onCount: severity => told.push(severity),
      onMargin: () => told.push("margins"),
      onAgainst: () => told.push("against"),
      onFaults: () => told.push("faults"),
    },
  );
  placed(head.box);
  return { head, told, counts: () => [...head.counts.children].map(each => each.textContent) };
}

test("stops and concerns are counted in words, and accepted ones said to be", () => {
  const { head, counts } = opened();
  head.setFindings([]);
  equal([counts(), head.box.dataset.level], [["✓ no stops", "✓ no concerns"], "fine"]);
  head.setFindings([found("stop"), found("concern", "by A"), found("concern"), found("remark")]);
  equal(counts(), ["1 stop", "2 concerns, 1 accepted"]);
  equal([head.box.dataset.level, head.counts.querySelectorAll("svg").length], ["stop", 2]);
});

test("the head is as bad as the worst of limits, findings and faults", () => {
  const { head } = opened();
  head.setFindings([found("concern")]);
  equal(head.box.dataset.level, "concern");
  head.setFacts([["Hard 7:00", "0:05 over", "stop"]]);
  equal([head.box.dataset.level, head.told.querySelectorAll("svg").length], ["stop", 1]);
  head.setFacts(FACTS);
  head.setFaults([{}]);
  equal([head.box.dataset.level, head.counts.firstChild.textContent], ["stop", "1 fault"]);
  head.setFaults([]);
  equal(head.box.dataset.level, "concern");
});

test("counts of the plan before an edit are greyed until the new ones are there", () => {
  const { head } = opened();
  head.setOld(true);
  equal(
    [head.counts, head.tightest].map(each => each.getAttribute("aria-busy")),
    ["true", "true"],
  );
  head.setFindings([]);
  equal([head.counts.getAttribute("aria-busy"), head.counts.className], ["false", "pk-counts"]);
});

test("the change of the end names what it is held against, as text", () => {
  const { head, told } = opened();
  head.setFacts(FACTS, "<b>v</b>", "+0:12");
  equal(head.told.lastChild.textContent, "+0:12 against <b>v</b>");
  head.told.lastChild.click();
  head.setFindings([found("stop")]);
  head.counts.firstChild.click();
  head.setTightest({ words: "1 min", all: "1 min later", level: "concern" });
  head.tightest.click();
  equal(told, ["against", "stop", "margins"]);
  head.setFacts(FACTS);
  equal(head.told.children.length, 2);
});
