// The procedure of the chosen step, line by line as it is read up: warnings before the line they belong to,
// who gives the GO, what is written down. A line leads to its row in the table, where it is edited.

import { button, el } from "./dom.js";

const WARNING = /^\s*(warning|caution):\s*/i;

// The actions of a step in their order, each with its line in the table and its cells by column.
export function actionsOf(sheet, step) {
  if (!sheet) return [];
  return sheet.order
    .map(line => ({
      line,
      ...Object.fromEntries(sheet.columns.map((column, at) => [column, sheet.rows[line][at] ?? ""])),
    }))
    .filter(each => each.step === step)
    .sort((a, b) => (Number(a.number) || 0) - (Number(b.number) || 0));
}

export class ActionsPane {
  constructor(pane, send, onCell) {
    Object.assign(this, { pane, send, onCell });
  }

  show(sheets, step, isFixed) {
    Object.assign(this, { step, rows: actionsOf(sheets.actions, step) });
    if (!step) {
      this.pane.replaceChildren(el("p", { class: "pk-hint" }, "Choose a step in the chart or in the table."));
      return;
    }
    this.pane.replaceChildren(
      el("h4", { class: "pk-sub" }, `${step}: what is done in it`),
      this.rows.length
        ? el(
            "ol",
            { class: "pk-list pk-actions" },
            this.rows.map(each => this.line(each, isFixed)),
          )
        : el(
            "p",
            { class: "pk-hint" },
            "No action is typed for this step: its title is all that is read up.",
          ),
      isFixed
        ? ""
        : button("Add an action", "A new line behind these", () => this.add(), { "data-act": "add_action" }),
    );
  }

  line(each, isFixed) {
    const [kind] = each.warning.match(WARNING) ?? [];
    const value = [each.value, each.unit].filter(Boolean).join(" ");
    const what = [each.action, each.on, value].filter(Boolean).join(" · ");
    const more = [
      each.tool && `with ${each.tool}`,
      each.expected && `expected: ${each.expected}`,
      each.record && `write down: ${each.record}`,
      each.if_not && `if not: ${each.if_not}`,
    ].filter(Boolean);
    const go = each.go && el("strong", { class: "pk-go" }, `GO from ${each.go}: `);
    const words = [
      el(
        "span",
        { class: "pk-item-head" },
        `${each.number} ${each.who}${each.critical === "yes" ? " · critical" : ""}`,
      ),
      el("span", { class: "pk-item-text" }, go, what),
      more.length ? el("span", { class: "pk-source" }, more.join("; ")) : null,
    ];
    return el(
      "li",
      {},
      each.warning &&
        el(
          "p",
          { class: "pk-warning", "data-kind": (kind ?? "warning").toLowerCase().replace(/[:\s]/g, "") },
          el("strong", {}, (kind ?? "").toUpperCase()),
          each.warning.replace(WARNING, ""),
        ),
      isFixed
        ? el("div", { class: "pk-item" }, words)
        : el(
            "button",
            {
              type: "button",
              class: "pk-item",
              title: "To its row in the table",
              onclick: () => this.onCell("actions", each.line, "action"),
            },
            words,
          ),
    );
  }

  add() {
    const last = this.rows.at(-1);
    const number = Math.floor(Number(last?.number) || 0) + 1;
    const texts = { step: this.step, number: String(number) };
    this.send({ kind: "add", sheet: "actions", after: last?.line ?? null, texts });
  }
}
