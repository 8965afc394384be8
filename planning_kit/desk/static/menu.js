// A menu below its button: arrows, Home and End go through it, a letter to what begins with it; Escape, Tab
// and a choice give the keyboard back to the button.

import { button, el } from "./dom.js";
import { suggestionAfter } from "./keys.js";

export class Menu {
  // `entries` gives [act, words, what is done] of each entry, asked whenever the menu is opened.
  constructor(label, hint, entries) {
    this.entries = entries;
    this.button = button(label, hint, () => (this.list.hidden ? this.open() : this.close()), {
      "aria-haspopup": "menu",
      "aria-expanded": "false",
      "data-act": "menu",
    });
    this.list = el("div", { class: "pk-menu", role: "menu", "aria-label": hint, hidden: true });
    this.box = el("span", { class: "pk-menu-box" }, this.button, this.list);
    this.box.addEventListener("keydown", event => this.onKey(event));
    this.box.addEventListener("focusout", event => {
      if (!this.box.contains(event.relatedTarget)) this.close(false);
    });
  }

  open() {
    this.list.replaceChildren(
      ...this.entries().map(([act, words, done]) =>
        el(
          "button",
          {
            type: "button",
            role: "menuitem",
            tabindex: -1,
            "data-act": act,
            onclick: () => {
              this.close();
              done();
            },
          },
          words,
        ),
      ),
    );
    this.show(true);
    this.list.firstChild.focus();
  }

  close(isKeyboardBack = true) {
    if (this.list.hidden) return;
    if (isKeyboardBack) this.button.focus();
    this.show(false);
  }

  show(isOpen) {
    this.list.hidden = !isOpen;
    this.button.setAttribute("aria-expanded", String(isOpen));
  }

  onKey(event) {
    const { key } = event;
    if (this.list.hidden) {
      if (key !== "ArrowDown") return;
      this.open();
    } else if (key === "Escape") this.close();
    else if (key === "Tab") {
      this.close(); // and on from the button
      return;
    } else {
      const next = this.after(key);
      if (!next) return;
      next.focus();
    }
    event.preventDefault();
    event.stopPropagation();
  }

  after(key) {
    const items = [...this.list.children];
    const at = items.indexOf(document.activeElement);
    if (key === "ArrowDown" || key === "ArrowUp") return items[suggestionAfter(at, items.length, key)];
    if (key === "Home" || key === "End") return items.at(key === "Home" ? 0 : -1);
    const begins = each => each.textContent.toLowerCase().startsWith(key.toLowerCase());
    return [...items.slice(at + 1), ...items].find(begins);
  }
}
