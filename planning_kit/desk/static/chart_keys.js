// The keys of the chart: arrows choose a step and walk, with Shift they choose more, with Alt they move all
// that is chosen; plus and minus change its minutes.

import * as hands from "./chart_hands.js";

const ZOOMS = { "+": 1 / 1.5, "-": 1.5 }; // as the buttons; while nothing is chosen

export class ChartKeys {
  constructor(chart) {
    this.chart = chart;
  }

  onKey(event) {
    if (event.ctrlKey || event.metaKey) return;
    const { selected } = this.chart;
    const bar = selected && this.chart.work().find(each => each.step === selected);
    if (this.doKey(event, bar)) event.preventDefault();
  }

  doKey({ key, altKey, shiftKey }, bar) {
    const { chart } = this;
    if (key === "Escape") this.takeBack();
    else if (key === "Home") chart.zoomAll();
    else if (key === "z" && !altKey) chart.zoomToChoice();
    else if (key === "Enter" && bar) chart.events.onOpen(bar.step);
    else if (!bar) return this.start(key);
    else if (!altKey) return this.walk(key, bar, shiftKey);
    else return !chart.isFixed && this.move(key, bar);
    return true;
  }

  // A drag; where there is none, the choice of several.
  takeBack() {
    if (this.chart.drag) this.chart.stopDrag();
    else this.chart.choose(this.chart.selected);
  }

  start(key) {
    const first = this.chart.work()[0];
    if (key in ZOOMS) this.chart.zoom(ZOOMS[key]);
    else if (!key.startsWith("Arrow") || !first) return false;
    else this.chart.choose(first.step);
    return true;
  }

  walk(key, bar, isMore) {
    const { chart } = this;
    if (key.startsWith("Arrow")) {
      const step = hands.stepBeside(key, bar, chart.work(), Object.keys(chart.places.lanes));
      if (step !== null) chart.choose(step, true, isMore ? this.alongWith(step) : []);
    } else if (!chart.isFixed && (key === "+" || key === "-")) {
      const minutes = Math.max(1, Math.round(bar.finish - bar.start) + (key === "+" ? 1 : -1));
      chart.send({ kind: "minutes", step: bar.step, minutes });
    } else return false;
    return true;
  }

  // What stays chosen when Shift goes on to `step`: on the way back it lets go.
  alongWith(step) {
    const { along, selected } = this.chart;
    return along.includes(step) ? along.filter(each => each !== step) : [...along, selected];
  }

  move(key, bar) {
    const { chart } = this;
    const [bars, { crew }] = [chart.work(), chart.chart];
    const { steps, why } = hands.takenWith(bars, chart.chosen, bar);
    const move = hands.moveOfKey(key, bar, bars, crew, steps);
    if (move) {
      const whyNot = why || hands.whyNotTo(move.who, bar.who, steps, bars, crew);
      const message = !whyNot && hands.moveOf(bars, bar.who, steps, move.who, move.before);
      if (whyNot) chart.events.onRefused(whyNot);
      if (message) chart.send(message);
    }
    return key.startsWith("Arrow");
  }
}
