// The whole widget: parts, messages, keys. `render` is what anywidget calls for each view.

import { Board } from "./board.js";
import { PlanChart } from "./chart.js";
import { FocusKeeper, el, oneStop } from "./dom.js";
import { hearAlways } from "./hearing.js";
import { benchAct } from "./keys.js";
import { Layout } from "./layout.js";
import { Outside } from "./outside.js";
import { CAUTION, download, pageOf } from "./page.js";
import { Side } from "./side.js";
import { LIBRARY, loadLibrary } from "./table_grid.js";
import { lineOf } from "./table_rows.js";
import { Tables } from "./tables.js";
import { Toolbar } from "./toolbar.js";
import { QUIET_WORDS, Wire } from "./wire.js";

const NO_LIBRARY = { level: "bad", text: "The tables could not be loaded: run the cell again." };

function render({ model, el: home }) {
  const root = el("div", { class: "pk-workbench", "data-lm-suppress-shortcuts": "true" });
  const view = Math.random().toString(36).slice(2);
  let isLoaded = false;
  const wire = new Wire(model, root, view, {
    onAct: () => toolbar.hush(),
    onQuiet: words => toolbar.say({ level: "bad", text: words }),
    isKept: () => toolbar.isKept !== false,
  });
  const send = (message, then) => wire.send(message, then);
  // A choice is one choice in the chart, the table, the findings and what is explained.
  const choose = (step, from) => {
    if (from !== chart) chart.choose(step, false);
    if (outside.isOn) outside.console.pick(step);
    else if (from !== tables) tables.showStep(step);
    side.mark(step, from !== side);
    side.actions.show(tables.sheets, step, outside.isOn);
    explain(step);
  };
  const chart = new PlanChart(root, send, {
    onChoose: step => choose(step, chart),
    onOpen: step => {
      if (outside.isOn) {
        side.open("why");
        outside.console.goTo(step);
        return;
      }
      const line = lineOf(tables.sheets.steps, "step", step);
      if (line !== undefined) tables.show("steps", line, "step");
    },
    onFinding: at => side.pick(at),
    onRefused: text => toolbar.say({ level: "bad", text }),
  });
  const tables = new Tables(root, send, step => step && step !== chart.selected && choose(step, tables));
  const side = new Side(root, send, {
    onCell: (sheet, line, column) => tables.show(sheet, line, column),
    onStep: step => choose(step, side),
    onOpen: name => {
      layout.fold(false);
      if (name === "moved") send({ kind: "compare" });
    },
  });
  const toolbar = new Toolbar(root, send, chart, {
    acts: [
      ["page", "Save the screen as one page (HTML)", () => savePage()],
      ["svg", "Save the chart as a picture (SVG)", () => chart.saveSvg()],
      ["png", "Save the chart as a picture (PNG)", () => chart.savePng()],
    ],
    events: {
      onCount: severity => side.openAt(severity),
      onMargin: () => side.open("margins"),
      onAgainst: () => {
        side.open("moved");
        side.against.focus();
      },
      onFaults: () => {
        layout.fold(false);
        side.faultBox.querySelector("button").focus();
      },
    },
  });
  const outside = new Outside(root, send, {
    chart,
    side,
    toolbar,
    onStep: step => {
      choose(step, outside);
      side.open("why");
    },
    onPlanning: () => board.close(),
  });
  const board = new Board(root, send, { onPage: () => outside.press(), theme: () => chart.theme });
  outside.switch.lastChild.before(board.button);
  const layout = new Layout(root, side);
  const savePage = () => download(new Blob([pageOf(parts)], { type: "text/html" }), `${folder}.html`);
  const parts = { root, head: toolbar.head, chart, side, tables };
  let folder = "workbench";
  let explained = null;
  let chosenBefore = null; // when the table was last seen
  const explain = step => {
    if (step !== explained) {
      explained = step;
      send({ kind: "explain", step });
    }
  };

  const desk = el(
    "div",
    { class: "pk-desk" },
    el(
      "div",
      { class: "pk-top" },
      el(
        "div",
        { class: "pk-second" },
        oneStop(toolbar.head.box),
        outside.home.calls,
        oneStop(el("span", { class: "pk-group pk-right" }, outside.switch, layout.full)),
      ),
      toolbar.box,
      toolbar.asks,
      toolbar.clash,
      outside.clock.box,
      toolbar.said,
    ),
    chart.box,
    layout.split,
    tables.box,
    outside.box,
    layout.edge,
    side.box,
    tables.asides,
    board.box,
    el("p", { class: "pk-caution", title: CAUTION }, CAUTION),
  );
  root.append(desk);
  layout.hold(desk, chart.box, tables.box);
  home.append(root);
  home.closest(".jp-OutputArea-output")?.style.setProperty("overflow", "visible");

  const told = {
    all: message => {
      isLoaded = true;
      chart.load(message.chart, message.themes);
      tables.load(message);
      show(message);
    },
    patch: message => {
      if (!isLoaded) return;
      // The chart first: it measures its room, which is quick while nothing else has been touched.
      if (message.chart && !outside.isOn) {
        chart.load(message.chart);
        explained = null;
      }
      tables.patch(message);
      if (message.tables.actions) side.actions.show(tables.sheets, chart.selected, outside.isOn);
      show(message);
    },
    done: ({ echo }) => {
      if (wire.answered(echo) && toolbar.said.textContent.startsWith(QUIET_WORDS)) toolbar.hush();
    },
    notes: message => {
      if (isLoaded) {
        chart.tell(message);
        side.tell(message, chart.theme);
        toolbar.head.setFindings(message.findings);
        toolbar.head.setTightest(message.tightest);
        if (side.current === "why" && chart.selected) explain(chart.selected);
      }
    },
    tightest: message => {
      if (isLoaded) {
        side.tellMargins(message.margins);
        toolbar.head.setTightest(message.tightest);
      }
    },
    stand: () => layout.stand(),
    said: message => toolbar.say(message),
    focus: message => tables.show(message.sheet, message.line, null, message.is_new),
    columns: message => message.by !== view && tables.columns.set(message.sheet, message.look, false),
    left: message => toolbar.offer(message),
    conflict: message => toolbar.conflict(message),
    why: message => side.why(message),
    candidate: message => chart.candidate.hear(message),
    consequences: message => chart.candidate.hear(message),
    board: message => board.show(message),
    board_answer: message => board.moves.hear(message),
    board_look: message => board.looks.hear(message),
    compared: message => side.compared(message),
    work: message =>
      ({
        sweep: toolbar.pet_zero.swept.bind(toolbar.pet_zero),
        odds: side.odds.told.bind(side.odds),
        order: side.order.told.bind(side.order),
      })[message.work](message),
    outside: message => {
      if (isLoaded) {
        toolbar.head.setOld(true);
        board.close();
        if (!outside.isOn) layout.putAside(true);
        chosenBefore = outside.isOn ? chosenBefore : chart.selected;
        outside.show(message);
        explained = null;
      }
    },
    outside_log: message => outside.log.tell(message),
    outside_home: message => {
      outside.home.tell(message);
      outside.response.refresh();
    },
    response: message => outside.response.tell(message),
    options: message => outside.aside.tellOptions(message),
    planning: () => {
      outside.leave();
      layout.putAside(false);
      if (chart.selected !== chosenBefore) tables.showStep(chart.selected);
    },
  };
  const show = message => {
    toolbar.show(message);
    if (outside.isOn) toolbar.head.setFacts(outside.head);
    folder = message.folder ?? folder;
    side.setFaults(message.faults);
    side.setAgainst(message.versions, message.baseline);
    side.setOld(message.old);
    toolbar.pet_zero.sweep.setOld(message.old.includes("sweep"), toolbar.pet_zero.strip);
    if (root.dataset.rev === String(message.rev)) return;
    root.dataset.rev = String(message.rev); // something changed: its findings follow
    toolbar.head.setOld(true);
    if (side.current === "moved") send({ kind: "compare" });
  };
  const keeper = new FocusKeeper(root, last =>
    last.closest(".pk-top")
      ? () => toolbar.save
      : last.closest(".pk-board")
        ? () => (board.isOn ? (board.nodeOf(board.chosen) ?? board.aside.read) : toolbar.save)
        : last.closest(".pk-side")
          ? () => side.tabs.querySelector("[aria-selected=true]")
          : last.closest(".pk-tables, .pk-form, .pk-columns")
            ? () => tables.holder()
            : () => last.closest(".pk-lane-card") ?? (outside.isOn ? outside.log.box : chart.canvas),
  );
  const onMessage = message => {
    if (message.view && message.view !== view) return; // an answer for another view of this workbench
    if (message.kind !== "library") told[message.kind]?.(message);
    else if (!loadLibrary(message.text)) toolbar.say(NO_LIBRARY);
  };
  hearAlways(model);
  model.on("msg:custom", onMessage);

  root.addEventListener("keydown", event => {
    const isTyping = event.target.matches("input:not([type=range]), textarea");
    const act = benchAct(event, isTyping);
    if (act && !event.defaultPrevented) {
      if (act === "keys") toolbar.showKeys();
      else send({ kind: act });
      event.preventDefault();
    }
    if (outside.onKey(event)) event.preventDefault();
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") {
      send({ kind: "snapshot" }); // the notebook saves itself
      return;
    }
    event.stopPropagation();
  });

  const theme = () => {
    const isDark = document.body.dataset.jpThemeLight === "false";
    if (root.dataset.theme === (isDark ? "dark" : "light")) return;
    root.dataset.theme = isDark ? "dark" : "light";
    chart.paint();
    board.paint();
    if (!side.notes) return;
    side.tell(side.notes, chart.theme);
    toolbar.head.setFacts(...toolbar.head.shown);
    toolbar.head.paintCounts();
  };
  const themes = new MutationObserver(theme);
  themes.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-light"] });
  root.dataset.theme = document.body.dataset.jpThemeLight === "false" ? "dark" : "light";
  send({ kind: "hello", has_library: Boolean(window[LIBRARY]) });
  return () => {
    model.off("msg:custom", onMessage);
    themes.disconnect();
    chart.stop();
    layout.stop();
    keeper.stop();
    outside.stop();
  };
}

export default { render };
