// The log, the latest row first; a row can be corrected or withdrawn where it stands.

import { button, el } from "./dom.js";
import { problemsOf } from "./outside_entry.js";

export class OutsideLog {
  constructor(send, clock) {
    Object.assign(this, { send, clock });
    this.body = el("tbody");
    this.whole = el("div", { class: "pk-entry-faults", role: "alert", hidden: true });
    const columns = ["PET, GMT", "What"];
    this.box = el(
      "div",
      { class: "pk-log", tabindex: 0, role: "region", "aria-label": "Log" },
      this.whole,
      el(
        "table",
        { class: "pk-plain" },
        el(
          "thead",
          {},
          el(
            "tr",
            {},
            columns.map(name => el("th", { scope: "col" }, name)),
            el("td"),
          ),
        ),
        this.body,
      ),
    );
    this.form = new CorrectionForm(send, clock, () => {
      this.open = null;
      this.paint();
    });
    this.lines = [];
    this.open = null;
  }

  tell({ lines }) {
    this.lines = lines;
    this.paint();
  }

  show(message) {
    this.refused = message.refused;
    const whole = message.log.faults.filter(fault => fault.row === null);
    this.whole.hidden = !whole.length;
    this.whole.textContent = whole.map(fault => fault.problem).join("; ");
    const slot = Object.keys(message.refused).find(name => name.startsWith("correct "));
    if (slot && !this.open) {
      this.open = slot.slice(8);
      this.paint();
    }
    this.form.setRefused(this.open ? message.refused[`correct ${this.open}`] : null);
    const called = message.refused.pet_zero ?? message.refused.ingress;
    if (called) {
      this.whole.hidden = false;
      this.whole.textContent = `Not logged: ${called.entry.event}. ${problemsOf(called)}`;
    }
  }

  paint() {
    const place = this.box.contains(document.activeElement) ? document.activeElement : null;
    this.body.replaceChildren(
      ...this.lines.flatMap(line =>
        this.open === line.event_id && line.can_be_corrected
          ? [this.row(line), this.formRow(line)]
          : [this.row(line)],
      ),
    );
    if (!this.lines.length)
      this.body.append(el("tr", {}, el("td", { colspan: 3, class: "pk-quiet" }, "Nothing is logged yet.")));
    if (place && this.box.contains(place)) place.focus();
  }

  row(line) {
    const looks = [
      line.problem && "pk-impossible",
      (line.is_withdrawn || line.event === "correct") && "pk-set-aside",
    ]
      .filter(Boolean)
      .join(" ");
    const what =
      line.event === "correct"
        ? [`corrects ${line.corrects}`]
        : [el("strong", {}, line.step), ` ${line.event.replace("_", " ")}`];
    const changed = changedWords(line);
    return el(
      "tr",
      { class: looks, "data-event-id": line.event_id },
      el(
        "td",
        { class: "pk-when" },
        line.at,
        line.was_at ? el("s", {}, line.was_at) : null,
        el("div", { class: "pk-quiet" }, line.gmt),
      ),
      el(
        "td",
        {},
        what,
        el("span", { class: "pk-quiet" }, moreWords(line)),
        changed ? el("span", { class: "pk-quiet" }, ` (${changed})`) : null,
        line.problem ? el("div", { class: "pk-problem" }, `Does not count: ${line.problem}`) : null,
      ),
      el(
        "td",
        {},
        line.can_be_corrected
          ? button("Correct", `Correct or withdraw ${line.event_id}`, () => this.correct(line), {
              "data-act": "correct",
            })
          : null,
      ),
    );
  }

  formRow(line) {
    return el("tr", { class: "pk-correction" }, el("td", { colspan: 3 }, this.form.for(line)));
  }

  correct(line) {
    this.open = this.open === line.event_id ? null : line.event_id;
    this.form.setRefused(this.open ? this.refused?.[`correct ${this.open}`] : null);
    this.paint();
    if (this.open) this.form.fields.at.focus();
  }
}

// What became of an entry, by the ids of what was logged after it.
export function changedWords({ is_withdrawn: isWithdrawn, corrected_by: by }) {
  if (isWithdrawn) return `withdrawn by ${by.at(-1)}`;
  return by.length ? `corrected by ${by.join(", ")}` : "";
}

// Who, and what else was said.
export function moreWords({ crew, remaining_min: left, metabolic_w: rate, by, note }) {
  return [crew, left && `${left} min left`, rate && `${rate} W`, note, by && `by ${by}`]
    .filter(Boolean)
    .map(each => ` · ${each}`)
    .join("");
}

class CorrectionForm {
  constructor(send, clock, close) {
    Object.assign(this, { send, clock, close });
    const field = (label, size, hint) =>
      el("input", {
        class: "pk-field",
        "aria-label": `${label}, corrected`,
        placeholder: label,
        title: hint,
        size,
      });
    this.fields = {
      at: field("time", 9, "PET like 1:23, UTC like 13:02Z"),
      step: field("step", 6, "Another step"),
      remaining_min: field("min left", 6, "Minutes that the step still took then"),
      metabolic_w: field("W", 5, "Mean metabolic rate since PET 0"),
      note: field("why", 20, "A note on the correction"),
    };
    this.faults = el("div", { class: "pk-entry-faults", role: "alert", hidden: true });
    this.words = el("span", { class: "pk-label" });
    this.box = el(
      "div",
      { class: "pk-lane-entry" },
      this.words,
      Object.values(this.fields),
      button("Correct", "What is typed replaces what was logged; the rest stays", () => this.put("correct"), {
        "data-act": "put-right",
      }),
      button("Withdraw", "It did not happen: the entry counts for nothing", () => this.put("withdraw"), {
        "data-act": "withdraw",
      }),
      button("Close", "Change nothing", () => this.giveUp()),
      this.faults,
    );
    this.box.addEventListener("keydown", event => {
      if (event.key === "Enter" && event.target.matches("input")) {
        this.put("correct");
        event.preventDefault();
      } else if (event.key === "Escape") this.giveUp();
    });
  }

  for(line) {
    if (this.line?.event_id !== line.event_id) this.clear();
    this.line = line;
    this.words.textContent = `${line.event_id} should have been:`;
    return this.box;
  }

  giveUp() {
    this.send({ kind: "forget", slot: `correct ${this.line.event_id}` });
    this.clear();
    this.close();
  }

  clear() {
    for (const field of Object.values(this.fields)) field.value = "";
  }

  put(event) {
    const typed = Object.fromEntries(Object.entries(this.fields).map(([name, field]) => [name, field.value]));
    this.send(
      { kind: "log", lane: "", event, corrects: this.line.event_id, by: this.clock.by.value, ...typed },
      () => {
        if (this.isRefused) return;
        this.clear();
        this.close();
      },
    );
  }

  setRefused(refused) {
    this.isRefused = Boolean(refused);
    const bad = new Set(refused?.faults.map(fault => fault.column));
    for (const [name, field] of Object.entries(this.fields))
      field.classList.toggle("pk-bad-field", bad.has(name));
    this.faults.hidden = !refused;
    this.faults.textContent = refused ? `Not logged: ${problemsOf(refused)}` : "";
  }
}
