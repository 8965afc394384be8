// The whole widget: parts, messages, keys. `render` is what anywidget calls for each view.

import { PlanChart } from "./chart.js";
import { FocusKeeper, el } from "./dom.js";
import { benchAct } from "./keys.js";
import { Outside } from "./outside.js";
import { Side } from "./side.js";
import { LIBRARY, loadLibrary } from "./table_grid.js";
import { lineOf } from "./table_rows.js";
import { Tables } from "./tables.js";
import { Toolbar } from "./toolbar.js";

const ANSWER_MS = 15000;
const NO_LIBRARY = { level: "bad", text: "The tables could not be loaded: run the cell again." };
const QUIET_WORDS = "The kernel does not answer. ";
// Not the planner's own acts: what was said stays.
const QUIET_KINDS = ["hello", "explain", "snapshot", "candidate", "consequences"];

function render({ model, el: home }) {
  const root = el("div", { class: "pk-workbench", "data-lm-suppress-shortcuts": "true" });
  const view = Math.random().toString(36).slice(2);
  let number = 0;
  const waiting = new Map();
  let timer = null;
  let isLoaded = false;
  const send = (message, then) => {
    number += 1;
    waiting.set(number, { at: performance.now(), then });
    root.dataset.sent = String(number);
    if (!QUIET_KINDS.includes(message.kind)) toolbar.hush();
    clearTimeout(timer);
    try {
      model.send({ ...message, n: number, view });
    } catch {
      quiet(); // the kernel was restarted: nobody listens
      return;
    }
    wait();
  };
  const wait = () => {
    clearTimeout(timer);
    timer = setTimeout(() => waiting.size && quiet(), ANSWER_MS);
  };
  const quiet = () => {
    const kept =
      toolbar.isKept === false
        ? "What you typed could not be kept on disk: wait for the kernel."
        : "What you typed until its last answer is kept on disk: " +
          "restart the kernel, run this cell again and choose Restore.";
    toolbar.say({ level: "bad", text: QUIET_WORDS + kept });
  };

  const chart = new PlanChart(root, send, {
    onChoose: step => {
      if (outside.isOn) outside.console.pick(step);
      else tables.showStep(step);
      explain(step);
    },
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
  const tables = new Tables(root, send, step => {
    if (step && step !== chart.selected) {
      chart.choose(step, false);
      explain(step);
    }
  });
  const side = new Side(root, send, {
    onCell: (sheet, line, column) => tables.show(sheet, line, column),
    onStep: step => {
      chart.choose(step);
      side.open("why");
      explain(step);
    },
  });
  const toolbar = new Toolbar(send, chart);
  const outside = new Outside(root, send, {
    chart,
    side,
    toolbar,
    onStep: step => {
      chart.choose(step);
      side.open("why");
      explain(step);
    },
  });
  let explained = null;
  const explain = step => {
    if (step !== explained) {
      explained = step;
      send({ kind: "explain", step });
    }
  };

  root.append(
    el(
      "div",
      { class: "pk-desk" },
      el(
        "div",
        { class: "pk-top" },
        toolbar.box,
        toolbar.asks,
        toolbar.clash,
        el(
          "div",
          { class: "pk-second" },
          toolbar.pet_zero.box,
          toolbar.head,
          el("span", { class: "pk-group pk-right" }, outside.switch, toolbar.zoom),
        ),
        outside.clock.box,
        toolbar.said,
        outside.preview,
      ),
      chart.box,
      tables.box,
      outside.box,
      side.box,
      el(
        "p",
        { class: "pk-caution" },
        "A planning aid, not a certified tool: the flight rules and licensed, responsible people decide. " +
          "Limits are the scenario's own.",
      ),
    ),
  );
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
      tables.patch(message);
      if (message.chart && !outside.isOn) {
        chart.load(message.chart);
        explained = null;
      }
      show(message);
    },
    done: message => answered(message.echo),
    notes: message => {
      if (isLoaded) {
        chart.tell(message);
        side.tell(message, chart.theme);
        toolbar.setTightest(message.tightest);
        if (side.current === "why" && chart.selected) explain(chart.selected);
      }
    },
    tightest: message => {
      if (isLoaded) {
        side.tellMargins(message.margins);
        toolbar.setTightest(message.tightest);
      }
    },
    said: message => toolbar.say(message),
    focus: message => tables.show(message.sheet, message.line, null),
    left: message => toolbar.offer(message),
    conflict: message => toolbar.conflict(message),
    why: message => side.why(message),
    candidate: message => chart.candidate.hear(message),
    consequences: message => chart.candidate.hear(message),
    compared: message => side.compared(message),
    work: message =>
      ({
        sweep: toolbar.pet_zero.swept.bind(toolbar.pet_zero),
        odds: side.odds.told.bind(side.odds),
        order: side.order.told.bind(side.order),
      })[message.work](message),
    outside: message => {
      if (isLoaded) {
        outside.show(message);
        explained = null;
      }
    },
    outside_log: message => outside.log.tell(message),
    outside_home: message => outside.aside.tellHome(message),
    options: message => outside.aside.tellOptions(message),
    planning: () => outside.leave(),
  };
  const show = message => {
    toolbar.show(message);
    if (outside.isOn) toolbar.setHead(outside.head);
    side.setFaults(message.faults);
    side.setOld(message.old);
    toolbar.pet_zero.sweep.setOld(message.old.includes("sweep"), toolbar.pet_zero.strip);
    root.dataset.rev = String(message.rev);
  };
  const keeper = new FocusKeeper(root, last =>
    last.closest(".pk-top")
      ? () => toolbar.save
      : last.closest(".pk-side")
        ? () => side.tabs.querySelector("[aria-selected=true]")
        : last.closest(".pk-tables")
          ? () => tables.holder()
          : () => last.closest(".pk-lane-card") ?? (outside.isOn ? outside.log.box : chart.canvas),
  );
  const answered = echo => {
    if (echo === null || echo === undefined) return; // told by itself, in answer to nothing
    if (toolbar.said.textContent.startsWith(QUIET_WORDS)) toolbar.hush();
    for (const [sent, each] of waiting)
      if (sent <= echo) {
        waiting.delete(sent);
        each.then?.();
      }
    if (waiting.size) wait();
    root.dataset.answered = String(echo);
  };
  // In order, and none before the table library is there: another view may have loaded it while messages of
  // this one still wait for theirs, so what comes later waits behind them.
  let before = Promise.resolve();
  let queued = 0;
  const inTurn = work => {
    queued += 1;
    before = before.then(work).finally(() => {
      queued -= 1;
    });
  };
  const onMessage = message => {
    if (message.view && message.view !== view) return; // an answer for another view of this workbench
    const load = () => loadLibrary(message.text).catch(() => toolbar.say(NO_LIBRARY));
    if (message.kind === "library") inTurn(load);
    else if (window[LIBRARY] && !queued) told[message.kind]?.(message);
    else inTurn(() => told[message.kind]?.(message));
  };
  model.on("msg:custom", onMessage);

  root.addEventListener("keydown", event => {
    const isTyping = event.target.matches("input:not([type=range]), textarea");
    const act = benchAct(event, isTyping);
    if (act) {
      send({ kind: act });
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
    if (side.notes) side.tell(side.notes, chart.theme);
  };
  const themes = new MutationObserver(theme);
  themes.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-light"] });
  const sizes = new ResizeObserver(
    () => (chart.isBehind || chart.box.clientWidth !== chart.width) && chart.paint(),
  );
  sizes.observe(root);
  root.dataset.theme = document.body.dataset.jpThemeLight === "false" ? "dark" : "light";
  send({ kind: "hello", has_library: Boolean(window[LIBRARY]) });
  return () => {
    model.off("msg:custom", onMessage);
    themes.disconnect();
    sizes.disconnect();
    keeper.stop();
    outside.stop();
  };
}

export default { render };
