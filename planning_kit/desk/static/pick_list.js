// The list under a field of what it may hold: ids with their titles, choices. Whatever is typed is kept; the
// list completes it, in a field of several ids the word under the cursor.

import { el } from "./dom.js";
import { suggestionAfter } from "./keys.js";

const MOST_SHOWN = 40;
const LIST_PX = 250;

// Where the word under the cursor begins: all that is typed, unless the field holds a list.
export function wordStart(text, caret, isList) {
  return isList ? text.slice(0, caret).lastIndexOf(" ") + 1 : 0;
}

// All options while nothing is typed yet, then those whose word or title holds what is typed.
export function suggested(options, text, caret, isList, isFresh) {
  const typed = text.slice(wordStart(text, caret, isList), caret).toLowerCase();
  const isLike = words => words.toLowerCase().includes(typed);
  return options.filter(([word, title]) => (isFresh && !isList) || isLike(word) || isLike(title));
}

// The text with the word under the cursor completed, and where the cursor is then.
export function completed(text, caret, word, isList) {
  const start = wordStart(text, caret, isList);
  const end = isList ? caret : text.length;
  return { text: text.slice(0, start) + word + text.slice(end), caret: start + word.length };
}

export class PickList {
  // `onPicked` is called with a word that was clicked.
  constructor(root, input, { options, isList }, onPicked) {
    Object.assign(this, { root, input, options, isList, at: -1, found: [], before: input.value });
    this.box = el("ul", { class: "pk-suggestions", role: "listbox", hidden: true });
    this.box.addEventListener("pointerdown", event => {
      event.preventDefault(); // the field keeps the keyboard
      const number = [...this.box.children].indexOf(event.target.closest("li"));
      if (number < 0) return;
      this.take(this.found[number][0]);
      onPicked();
    });
    input.setAttribute("role", "combobox");
    input.addEventListener("input", () => this.paint());
  }

  // `before` is the text that nothing was typed to yet.
  open(before = this.input.value) {
    this.before = before;
    this.root.append(this.box);
    const box = this.input.getBoundingClientRect();
    const home = this.root.getBoundingClientRect();
    this.box.style.left = `${box.left - home.left}px`;
    const isLow = box.bottom + LIST_PX > Math.min(window.innerHeight, home.bottom);
    this.box.style.top = isLow ? "" : `${box.bottom - home.top}px`;
    this.box.style.bottom = isLow ? `${home.bottom - box.top}px` : "";
    this.box.style.minWidth = `${box.width}px`;
    this.box.style.maxWidth = `${home.right - box.left}px`;
    if (this.options.length) this.paint();
  }

  get isOpen() {
    return this.box.isConnected && !this.box.hidden;
  }

  close() {
    this.box.remove();
    this.at = -1;
    this.input.setAttribute("aria-expanded", "false");
  }

  paint() {
    const { value, selectionStart } = this.input;
    const isFresh = value === this.before;
    this.found = suggested(this.options, value, selectionStart, this.isList, isFresh).slice(0, MOST_SHOWN);
    this.at = Math.min(this.at, this.found.length - 1);
    this.box.replaceChildren(
      ...this.found.map(([word, title], number) =>
        el(
          "li",
          {
            role: "option",
            class: number === this.at ? "pk-current" : null,
            "aria-selected": String(number === this.at),
          },
          word,
          title ? el("span", { class: "pk-quiet" }, ` ${title}`) : null,
        ),
      ),
    );
    this.box.hidden = this.found.length === 0;
    this.box.children[this.at]?.scrollIntoView({ block: "nearest" });
    this.input.setAttribute("aria-expanded", String(this.isOpen));
  }

  take(word) {
    const { text, caret } = completed(this.input.value, this.input.selectionStart, word, this.isList);
    this.input.value = text;
    this.input.setSelectionRange(caret, caret);
    this.at = -1;
    this.paint();
  }

  // What was walked to by arrows, if anything, goes into the field.
  takeCurrent() {
    if (this.at >= 0) this.take(this.found[this.at][0]);
  }

  // Whether an arrow was one for the list.
  onArrow(event) {
    if (!this.found.length || !["ArrowDown", "ArrowUp"].includes(event.key)) return false;
    this.at = suggestionAfter(this.at, this.found.length, event.key);
    this.paint();
    event.preventDefault();
    return true;
  }
}
