// The workbench while the crew is outside: a mode of the same page. Tables give way to the log; the chart,
// findings and margins are those of the plan as it is re-timed.

import { button, el } from "./dom.js";
import { OutsideChart } from "./outside_chart.js";
import { OutsideClock } from "./outside_clock.js";
import { OutsideConsole } from "./outside_console.js";
import { OutsideHome } from "./outside_home.js";
import { OutsideLog } from "./outside_log.js";
import { OutsideResponse } from "./outside_response.js";
import { OutsideSide } from "./outside_side.js";
import { Pages } from "./pages.js";
import { OUTSIDE_TABS, SIDE_TABS } from "./side.js";

// Least width and height of a console that is seen without a scroll, and of one where options and ways home
// stand beside the rest.
const CONSOLES = [
  ["roomy", 1240, 700],
  ["close", 1000, 560],
  ["long", 0, 0],
];
const ASIDE = ["options", "home"];

export class Outside {
  constructor(root, send, parts) {
    Object.assign(this, { root, send, ...parts });
    this.isOn = false;
    this.clock = new OutsideClock(send);
    this.console = new OutsideConsole(send, this.clock, step => parts.onStep(step));
    this.log = new OutsideLog(send, this.clock);
    this.aside = new OutsideSide(parts.side, send, this.clock);
    this.home = new OutsideHome(parts.side.panes.home, send, this.clock);
    this.dress = new OutsideChart(parts.chart, () => this.clock.minute);
    this.response = new OutsideResponse(send, this.clock);
    this.home.calls.append(this.response.call);
    this.clock.controls.append(this.dress.button);
    this.switch = el(
      "span",
      { class: "pk-group pk-modes", role: "group", "aria-label": "Mode" },
      button(
        "Planning",
        "Edit the plan",
        () => (this.isOn ? send({ kind: "planning" }) : parts.onPlanning?.()),
        { "data-mode-to": "planning" },
      ),
      button(
        "Outside",
        "Follow the outing: log, re-time, decide",
        () => this.isOn || send({ kind: "outside" }),
        { "data-mode-to": "outside" },
      ),
    );
    this.preview = el("div", { class: "pk-ask pk-preview", role: "status", hidden: true });
    this.box = el(
      "section",
      { class: "pk-outside", "aria-label": "Log of the outing" },
      this.console.box,
      el(
        "div",
        { class: "pk-log-side" },
        this.clock.book,
        new Pages(el("div", { class: "pk-log-pages" }, this.clock.standing, this.log.box)).parts,
      ),
      this.preview,
      this.home.preview,
      this.response.preview,
    );
    this.sizes = new ResizeObserver(() => this.fit());
    this.sizes.observe(root);
    this.timer = setInterval(() => this.tick(), 1000);
    this.setMode();
  }

  setMode() {
    this.root.dataset.mode = this.isOn ? "outside" : "planning";
    this.press();
    this.chart.isFixed = this.isOn;
    this.side.setTabs(this.isOn ? OUTSIDE_TABS : SIDE_TABS, this.isOn && this.isRoomy ? ASIDE : []);
  }

  press() {
    const now = this.isOn ? "outside" : (this.root.dataset.page ?? "planning");
    for (const each of this.switch.children)
      each.setAttribute("aria-pressed", String(each.dataset.modeTo === now));
  }

  // What is seen at once: by the room there is.
  fit() {
    const { clientWidth: width, clientHeight: height, dataset } = this.root;
    const [name] = CONSOLES.find(([, least, lowest]) => width >= least && height >= lowest);
    if (!width || dataset.console === name) return;
    dataset.console = name;
    if (this.isOn) this.setMode();
  }

  get isRoomy() {
    return this.root.dataset.console === "roomy";
  }

  show(message) {
    this.head = message.head;
    this.response.call.hidden = !message.has_responses;
    const isFirst = !this.isOn;
    this.isOn = true;
    if (isFirst) this.setMode();
    this.clock.show(message);
    if (message.chart) {
      this.dress.follow(isFirst, message.chart);
      this.chart.load(message.chart);
    } else this.dress.tick();
    this.console.show(message);
    this.log.show(message);
    this.toolbar.head.setFacts(message.head);
    this.setPreview(message.preview);
    this.root.dataset.outside = String(Number(this.root.dataset.outside ?? 0) + 1);
    if (isFirst) this.console.cards.values().next().value?.box.focus({ preventScroll: true });
  }

  setPreview(words) {
    this.root.classList.toggle("pk-is-preview", Boolean(words));
    this.preview.hidden = !words;
    if (!words) {
      this.preview.replaceChildren();
      return;
    }
    if (this.preview.dataset.words === words && this.preview.firstChild) return;
    this.preview.dataset.words = words;
    this.preview.replaceChildren(
      el(
        "span",
        {},
        el("strong", {}, `Preview: ${words}. `),
        "Nothing is decided. The ghosts show carrying on. ",
      ),
      button("Take", "Decide on it", () => this.aside.take({}), { "data-act": "decide" }),
      button("Back", "End the preview (Escape)", () => this.send({ kind: "look_away" }), {
        "data-act": "look-away",
      }),
    );
  }

  leave() {
    this.isOn = false;
    this.setPreview("");
    this.home.takeBack();
    this.response.close();
    this.dress.leave();
    this.setMode();
    this.root.querySelector("[data-mode-to=planning]").focus();
  }

  tick() {
    if (!this.isOn) return;
    this.clock.tick();
    this.dress.tick();
  }

  onKey(event) {
    if (!this.isOn || event.target.matches("input, select, textarea")) return false;
    if (event.key === "Escape" && !this.home.asked && !this.response.asked && !this.preview.hidden) {
      this.send({ kind: "look_away" });
      return true;
    }
    return (
      this.response.onKey(event) ||
      this.home.onKey(event) ||
      this.dress.onKey(event) ||
      this.console.onKey(event)
    );
  }

  stop() {
    clearInterval(this.timer);
    this.sizes.disconnect();
  }
}
