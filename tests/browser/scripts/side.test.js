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
  const side = new Side(document.body, listener(), {
    onStep: step => told.push(step),
    onCell: (...where) => told.push(where),
  });
  placed(side.box);
  return { side, told };
}

test("one pane is seen at a time, by press or by arrow", () => {
  const { side } = opened();
  const seen = () => Object.keys(side.panes).filter(name => !side.panes[name].hidden);
  equal(seen(), ["findings"]);
  side.tabs.querySelector("[data-side=why]").click();
  equal(seen(), ["why"]);
  press(side.tabs.querySelector("[data-side=why]"), "ArrowRight");
  equal([seen(), document.activeElement.dataset.side], [["moved"], "moved"]);
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
  equal([told, side.box.classList.contains("pk-is-old")], [[["steps", 5, "minutes"]], true]);
  side.setFaults([]);
  equal([side.faultBox.hidden, side.box.classList.contains("pk-is-old")], [true, false]);
});

test("two versions are compared by what moved and what is typed", () => {
  const { side } = opened();
  side.compared({
    name: "v",
    moved: { columns: ["step"], rows: [["A1"]] },
    typed: { columns: [], rows: [] },
  });
  equal([side.current, side.panes.moved.querySelector("td").textContent], ["moved", "A1"]);
  side.compared({ name: "v", moved: null, typed: { columns: [], rows: [] } });
  equal(side.panes.moved.textContent.includes("That version holds faults"), true);
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
  equal([seen(), [...side.tabs.children].map(tab => tab.dataset.side)], [
    ["findings", "options", "home"],
    ["findings", "margins", "why"],
  ]);
  side.open("home");
  equal(side.current, "findings");
  side.setTabs(OUTSIDE_TABS);
  equal([seen(), side.tabs.children.length], [["findings"], 5]);
});
