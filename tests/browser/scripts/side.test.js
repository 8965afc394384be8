import { OUTSIDE_TABS, SIDE_TABS, Side } from "/static/side.js";
import { equal, listener, placed, press, test } from "./check.js";
import { THEME } from "./sample.js";

const finding = (severity, step, more = {}) => ({
  severity,
  check: "sun",
  crew: "EV1",
  step,
  when: "at 0:10",
  message: "Too bright.",
  source: "",
  ...more,
});
const margin = (share, step = null) => ({
  what: "oxygen",
  left: "30 g",
  share,
  note: "cliff · PET 6:00",
  step,
});

function opened() {
  const told = [];
  const shown = [];
  const send = listener();
  const side = new Side(document.body, send, {
    onStep: step => told.push(step),
    onCell: (...where) => told.push(where),
    onOpen: name => shown.push(name),
  });
  placed(side.box);
  return { side, told, shown, said: send.said };
}

test("one pane is seen at a time, by press or by arrow", () => {
  const { side } = opened();
  const seen = () => Object.keys(side.panes).filter(name => !side.panes[name].hidden);
  equal(seen(), ["findings"]);
  side.tabs.querySelector("[data-side=why]").click();
  equal(seen(), ["why"]);
  press(side.tabs.querySelector("[data-side=why]"), "ArrowRight");
  equal([seen(), document.activeElement.dataset.side], [["actions"], "actions"]);
});

test("the tabs are others outside", () => {
  const { side } = opened();
  side.setTabs(OUTSIDE_TABS);
  equal(
    [...side.tabs.children].map(tab => tab.textContent),
    Object.values(OUTSIDE_TABS),
  );
  side.setTabs(SIDE_TABS);
  equal(side.current, "findings");
});

test("findings are counted, say their source, and lead to their step", () => {
  const { side, told } = opened();
  side.tell(
    { findings: [finding("stop", "A1 B1"), finding("remark", "", { source: "rule 7" })], margins: [] },
    THEME,
  );
  equal(side.tabs.firstChild.textContent, "Findings2");
  const [first, second] = side.panes.findings.querySelectorAll(".pk-item");
  equal(first.querySelector(".pk-item-head").textContent, "stop · sun · EV1 · A1 B1 · at 0:10");
  equal(second.textContent.includes("Source: rule 7"), true);
  first.click();
  second.click();
  equal(
    [told, second.classList.contains("pk-picked"), first.classList.contains("pk-picked")],
    [["A1"], true, false],
  );
});

test("no findings are said to be none", () => {
  const { side } = opened();
  side.tell({ findings: [], margins: [] }, THEME);
  equal([side.panes.findings.textContent, side.tabs.firstChild.textContent], ["No findings.", "Findings"]);
});

test("a margin is coloured by what is left of it, and drawn no further than its ends", () => {
  const { side } = opened();
  side.tell({ findings: [], margins: [-0.2, 0.05, 0.99, 1.4].map(share => margin(share)) }, THEME);
  const fills = [...side.panes.margins.querySelectorAll(".pk-fill")];
  equal(
    fills.map(each => each.className),
    ["pk-fill pk-over", "pk-fill pk-little", "pk-fill pk-little", "pk-fill pk-some"],
  );
  equal(
    fills.map(each => each.style.width),
    ["0%", "5%", "99%", "100%"],
  );
});

test("a margin of a step leads to it, another leads nowhere", () => {
  const { side, told } = opened();
  side.tell({ findings: [], margins: [margin(0.5, "A1"), margin(0.5)] }, THEME);
  const items = [...side.panes.margins.querySelectorAll(".pk-margin")];
  items.forEach(each => each.click());
  equal([items.map(each => each.tagName), told], [["BUTTON", "DIV"], ["A1"]]);
});

test("faults say that the chart is the last good plan, and lead to their cell", () => {
  const { side, told } = opened();
  side.setFaults([
    { where: "steps A1", value: "x", problem: "no number", sheet: "steps", line: 5, column: "minutes" },
    { where: "steps", value: "", problem: "empty", line: null },
  ]);
  equal(side.faultBox.querySelector("strong").textContent, "2 faults: the chart shows the last good plan");
  const links = side.faultBox.querySelectorAll("button");
  equal(links[0].textContent, "steps A1 “x”: no number");
  links.forEach(link => link.click());
  equal([told, side.faultBox.hidden], [[["steps", 5, "minutes"]], false]);
  side.setFaults([]);
  equal(side.faultBox.hidden, true);
});

test("what the plan is held against is chosen once, and what moved is told", () => {
  const { side, said } = opened();
  side.setAgainst(["as loaded", "v"], "");
  side.compared({ name: "" });
  equal(side.moved.textContent.startsWith("Choose a version"), true);
  side.against.value = "v";
  side.against.dispatchEvent(new Event("change"));
  equal(said, [{ kind: "baseline", name: "v" }]);
  const typed = { columns: [], rows: [] };
  side.compared({ name: "v", moved: { columns: ["step"], rows: [["A1"]] }, typed });
  equal([side.current, side.moved.querySelector("td").textContent], ["findings", "A1"]);
  side.compared({ name: "v", moved: null, typed });
  equal(side.moved.textContent.includes("That version holds faults"), true);
});

test("what is said of the chosen step is marked, also when it is told anew", () => {
  const { side } = opened();
  const findings = [finding("stop", "A1 B1"), finding("remark", "A2")];
  const marked = () => side.box.querySelectorAll(".pk-of-chosen").length;
  side.tell({ findings, margins: [margin(0.5, "B1"), margin(0.5)] }, THEME);
  side.mark("B1", true);
  equal(marked(), 2);
  side.tell({ findings, margins: [] }, THEME);
  equal(marked(), 1);
  side.mark(null);
  equal(marked(), 0);
});

test("a pane that is asked for is said to be open, one that is only shown is not", () => {
  const { side, shown } = opened();
  side.tell({ findings: [finding("remark", ""), finding("stop", "A1")], margins: [] }, THEME);
  side.setTabs(OUTSIDE_TABS);
  side.setTabs(SIDE_TABS);
  equal(shown, []);
  side.openAt("stop");
  equal([shown, document.activeElement.dataset.finding], [["findings"], "1"]);
  side.open("margins");
  side.setTabs(OUTSIDE_TABS);
  side.setTabs(SIDE_TABS);
  equal(side.current, "margins");
});

test("why is told as facts and lines", () => {
  const { side } = opened();
  side.why({ facts: [["start", "0:20"]], lines: ["after A1"] });
  equal(
    [side.panes.why.querySelector("dt").textContent, side.panes.why.querySelector("li").textContent],
    ["start", "after A1"],
  );
});

test("what stands above the tabs is in view whatever is open, and has no tab", () => {
  const { side } = opened();
  side.setTabs(OUTSIDE_TABS, ["options", "home"]);
  const seen = () => Object.keys(side.panes).filter(name => !side.panes[name].hidden);
  equal(
    [seen(), [...side.tabs.children].map(tab => tab.dataset.side)],
    [
      ["findings", "options", "home"],
      ["findings", "margins", "why", "actions"],
    ],
  );
  side.open("home");
  equal(side.current, "findings");
  side.setTabs(OUTSIDE_TABS);
  equal([seen(), side.tabs.children.length], [["findings"], 6]);
});
