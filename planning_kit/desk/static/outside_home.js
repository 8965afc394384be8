// The ways home from this minute, and the call to take one: terminate or abort. A call shows the way first,
// and decides nothing before it is confirmed; Escape takes it back.

import { button, el, tableOf } from "./dom.js";

const NAMES = { terminate: "Terminate", abort: "Abort" };
const HINTS = { terminate: "Home in good order", abort: "Home at once" };
const KEYS = { t: "terminate", a: "abort" };
const ALONE =
  "Each goes alone from where they are; ingress waits for the later one. " +
  "Margins: emergency oxygen, and what runs out first in the suit.";

export class OutsideHome {
  constructor(pane, send, clock) {
    Object.assign(this, { pane, send, clock, how: "terminate", told: null, asked: null });
    this.calls = el(
      "span",
      { class: "pk-calls", role: "group", "aria-label": "Call the way home" },
      Object.entries(KEYS).map(([key, how]) =>
        button("", `${HINTS[how]} (${key.toUpperCase()}): shows the way first`, () => this.ask(how), {
          "data-call": how,
        }),
      ),
    );
    for (const each of this.calls.children) {
      const words = NAMES[each.dataset.call];
      each.append(el("u", {}, words[0]), `${words.slice(1)}…`);
    }
    this.confirm = button("", "Decide: this is called now, and logged", () => this.decide(), {
      "data-act": "confirm_home",
    });
    this.notNow = button("Not now (Escape)", "Nothing is called", () => this.takeBack(), {
      "data-act": "not_now",
    });
    this.preview = el("div", {
      class: "pk-call",
      tabindex: -1,
      role: "alertdialog",
      "aria-label": "A way home that is not called yet",
      hidden: true,
    });
  }

  tell(message) {
    this.told = message;
    const ways = Object.keys(message.ways);
    if (!ways.length) this.pane.replaceChildren(noWay(message));
    else {
      const pick = how =>
        button(
          NAMES[how],
          HINTS[how],
          () => {
            this.how = how;
            this.tell(this.told);
            this.pane.querySelector(`[data-how=${how}]`).focus();
          },
          { "data-how": how, "aria-pressed": String(how === this.how) },
        );
      this.pane.replaceChildren(
        el("div", { class: "pk-row-tools" }, ways.map(pick), calledAt(message)),
        ...wayHome(message.ways[this.how]),
        el("p", { class: "pk-hint" }, ALONE),
      );
    }
    if (this.asked) this.paint();
  }

  // The calls

  ask(how) {
    if (!this.told) return;
    if (!this.asked) this.before = document.activeElement;
    this.asked = how;
    this.paint();
    this.preview.hidden = false;
    this.preview.focus({ preventScroll: true });
  }

  paint() {
    const way = this.told.ways[this.asked];
    this.confirm.textContent = `Call ${this.asked}`;
    this.confirm.hidden = !way;
    const place = document.activeElement;
    this.preview.replaceChildren(
      el("h3", {}, `${NAMES[this.asked]}: ${HINTS[this.asked].toLowerCase()}. Not called yet.`),
      ...(way ? wayHome(way) : [noWay(this.told)]),
      el(
        "p",
        { class: "pk-hint" },
        way
          ? "A call is logged: what the two have not begun is skipped, and what they have in hand takes " +
              "the minutes that are given to make it safe. "
          : "",
        ALONE,
      ),
      el("div", { class: "pk-call-answers" }, this.confirm, this.notNow),
    );
    if (this.preview.contains(place)) place.focus({ preventScroll: true });
  }

  decide() {
    const how = this.asked;
    if (!how) return;
    this.takeBack();
    this.send({ kind: "go_home", how, by: this.clock.by.value });
  }

  takeBack() {
    this.asked = null;
    this.preview.hidden = true;
    if (this.before?.isConnected) this.before.focus({ preventScroll: true });
  }

  // A key that is held down asks once.
  onKey({ key, repeat, ctrlKey, metaKey, altKey }) {
    if (key === "Escape" && this.asked) this.takeBack();
    else if (ctrlKey || metaKey || altKey || !KEYS[key.toLowerCase()]) return false;
    else if (!repeat) this.ask(KEYS[key.toLowerCase()]);
    return true;
  }
}

function calledAt(message) {
  return el("span", { class: "pk-quiet" }, `called at PET ${message.at}`);
}

function noWay(message) {
  return el("p", { class: "pk-hint" }, `No way home to tell: ${message.words}.`);
}

function wayHome({ crew, sequence }) {
  return [el("div", { class: "pk-home-crew" }, crew.map(person)), sequenceOf(sequence)];
}

function person(one) {
  if (!one.is_known) {
    return el(
      "p",
      { class: "pk-home-head pk-over" },
      el("strong", {}, one.who),
      " not known: how long the way home takes, and what is left",
    );
  }
  const safe = one.step
    ? `${one.step}: ${one.make_safe || "nothing to be done first"}, ${one.safe} min`
    : "no step in hand";
  const margin = (words, value, isShort) => [
    el("dt", {}, words),
    el(
      "dd",
      { class: isShort ? "pk-over" : "" },
      value === "–" && !isShort
        ? "not known"
        : `${value} min left${isShort ? `, at least ${one.reserve} wanted` : ""}`,
    ),
  ];
  return el(
    "div",
    {},
    el(
      "p",
      { class: "pk-home-head" },
      el("strong", {}, one.who),
      ` alone inside by `,
      el("strong", {}, one.inside),
      `, ${one.total} min from now`,
    ),
    el(
      "dl",
      {},
      el("dt", {}, "first"),
      el("dd", {}, safe),
      el("dt", {}, "way"),
      el("dd", {}, `${one.back} min with ingress`),
      margin("oxygen", one.oxygen, one.is_short),
      margin(one.first_out, one.suit, one.is_suit_short),
    ),
  );
}

function sequenceOf(rows) {
  const told = rows.map(([who, what, minutes, start, finish]) => [
    `${start} to ${finish}`,
    who,
    what,
    minutes,
  ]);
  const table = tableOf(["PET", "Who", "What", "Min"], told, "In this order");
  table.classList.add("pk-home-sequence");
  return table;
}
