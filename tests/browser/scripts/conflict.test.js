import { ConflictPanel } from "/static/conflict.js";
import { equal, listener, placed, test } from "./check.js";

const clash = (row, choice = null) => ({
  table: "steps",
  row,
  column: "minutes",
  was: "20",
  yours: "25",
  theirs: "",
  where: ["steps", row, "minutes"],
  choice,
});
const TAKEN = ["steps", "C1", "title", "Count", "Count all"];

function opened(message) {
  const send = listener();
  const closed = [];
  const panel = new ConflictPanel(message, send, () => closed.push(true));
  placed(panel.box);
  const press = act => panel.box.querySelector(`[data-act=${act}], [data-all=${act}]`).click();
  return { panel, press, closed, said: send.said };
}

test("nothing is merged before every clash has its choice", () => {
  const { panel, press, said } = opened({ taken: [], clashes: [clash("A1"), clash("B1")] });
  press("merge");
  equal([said, panel.left.textContent, panel.merge.ariaDisabled], [[], "2 to choose", "true"]);
  panel.box.querySelectorAll("input[value=theirs]")[0].click();
  equal([panel.left.textContent, panel.merge.ariaDisabled], ["1 to choose", "true"]);
});

test("each clash goes to the kernel with its own choice", () => {
  const { panel, press, said, closed } = opened({ taken: [], clashes: [clash("A1"), clash("B1")] });
  panel.box.querySelectorAll("input[value=theirs]")[0].click();
  panel.box.querySelectorAll("input[value=yours]")[1].click();
  press("merge");
  equal(said, [
    {
      kind: "merge",
      choices: [
        ["steps", "A1", "minutes", "theirs"],
        ["steps", "B1", "minutes", "yours"],
      ],
    },
  ]);
  equal(closed.length, 1);
});

test("one press chooses a side everywhere, and can be overruled", () => {
  const { panel, press, said } = opened({ taken: [], clashes: [clash("A1"), clash("B1")] });
  press("yours");
  equal(
    [...panel.box.querySelectorAll("input:checked")].map(each => each.value),
    ["yours", "yours"],
  );
  panel.box.querySelectorAll("input[value=theirs]")[1].click();
  press("merge");
  equal(
    said[0].choices.map(each => each[3]),
    ["yours", "theirs"],
  );
});

test("a choice that was made before is kept", () => {
  const { panel } = opened({ taken: [], clashes: [clash("A1", "theirs")] });
  equal([panel.left.textContent, panel.box.querySelector("input[value=theirs]").checked], ["", true]);
});

test("what of theirs is taken is told, and how many", () => {
  const words = taken => opened({ taken, clashes: [] }).panel.box.textContent;
  equal(words([TAKEN]).includes("1 change of theirs touches nothing that you changed"), true);
  equal(words([TAKEN, TAKEN]).includes("2 changes of theirs touch nothing"), true);
  equal(words([]).includes("They changed nothing else"), true);
});

test("an empty side says so", () => {
  const { panel } = opened({ taken: [], clashes: [clash("A1")] });
  equal(
    [...panel.box.querySelectorAll("label")].map(each => each.textContent.trim()),
    ["25", "empty"],
  );
});

test("a folder that cannot be read is not merged, but shown", () => {
  const { panel } = opened({
    problem: "steps: no number",
    sides: { columns: ["yours", "theirs"], rows: [["25", "x"]] },
  });
  equal(
    [panel.box.querySelector("[data-act=merge]"), panel.box.textContent.includes("steps: no number")],
    [null, true],
  );
});
