// The board of a campaign: outings beside each other, the open one as it is typed, tasks as cards that are
// put on another outing by hand or by key. The kernel answers what comes of it; nothing is moved before Keep.

import { BoardAside } from "./board_aside.js";
import { CardDrag } from "./board_drag.js";
import { BoardLooks } from "./board_looks.js";
import { boardAct, cardBeside, Moves, outingBeside, placeOf } from "./board_moves.js";
import { button, el, tableOf } from "./dom.js";
import { counted, signOf } from "./head.js";

export class Board {
  // `events`: `onPage` when the page comes or goes, `theme` gives the inks of signs.
  constructor(root, send, events) {
    Object.assign(this, { root, send, events, isOn: false, chosen: null, told: { columns: [] } });
    this.looksCount = ""; // the move that the views beside the board count
    this.button = button("Campaign", "All outings of the campaign: which does what", () => this.open(), {
      "data-mode-to": "campaign",
      hidden: true,
    });
    this.columns = el("div", { class: "pk-outings", onkeydown: event => this.onKey(event) });
    this.columns.addEventListener("focusin", event => this.choose(event.target.closest("[data-task]")));
    this.aside = new BoardAside({
      onTry: outing => this.moves.ask({ task: this.chosen.task, outing }),
      onKeep: () => this.keep(),
      onDrop: () => (this.moves.ask(null), this.focusChosen()),
      onRead: () => send({ kind: "board_read" }),
    });
    this.looks = new BoardLooks(send, {
      onLook: () => this.markLook(),
      lines: all => this.aside.lines(all, events.theme()),
    });
    this.faults = el("div", { class: "pk-board-faults", role: "alert", hidden: true });
    this.box = el(
      "section",
      { class: "pk-board", "aria-label": "Campaign" },
      this.looks.tabs,
      this.faults,
      this.columns,
      this.looks.box,
      this.aside.box,
    );
    this.moves = new Moves(send, () => this.onMove());
    this.drag = new CardDrag(this.box, this.columns, {
      onBegin: card => this.choose(card),
      onOver: outing => this.tryOn(outing),
      onEnd: isMeant => {
        if (!isMeant) this.moves.ask(null);
        this.focusChosen();
      },
    });
  }

  // What is looked at counts a move that was answered, and no more once that is dropped.
  onMove() {
    this.paintMove();
    const { wanted, answer } = this.moves;
    const move = answer && !answer.refused ? JSON.stringify(wanted) : "";
    if (move === this.looksCount) return;
    this.looksCount = move;
    this.looks.ask();
  }

  markLook() {
    this.columns.hidden = this.looks.what !== "board";
  }

  open() {
    this.setOn(true);
    this.send({ kind: "board_open" });
    const first = this.looks.what === "board" ? this.columns : this.looks.tabs;
    first.querySelector("[tabindex='0']")?.focus({ preventScroll: true });
  }

  close() {
    if (this.isOn) this.setOn(false);
  }

  setOn(isOn) {
    this.isOn = isOn;
    if (isOn) this.root.dataset.page = "campaign";
    else delete this.root.dataset.page;
    this.drag.letGo(false);
    this.events.onPage();
  }

  // All that is known of the campaign.
  show(message) {
    const isNew = message.number !== this.told.number;
    this.told = { columns: [], ...message };
    this.button.hidden = false;
    this.showFaults(message.faults);
    this.paint();
    if (!isNew) return;
    this.looksCount = "";
    this.looks.ask();
    this.moves.renew(this.chosen);
  }

  showFaults(faults) {
    this.faults.hidden = !faults;
    if (!faults) return;
    const count = counted(faults.rows.length, "fault");
    const words = `The campaign cannot be read, ${count}: mend what is listed, then read it again`;
    this.faults.replaceChildren(el("strong", {}, words), tableOf(faults.columns, faults.rows));
  }

  paint() {
    const hadKeys = this.columns.contains(document.activeElement);
    const { columns } = this.told;
    const place = placeOf(columns, this.chosen);
    this.chosen = place && { task: place.card.task, outing: place.outing };
    const scrolls = new Map([...this.columns.children].map(each => [each.dataset.outing, scrollOf(each)]));
    this.columns.replaceChildren(...columns.map(each => this.column(each)));
    for (const each of this.columns.children)
      each.querySelector(".pk-cards").scrollTop = scrolls.get(each.dataset.outing) ?? 0;
    this.settle();
    this.aside.setBoard(this.told, this.events.theme());
    this.paintMove();
    if (hadKeys) this.focusChosen();
  }

  column({ outing, title, is_open: isOpen, facts, why_fixed: why, cards }) {
    const name = outing ? `Outing ${outing}` : "On no outing";
    return el(
      "section",
      { class: "pk-outing", "data-outing": outing, "aria-label": name, "data-open": isOpen },
      el(
        "h3",
        { title: `${outing || name} ${title}` },
        el("strong", {}, outing || name),
        title && ` ${title}`,
        isOpen ? el("em", {}, " open here") : null,
      ),
      el(
        "dl",
        {},
        facts.map(({ what, words, level }) =>
          el(
            "div",
            {},
            el("dt", {}, what),
            el("dd", { "data-level": level }, level ? signOf(level, this.events.theme()) : null, words),
          ),
        ),
      ),
      why ? el("p", { class: "pk-quiet" }, why) : null,
      el(
        "ul",
        { class: "pk-cards", "aria-label": `Tasks: ${name}` },
        cards.map(card => el("li", {}, this.card(card, outing))),
      ),
    );
  }

  card(card, outing) {
    const line = (words, look = "pk-quiet") => (words ? el("span", { class: look }, words) : null);
    return el(
      "button",
      {
        type: "button",
        class: "pk-card",
        tabindex: -1,
        "data-task": card.task,
        "data-outing": outing,
        "data-can-move": card.can_move,
        "aria-keyshortcuts": card.can_move ? "Alt+ArrowLeft Alt+ArrowRight" : null,
        title: [`${card.task} ${card.title}`, card.why].filter(Boolean).join("; "),
      },
      el("span", { class: "pk-card-title" }, el("strong", {}, card.task), ` ${card.title}`),
      line(card.chance, "pk-card-chance"),
      line([card.need, card.asks].filter(Boolean).join(", ")),
      line(card.why, "pk-card-why"),
    );
  }

  // One card is the keyboard's stop: the chosen one, or the first.
  settle() {
    const all = [...this.columns.querySelectorAll(".pk-card")];
    const own = this.nodeOf(this.chosen);
    for (const each of all) {
      each.tabIndex = each === (own ?? all[0]) ? 0 : -1;
      each.classList.toggle("pk-of-chosen", each === own);
    }
  }

  nodeOf(at) {
    if (!at) return undefined;
    return [...this.columns.querySelectorAll(".pk-card")].find(
      ({ dataset }) => dataset.task === at.task && dataset.outing === at.outing,
    );
  }

  choose(card) {
    if (!card) return;
    const { task, outing } = card.dataset;
    if (this.chosen?.task === task && this.chosen.outing === outing) return;
    this.chosen = { task, outing };
    this.settle();
    this.moves.ask(null);
    this.paintMove();
  }

  focusChosen() {
    const card = this.nodeOf(this.chosen) ?? this.columns.querySelector("[tabindex='0']");
    card?.focus({ preventScroll: true });
    card?.scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  // The chosen task on an outing; on its own, or on one that takes none, nothing is moved.
  tryOn(outing) {
    const { task, outing: own } = this.chosen;
    const takes = this.told.columns.some(each => each.takes && each.outing === outing);
    this.moves.ask(takes && outing !== own ? { task, outing } : null);
  }

  keep() {
    const { wanted } = this.moves;
    this.moves.want(null);
    this.focusChosen();
    this.chosen = wanted;
    this.send({ kind: "board_keep", ...wanted });
  }

  paintMove() {
    const { columns } = this.told;
    const { wanted, answer } = this.moves;
    for (const each of this.columns.querySelectorAll(".pk-card-ghost")) each.remove();
    for (const each of this.columns.children)
      each.classList.toggle("pk-target", Boolean(wanted) && each.dataset.outing === wanted.outing);
    for (const each of this.columns.querySelectorAll(".pk-card"))
      each.classList.toggle("pk-leaving", Boolean(wanted) && each.classList.contains("pk-of-chosen"));
    if (wanted) {
      const soon = `${wanted.task}${answer ? " does not go here" : ": asked …"}`;
      const ghost = el("li", { class: "pk-card-ghost", "aria-hidden": "true" }, answer?.head ?? soon);
      const target = [...this.columns.children].find(each => each.dataset.outing === wanted.outing);
      target?.querySelector(".pk-cards").prepend(ghost);
    }
    this.aside.setChosen(placeOf(columns, this.chosen), columns, wanted);
    this.aside.setMove(this.moves, this.events.theme());
  }

  onKey(event) {
    const found = boardAct(event);
    if (!found || !this.chosen) return;
    const { columns } = this.told;
    const place = placeOf(columns, this.chosen);
    if (found.act === "choose") {
      const next = this.nodeOf(cardBeside(columns, this.chosen, found.key));
      next?.focus();
    } else if (found.act === "move") {
      const from = this.moves.wanted?.outing ?? this.chosen.outing;
      if (place?.card.can_move) this.tryOn(outingBeside(columns, from, found.by));
    } else if (found.act === "drop") {
      if (this.drag.isUnderWay) this.drag.letGo(false);
      else this.moves.ask(null);
    } else {
      const act = this.aside.box.querySelector("[data-act=board_keep]");
      if (!act) return; // the button's own press chooses it
      act.focus();
    }
    event.preventDefault();
  }
}

function scrollOf(section) {
  return section.querySelector(".pk-cards").scrollTop;
}
