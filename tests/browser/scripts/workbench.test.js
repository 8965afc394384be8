import workbench from "/static/workbench.js";
import { equal, frame, placed, press, test } from "./check.js";
import { THEMES, sampleChart, sampleSchema, sampleSheets } from "./sample.js";

const LIBRARY_TEXT = await (await fetch("/library.js")).text();
const PET_ZERO = { first: 0, last: 6000000, at: 60000 };
const status = {
  undo: null,
  redo: null,
  unsaved: false,
  versions: [],
  baseline: "",
  against: "",
  head: [],
  pet_zero: PET_ZERO,
  old: [],
  faults: [],
  rev: 1,
};
const everything = () => ({
  kind: "all",
  chart: sampleChart(),
  themes: THEMES,
  schema: sampleSchema(),
  tables: sampleSheets(),
  ...status,
});

// A view as anywidget makes one; `tell` is the kernel, `said` what it hears.
function opened() {
  const said = [];
  const heard = new Set();
  const model = {
    send: message => said.push(message),
    set: () => {},
    on: (_kind, listen) => heard.add(listen),
    off: (_kind, listen) => heard.delete(listen),
  };
  const home = placed(document.createElement("div"));
  home.style.width = "950px";
  const close = workbench.render({ model, el: home });
  const tell = message => heard.forEach(listen => listen(message));
  return {
    home,
    root: home.firstChild,
    said,
    heard,
    model,
    tell,
    close,
    kinds: () => said.map(each => each.kind),
  };
}

const settled = async () => {
  await new Promise(done => {
    setTimeout(done, 50);
  });
  await frame();
};

test("a view says hello, and whether it needs the table library", async () => {
  const { said, tell, close, root } = opened();
  equal([said[0].kind, said[0].n, said[0].has_library], ["hello", 1, false]);
  tell({ kind: "library", text: "" });
  equal(root.querySelector(".pk-said").textContent, "The tables could not be loaded: run the cell again.");
  tell({ kind: "library", text: LIBRARY_TEXT }); // what comes next needs it
  tell(everything());
  equal(root.dataset.rev, "1");
  close();
  const second = opened();
  equal(second.said[0].has_library, true);
  second.close();
});

test("an answer is for the view that asked, or for all", async () => {
  const { said, tell, root, close } = opened();
  tell({ ...everything(), view: "another" });
  equal(root.dataset.rev, undefined);
  tell({ ...everything(), view: said[0].view });
  equal(root.dataset.rev, "1");
  close();
});

test("what is asked counts as open until it was answered", () => {
  const { tell, root, close } = opened();
  equal([root.dataset.sent, root.dataset.answered], ["1", undefined]);
  tell({ kind: "done", echo: null }); // told by itself
  equal(root.dataset.answered, undefined);
  tell({ kind: "done", echo: 1 });
  equal(root.dataset.answered, "1");
  close();
});

test("keys of the whole workbench, and none of them reaches the notebook", () => {
  const { root, kinds, tell, close } = opened();
  tell(everything());
  const heard = [];
  const listen = event => heard.push(event.key);
  document.body.addEventListener("keydown", listen);
  const desk = root.querySelector(".pk-side");
  press(desk, "z", { ctrlKey: true });
  press(desk, "Z", { ctrlKey: true, shiftKey: true });
  press(desk, "s", { altKey: true });
  press(desk, "a");
  press(desk, "s", { ctrlKey: true }); // the notebook saves itself
  document.body.removeEventListener("keydown", listen);
  equal([kinds().slice(1), heard], [["undo", "redo", "save", "snapshot"], ["s"]]);
  close();
});

test("a kernel that is gone is told at once", () => {
  const { root, model, close } = opened();
  model.send = () => {
    throw new Error("gone");
  };
  press(root.querySelector(".pk-side"), "s", { altKey: true });
  equal(root.querySelector(".pk-said").textContent.startsWith("The kernel does not answer."), true);
  close();
});

test("a step chosen in the chart is explained once", () => {
  const { root, said, tell, close } = opened();
  tell(everything());
  const chart = root.querySelector(".pk-chart");
  for (const key of ["ArrowRight", "ArrowRight", "ArrowLeft"]) press(chart, key);
  equal(
    said.filter(each => each.kind === "explain").map(each => each.step),
    ["A1", "B1", "A1"],
  );
  close();
});

test("the chart follows the theme of the page", async () => {
  const { root, tell, close } = opened();
  tell(everything());
  equal(root.dataset.theme, "light");
  document.body.dataset.jpThemeLight = "false";
  await settled();
  equal(root.dataset.theme, "dark");
  document.body.dataset.jpThemeLight = "true";
  close();
});

test("a choice is one choice: chart, findings and table", () => {
  const { root, said, tell, close } = opened();
  tell(everything());
  const found = step => ({ severity: "stop", check: "sun", step, message: "", minute: null });
  tell({ kind: "notes", findings: [found("C1"), found("A1")], margins: [] });
  root.querySelector("[data-finding='0']").click();
  equal(root.querySelector(".pk-chart").dataset.chosen, "C1");
  equal(root.querySelectorAll(".pk-of-chosen").length, 1);
  equal(said.at(-1), { ...said.at(-1), kind: "explain", step: "C1" });
  press(root.querySelector(".pk-chart"), "ArrowRight");
  equal(root.querySelectorAll(".pk-of-chosen").length, 0);
  close();
});

test("what moved is asked anew after an edit while it is looked at", () => {
  const { root, kinds, tell, close } = opened();
  tell(everything());
  root.querySelector("[data-side=moved]").click();
  tell({ kind: "patch", ...status, rev: 2, tables: {} });
  tell({ kind: "patch", ...status, rev: 2, tables: {} });
  equal(
    kinds().filter(each => each === "compare"),
    ["compare", "compare"],
  );
  close();
});

test("a kind of message that is not known is passed over", () => {
  const { tell, close } = opened();
  tell({ kind: "of a later version" });
  close();
});

test("a view that is closed listens no more", () => {
  const { heard, close } = opened();
  equal(heard.size, 1);
  close();
  equal(heard.size, 0);
});

test("an edit paints the chart anew, a patch without a chart does not", () => {
  const { root, tell, close } = opened();
  tell(everything());
  const painted = () => Number(root.querySelector(".pk-chart").dataset.painted);
  const before = painted();
  tell({ kind: "patch", ...status, rev: 2, tables: {}, chart: sampleChart({ end: 75 }) });
  tell({ kind: "patch", ...status, rev: 3, tables: {} });
  equal([painted(), root.dataset.rev], [before + 1, "3"]);
  close();
});

test("the head tells the tightest margin, and goes on telling it until another is told", () => {
  const { root, tell, close } = opened();
  tell(everything());
  const head = () => root.querySelector(".pk-tightest").textContent;
  const tightest = { words: "0.9 min at B3: night 1", all: "1 min later", level: "concern" };
  tell({ kind: "notes", findings: [], margins: [], tightest });
  tell({ kind: "patch", ...status, rev: 2, tables: {} });
  equal(head(), "Tightest: 0.9 min at B3: night 1");
  equal(root.querySelector(".pk-counts").getAttribute("aria-busy"), "true");
  equal(root.querySelector(".pk-tightest").title, "1 min later");
  const margins = [{ what: "night 1", left: "0.9 min", share: 0.2, note: "missed in 25 %", step: "B3" }];
  tell({ kind: "tightest", margins, tightest: null });
  equal(root.querySelector(".pk-tightest").hidden, true);
  equal(root.querySelector(".pk-margin .pk-source").textContent, "missed in 25 %");
  tell({ kind: "notes", findings: [], margins: [], tightest });
  equal(root.querySelector(".pk-counts").getAttribute("aria-busy"), "false");
  close();
});
