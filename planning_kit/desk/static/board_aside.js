// Beside the board: the chosen task and where it may go, what a move comes to, what is wrong between outings.

import { button, el } from "./dom.js";
import { signOf } from "./head.js";

const NOWHERE = "no outing";

export function nameOf(outing) {
  return outing || NOWHERE;
}

export class BoardAside {
  // `events`: `onTry` with an outing, `onKeep`, `onDrop`, `onRead`.
  constructor(events) {
    this.events = events;
    this.words = el("p", { class: "pk-hint" });
    this.status = el("p", { class: "pk-board-status", role: "status" });
    this.read = button("Read again", "Read all outings from their folders", () => events.onRead(), {
      "data-act": "board_read",
    });
    this.chosen = el("div", { class: "pk-board-chosen" });
    this.answer = el("div", { class: "pk-board-answer" });
    this.findings = el("div", {});
    this.box = el(
      "aside",
      { class: "pk-board-aside", "aria-label": "The chosen task, and between the outings" },
      el("div", { class: "pk-group" }, this.words, this.read),
      this.chosen,
      this.status,
      this.answer,
      this.findings,
    );
  }

  setBoard({ words = "", is_reading: isReading, findings }, theme) {
    for (const each of [this.chosen, this.findings]) each.hidden = !findings;
    this.words.textContent = isReading ? "Reading all outings …" : words;
    this.read.disabled = Boolean(isReading);
    if (!findings) return;
    this.findings.replaceChildren(
      el("h4", { class: "pk-sub" }, `Between the outings: ${findings.length || "no"} findings`),
      this.lines(findings, theme),
    );
  }

  lines(all, theme) {
    return el(
      "ul",
      { class: "pk-board-lines" },
      all.map(([level, words]) =>
        el("li", { "data-level": level }, level ? signOf(level, theme) : null, words),
      ),
    );
  }

  // `place`: the card and its outing; null: none is chosen.
  setChosen(place, columns, wanted) {
    if (!place) {
      this.chosen.replaceChildren(
        el(
          "p",
          { class: "pk-hint" },
          "Drag a task to another outing, or choose it and press Alt and an arrow.",
        ),
      );
      return;
    }
    const { card, outing } = place;
    const targets = card.can_move ? columns.filter(each => each.takes && each.outing !== outing) : [];
    const when = card.when && `PET ${card.when}`;
    const facts = [card.need, card.chance, when, card.asks, card.why].filter(Boolean);
    const aim = wanted?.task === card.task ? wanted.outing : null;
    this.chosen.replaceChildren(
      el("h3", {}, el("strong", {}, card.task), ` ${card.title}`),
      ...facts.map(words => el("p", {}, words)),
      targets.length
        ? el(
            "div",
            { class: "pk-group pk-try-on", role: "group", "aria-label": `Try ${card.task} on` },
            "Try on",
            targets.map(each =>
              button(nameOf(each.outing), "", () => this.events.onTry(each.outing), {
                "data-try": each.outing,
                "aria-pressed": String(each.outing === aim),
              }),
            ),
          )
        : el("p", { class: "pk-hint" }, "It stays where it is."),
    );
  }

  // What comes of the move that is asked about.
  setMove({ wanted, answer }, theme) {
    const where = wanted && `${wanted.task} on ${nameOf(wanted.outing)}`;
    this.status.textContent = !wanted
      ? ""
      : answer
        ? (answer.refused ?? answer.head)
        : `${where}: what comes of it is worked out …`;
    this.status.classList.toggle("pk-board-no", Boolean(answer?.refused));
    const away = button("Drop", "Nothing is moved (Escape)", () => this.events.onDrop(), {
      "data-act": "board_drop",
    });
    if (!answer) {
      this.answer.replaceChildren(...(wanted ? [away] : []));
      return;
    }
    const keep = button("Keep", answer.keep ?? "", () => this.events.onKeep(), { "data-act": "board_keep" });
    this.answer.replaceChildren(
      ...(answer.parts ?? []).map(part =>
        el(
          "section",
          {},
          el("h4", { class: "pk-sub" }, [part.outing, part.words].filter(Boolean).join(": ")),
          this.lines(part.lines, theme),
        ),
      ),
      el(
        "div",
        { class: "pk-group pk-board-acts" },
        answer.refused ? null : keep,
        away,
        answer.keep ? el("span", { class: "pk-quiet" }, answer.keep) : null,
      ),
    );
  }
}
