// One card a lane: what is in hand or next, a key an event, and what goes with it. Cards stay while they are
// shown anew, so that nothing typed and no keyboard place is lost.

import { el } from "./dom.js";
import { LaneCard } from "./outside_card.js";

export class OutsideConsole {
  constructor(send, clock, onStep) {
    Object.assign(this, { send, clock, onStep });
    this.cards = new Map();
    this.box = el("div", { class: "pk-console", role: "group", "aria-label": "Log entries" });
  }

  show(message) {
    for (const [who, card] of this.cards)
      if (!message.lanes.some(lane => lane.who === who)) {
        card.box.remove();
        this.cards.delete(who);
      }
    message.lanes.forEach((lane, number) => {
      if (!this.cards.has(lane.who)) {
        const card = new LaneCard(this, lane, number + 1);
        this.cards.set(lane.who, card);
        this.box.append(card.box);
      }
      this.cards.get(lane.who).show(lane, message.refused[lane.who], message.clock);
    });
  }

  pick(step) {
    // a step chosen in the chart is the one to log, on the cards that it is open on
    for (const card of this.cards.values()) card.pick(step);
  }

  goTo(step) {
    [...this.cards.values()].find(card => card.holds(step))?.box.focus();
  }

  onKey(event) {
    // from anywhere in the workbench, but not from a field
    const card = [...this.cards.values()][Number(event.key) - 1];
    if (!card || event.ctrlKey || event.metaKey || event.altKey) return false;
    card.box.focus();
    return true;
  }
}
