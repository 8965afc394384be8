// One editor for every cell: a plain field that keeps whatever is typed, with a list of what is allowed.
// In a cell that holds several ids the list completes the word under the cursor.

import { el } from "./dom.js";

const MOST_SUGGESTIONS = 12;
const LIST_PX = 250;

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

    const wordStart = () => (isList ? input.value.slice(0, input.selectionStart).lastIndexOf(" ") + 1 : 0);
    const shownWords = () => {
      const typed = input.value.slice(wordStart(), input.selectionStart).toLowerCase();
      const isFresh = input.value === before;
      return words
        .filter(word => (isFresh && !isList) || word.toLowerCase().includes(typed))
        .slice(0, MOST_SUGGESTIONS);
    };
    const take = word => {
      const start = wordStart();
      const end = isList ? input.selectionStart : input.value.length;
      input.value = input.value.slice(0, start) + word + input.value.slice(end);
      const caret = start + word.length;
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
        at = (at + (event.key === "ArrowDown" ? 1 : found)) % found;
        if (event.key === "ArrowUp" && at === found) at = found - 1;
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
