// What does not fit a pane stands on pages beside each other, turned by two buttons, PageUp and PageDown:
// nothing scrolls within the page but the grid. What gets the keyboard brings its page with it.

import { button, el } from "./dom.js";

const LEAST_PX = 140; // lower, a page would hold next to nothing: the pane scrolls
const TURNS = { PageDown: 1, PageUp: -1 };

export class Pages {
  constructor(pane) {
    this.pane = pane;
    this.number = 0;
    this.place = el("span", { class: "pk-quiet", role: "status" });
    this.before = this.turner("‹", "The page before (PageUp)", -1);
    this.next = this.turner("›", "The next page (PageDown)", 1);
    this.bar = el("div", { class: "pk-pages", hidden: true }, this.before, this.place, this.next);
    this.parts = [pane, this.bar];
    pane.classList.add("pk-paged");
    pane.addEventListener("scroll", () => this.tell());
    pane.addEventListener("keydown", event => {
      if (!TURNS[event.key] || this.bar.hidden || event.target.matches("select, textarea")) return;
      this.turn(TURNS[event.key]);
      event.preventDefault();
    });
    new ResizeObserver(() => this.fit()).observe(pane);
    const changes = { childList: true, subtree: true, attributes: true, attributeFilter: ["hidden"] };
    new MutationObserver(() => this.fit()).observe(pane, changes);
  }

  turner(label, hint, by) {
    const attributes = { "aria-label": hint, "data-turn": by };
    return button(label, hint, () => this.turn(by), attributes);
  }

  // Of a page, to the fraction of a pixel: over many pages a rounded one is off by words.
  get width() {
    return this.pane.getBoundingClientRect().width;
  }

  // How many pages there are now.
  count() {
    return Math.max(1, Math.ceil(this.pane.scrollWidth / this.width - 0.1));
  }

  fit() {
    const { pane, bar } = this;
    if (!pane.clientWidth) {
      bar.hidden = true;
      return;
    }
    const isCut = each => each.getClientRects().length > 1 || each.offsetHeight > pane.clientHeight;
    const isLow = pane.clientHeight < LEAST_PX;
    pane.classList.toggle("pk-one-page", isLow || [...pane.querySelectorAll("li, tbody tr")].some(isCut));
    bar.hidden = this.count() === 1;
    this.tell();
  }

  turn(by) {
    this.show(this.number + by);
  }

  show(number) {
    this.pane.scrollLeft = Math.max(0, Math.min(this.count() - 1, number)) * this.width;
    this.tell();
  }

  // A whole page is seen, whatever brought it into sight.
  tell() {
    const { pane } = this;
    if (!pane.clientWidth) return;
    const count = this.count();
    this.number = Math.min(count - 1, Math.round(pane.scrollLeft / this.width));
    pane.scrollLeft = this.number * this.width;
    this.place.textContent = `${this.number + 1} of ${count}`;
    this.before.ariaDisabled = String(!this.number);
    this.next.ariaDisabled = String(this.number === count - 1);
  }
}

// The page of a part of a pane, or where it stands where the pane scrolls.
export function turnTo(pane, part) {
  const [at, around] = [part.getBoundingClientRect(), pane.getBoundingClientRect()];
  pane.scrollLeft += at.left - around.left;
  pane.scrollTop += at.top - around.top - 40;
}
