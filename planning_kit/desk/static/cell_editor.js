// One editor for every cell: a plain field that keeps whatever is typed, with a list of what is allowed.
// In a cell that holds several ids the list completes the word under the cursor.

import { el } from "./dom.js";
import { suggestionAfter } from "./keys.js";

const MOST_SUGGESTIONS = 12;
const LIST_PX = 250;

// Where the word under the cursor begins: all that is typed, unless the cell holds a list.
export function wordStart(text, caret, isList) {
  return isList ? text.slice(0, caret).lastIndexOf(" ") + 1 : 0;
}

// All words while nothing is typed yet, then those that hold what is typed.
export function suggested(words, text, caret, isList, isFresh) {
  const typed = text.slice(wordStart(text, caret, isList), caret).toLowerCase();
  return words.filter(word => (isFresh && !isList) || word.toLowerCase().includes(typed));
}

// The text with the word under the cursor completed, and where the cursor is then.
export function completed(text, caret, word, isList) {
  const start = wordStart(text, caret, isList);
  const end = isList ? caret : text.length;
  return { text: text.slice(0, start) + word + text.slice(end), caret: start + word.length };
}

export function cellEditor(root, suggestionsFor, firstKey) {
  return function (cell, onRendered, success, cancel) {
    const before = cell.getValue() ?? "";
    const { words, isList } = suggestionsFor(cell);
    const isLong = before.includes("\n");
    const input = el(isLong ? "textarea" : "input", {
      class: "pk-input",
      "aria-label": cell.getField(),
      spellcheck: "false",
    });
    const list = el("ul", { class: "pk-suggestions", role: "listbox" });
    let at = -1;
    let isDone = false;
    input.value = before;

    const shownWords = () => {
      const isFresh = input.value === before;
      return suggested(words, input.value, input.selectionStart, isList, isFresh).slice(0, MOST_SUGGESTIONS);
    };
    const take = word => {
      const { text, caret } = completed(input.value, input.selectionStart, word, isList);
      input.value = text;
      input.setSelectionRange(caret, caret);
      at = -1;
      paint();
    };
    const paint = () => {
      const found = shownWords();
      at = Math.min(at, found.length - 1);
      list.replaceChildren(
        ...found.map((word, number) =>
          el(
            "li",
            {
              role: "option",
              class: number === at ? "pk-current" : null,
              "aria-selected": String(number === at),
              onpointerdown: event => {
                event.preventDefault();
                take(word);
                if (!isList) finish();
              },
            },
            word,
          ),
        ),
      );
      list.hidden = found.length === 0;
    };
    const place = () => {
      const box = input.getBoundingClientRect();
      const home = root.getBoundingClientRect();
      list.style.left = `${box.left - home.left}px`;
      const isLow = box.bottom + LIST_PX > window.innerHeight;
      list.style.top = isLow ? "" : `${box.bottom - home.top}px`;
      list.style.bottom = isLow ? `${home.bottom - box.top}px` : "";
      list.style.minWidth = `${box.width}px`;
    };
    const end = act => {
      if (isDone) return;
      isDone = true;
      list.remove();
      act();
    };
    const finish = () => end(() => (input.value === before ? cancel() : success(input.value)));

    input.addEventListener("input", paint);
    input.addEventListener("blur", finish);
    input.addEventListener("keydown", event => {
      const found = list.childElementCount;
      if (event.key === "Escape") {
        end(cancel);
        event.preventDefault();
      } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && found) {
        at = suggestionAfter(at, found, event.key);
        paint();
        event.preventDefault();
      } else if (event.key === "Enter" && !(isLong && event.shiftKey)) {
        if (at >= 0) take(list.children[at].textContent);
        finish();
        event.preventDefault();
      } else if (event.key === "Tab") {
        if (at >= 0) take(list.children[at].textContent);
        finish();
        return;
      }
      event.stopPropagation();
    });
    onRendered(() => {
      input.style.height = isLong ? "6em" : "100%";
      root.append(list);
      const key = firstKey();
      if (key !== null) input.value = key;
      input.focus({ preventScroll: true });
      if (key === null) input.select();
      place();
      if (words.length) paint();
      else list.hidden = true;
    });
    return input;
  };
}
