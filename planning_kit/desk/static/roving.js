// A row of tools with one stop for Tab: arrows go on from there, Home and End to its ends.

const STEPS = { ArrowRight: 1, ArrowLeft: -1 };

export class Roving {
  constructor(box) {
    this.box = box;
    box.setAttribute("role", "toolbar");
    box.addEventListener("focusin", event => {
      this.at = event.target;
      this.settle();
    });
    box.addEventListener("keydown", event => this.onKey(event));
  }

  get stops() {
    return [...this.box.querySelectorAll("button, input, select")].filter(
      each => !each.disabled && !each.closest("[hidden]"),
    );
  }

  // After tools came or went: the stop is where the keyboard was last, else at the first.
  settle() {
    const { stops } = this;
    const stop = stops.includes(this.at) ? this.at : stops[0];
    for (const each of this.box.querySelectorAll("button, input, select"))
      each.tabIndex = each === stop ? 0 : -1;
  }

  onKey(event) {
    const { target, key } = event;
    const { stops } = this;
    const at = stops.indexOf(target);
    if (at < 0 || event.altKey || event.ctrlKey || event.metaKey) return;
    if (target.matches("input")) {
      // In a field the arrows are the field's own until its text ends.
      const end = key === "ArrowRight" ? target.value.length : 0;
      if (!STEPS[key] || target.selectionStart !== end || target.selectionEnd !== end) return;
    }
    const to = { Home: 0, End: stops.length - 1 }[key] ?? (STEPS[key] && at + STEPS[key]);
    if (to === undefined) return;
    stops[(to + stops.length) % stops.length].focus();
    event.preventDefault();
  }
}
