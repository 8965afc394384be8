// How the workbench fills what it is given: height and width, shares of chart, tables and side, full screen.
// What the planner chose is kept while the page is open, where the browser keeps anything.

import { button, el, frameOf, svg } from "./dom.js";

const KEPT = "planning_kit layout";
const STEP = 0.03;
const NARROW_PX = 900;
const SHORT_PX = 430;
const LEAST_PX = 236; // below, the page scrolls
const AROUND_PX = 8;
// Of the height and of the width: where it begins, and how far the splitter goes, by its keys.
const SHARES = {
  chart: { first: 0.56, least: 0.2, most: 0.8, keys: { ArrowDown: STEP, ArrowUp: -STEP } },
  side: { first: 0.27, least: 0.15, most: 0.5, keys: { ArrowLeft: STEP, ArrowRight: -STEP } },
};
const TOUCHES = ["wheel", "pointerdown", "keydown", "touchstart"];

function kept() {
  try {
    return JSON.parse(sessionStorage.getItem(KEPT)) ?? {};
  } catch {
    return {}; // forbidden, or of a later version
  }
}

export class Layout {
  constructor(root, side) {
    Object.assign(this, { root, side, chosen: kept() });
    this.split = this.splitter("chart", "Chart and tables", event => {
      const { top } = this.chart.getBoundingClientRect();
      return (event.clientY - top) / (this.tables.getBoundingClientRect().bottom - top);
    });
    this.edge = this.splitter("side", "Findings and plan", event => {
      const { right, width } = this.desk.getBoundingClientRect();
      return (right - event.clientX) / width;
    });
    this.full = button("", "Full screen, and back (Escape)", () => this.toggleFull(), {
      "aria-label": "Full screen",
      "aria-pressed": "false",
      "data-act": "full_screen",
    });
    const corners = "M1 5V1h4M9 1h4v4M13 9v4H9M5 13H1V9";
    this.full.append(svg("svg", { viewBox: "0 0 14 14", class: "pk-icon" }, svg("path", { d: corners })));
    side.fold.addEventListener("click", () => this.fold(root.dataset.side !== "folded"));
    this.fit = this.fit.bind(this);
    this.sizes = new ResizeObserver(this.fit);
    this.sizes.observe(root);
    document.addEventListener("fullscreenchange", this.fit);
    window.addEventListener("resize", this.fit);
    this.touched = () => {
      this.isTouched = true;
      for (const kind of TOUCHES) window.removeEventListener(kind, this.touched, true);
    };
    for (const kind of TOUCHES) window.addEventListener(kind, this.touched, { capture: true, passive: true });
    for (const name of Object.keys(SHARES)) this.share(name, this.chosen[name] ?? SHARES[name].first);
    this.fold(this.chosen.isFolded ?? false, false);
  }

  // The parts that stand above and below, once they are made.
  hold(desk, chart, tables) {
    Object.assign(this, { desk, chart, tables });
  }

  splitter(name, label, shareAt) {
    const bar = el("div", {
      class: `pk-split pk-split-${name}`,
      role: "separator",
      tabindex: 0,
      "aria-label": label,
      "aria-orientation": name === "chart" ? "horizontal" : "vertical",
      "aria-valuemin": 100 * SHARES[name].least,
      "aria-valuemax": 100 * SHARES[name].most,
      title: "Drag, or arrows; double click: as at first",
    });
    const choose = share => this.share(name, share, true);
    bar.addEventListener("pointerdown", event => {
      bar.setPointerCapture(event.pointerId);
      event.preventDefault();
      bar.focus({ preventScroll: true });
    });
    bar.addEventListener("pointermove", event => event.buttons === 1 && choose(shareAt(event)));
    bar.addEventListener("dblclick", () => choose(SHARES[name].first));
    bar.addEventListener("keydown", event => {
      const by = SHARES[name].keys[event.key];
      if (!by) return;
      choose(this.shares[name] + by);
      event.preventDefault();
    });
    return bar;
  }

  share(name, wanted, isChosen = false) {
    const { least, most } = SHARES[name];
    const share = Math.max(least, Math.min(most, wanted));
    this.shares = { ...this.shares, [name]: share };
    this.root.style.setProperty(`--${name}`, `${share.toFixed(3)}fr`);
    this.root.style.setProperty(`--but-${name}`, `${(1 - share).toFixed(3)}fr`);
    (name === "chart" ? this.split : this.edge).setAttribute("aria-valuenow", Math.round(100 * share));
    if (isChosen) this.keep({ [name]: share });
  }

  keep(chosen) {
    Object.assign(this.chosen, chosen);
    try {
      sessionStorage.setItem(KEPT, JSON.stringify(this.chosen));
    } catch {
      // forbidden: it lasts as long as this view
    }
  }

  fold(isFolded, isChosen = true) {
    this.root.dataset.side = isFolded ? "folded" : "open";
    this.side.fold.setAttribute("aria-expanded", String(!isFolded));
    if (isChosen) this.keep({ isFolded });
  }

  // As high as what it is seen through, so that all of it is on one screen.
  fit() {
    const { root } = this;
    const isFull = document.fullscreenElement === root;
    const frame = isFull ? null : this.frame();
    const height = (frame?.clientHeight || window.innerHeight) - (isFull ? 0 : AROUND_PX);
    root.style.setProperty("--room", `${Math.max(LEAST_PX, height)}px`);
    root.classList.toggle("pk-short", height < SHORT_PX);
    this.full.setAttribute("aria-pressed", String(isFull));
    if (this.chosen.isFolded === undefined && root.clientWidth)
      this.fold(root.clientWidth < NARROW_PX, false);
  }

  // What it is seen through: the notebook, or a view of one output.
  frame() {
    const frame = frameOf(this.root);
    if (frame === this.around) return frame;
    if (this.around) this.sizes.unobserve(this.around);
    if (frame) this.sizes.observe(frame);
    this.around = frame;
    return frame;
  }

  // The tables out of sight keep their size: sheet, row and scroll are as they were when they come back.
  putAside(isAside) {
    const { width, height } = this.tables.getBoundingClientRect();
    Object.assign(this.tables.style, {
      width: isAside ? `${width}px` : "",
      height: isAside ? `${height}px` : "",
    });
  }

  toggleFull() {
    const done = document.fullscreenElement ? document.exitFullscreen() : this.root.requestFullscreen();
    done.catch(() => {}); // the browser does not allow it: nothing changes
  }

  // After a run the page stands at the end of the notebook: it comes here, unless the user does something.
  stand() {
    if (!this.isTouched) this.root.scrollIntoView({ block: "start" });
  }

  stop() {
    this.sizes.disconnect();
    document.removeEventListener("fullscreenchange", this.fit);
    window.removeEventListener("resize", this.fit);
    this.touched();
  }
}
