// Beside the chart while the crew is outside: what can still be done.

import { button, el } from "./dom.js";
import { gainWords, limitWords, mustWords, openWords } from "./outside_words.js";

export class OutsideSide {
  constructor(side, send, clock) {
    Object.assign(this, { side, send, clock });
    this.options = side.panes.options;
    const find = with_orders => {
      this.setLooking(true);
      send({ kind: "options", with_orders });
    };
    this.find = button(
      "Find options",
      "Each is timed and checked as a whole plan: a second or two",
      () => this.isLooking || find(false),
      { "data-act": "options" },
    );
    this.orders = button(
      "With other orders",
      "Search better orders of the rest as well: some seconds",
      () => (this.isLooking ? send({ kind: "stop_options" }) : find(true)),
      { "data-act": "orders" },
    );
    this.looking = el("span", { class: "pk-quiet", role: "status" });
    this.list = el("ol", { class: "pk-list" });
    this.options.append(
      el("div", { class: "pk-row-tools" }, this.find, this.orders, this.looking),
      this.list,
    );
    this.hint = el(
      "p",
      { class: "pk-hint" },
      "Best first: fewest stops, the limits kept, then what costs least. Nothing is decided by a preview.",
    );
    this.options.append(this.hint);
  }

  tellOptions(message) {
    this.setLooking(message.is_looking);
    this.find.textContent = message.at ? "Find again" : "Find options";
    if (!message.is_looking)
      this.looking.textContent = !message.at
        ? ""
        : message.is_old
          ? `as of PET ${message.at}: the log has gone on since`
          : `as of PET ${message.at}`;
    this.looking.classList.toggle("pk-old", message.is_old);
    this.list.replaceChildren(...message.rows.map(row => this.option(row)));
    this.hint.hidden = !message.rows.length;
  }

  setLooking(isLooking) {
    this.isLooking = isLooking;
    this.find.ariaDisabled = String(isLooking);
    this.orders.textContent = isLooking ? "Stop" : "With other orders";
    if (isLooking) this.looking.textContent = "looking…";
  }

  option(row) {
    const gain = gainWords(row.gain);
    const limit = (name, left) =>
      el(
        "span",
        { class: left >= 0 ? "" : name === "hard" ? "pk-over" : "pk-beyond" },
        limitWords(name, left),
      );
    const news = [
      row.stops && el("span", { class: "pk-over" }, `${row.stops} new stop`),
      row.concerns && `${row.concerns} new concern`,
    ].filter(Boolean);
    const until = [openWords(row), mustWords(row)].filter(Boolean).join("; ");
    const parts = [limit("planned", row.planned), limit("hard", row.hard), ...news].flatMap((part, at) =>
      at ? [", ", part] : [part],
    );
    return el(
      "li",
      { class: "pk-item pk-option", "data-option": row.number },
      el("span", { class: "pk-item-head" }, row.words),
      el("span", { class: "pk-left" }, `inside ${row.end}`),
      el("span", { class: "pk-option-text" }, gain ? `${gain}; ` : "", ...parts),
      until ? el("span", { class: "pk-source" }, until) : null,
      row.moves ? el("span", { class: "pk-source" }, row.moves) : null,
      row.can_be_taken
        ? el(
            "span",
            { class: "pk-group" },
            button(
              "Preview",
              "See its plan; nothing is decided",
              () => this.send({ kind: "look", number: row.number, words: row.words }),
              { "data-act": "look" },
            ),
            button(
              "Take",
              row.kind === "drop" ? "Decide: log its steps as skipped" : "Decide: change the plan outside",
              () => this.take({ number: row.number, words: row.words }),
              { "data-act": "decide" },
            ),
          )
        : null,
    );
  }

  take(which) {
    this.send({ kind: "decide", by: this.clock.by.value, ...which });
  }
}
