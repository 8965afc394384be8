// One editor for every cell: a plain field that keeps whatever is typed, with a list of what is allowed.

import { el } from "./dom.js";
import { PickList } from "./pick_list.js";

// `write` hears what was typed before the grid shows it: the grid takes its time.
export function cellEditor(root, suggestionsFor, firstKey, write) {
  return function (cell, onRendered, success, cancel) {
    const before = cell.getValue() ?? "";
    const suggestions = suggestionsFor(cell);
    const isLong = before.includes("\n");
    const input = el(isLong ? "textarea" : "input", {
      class: "pk-input",
      "aria-label": cell.getField(),
      spellcheck: "false",
    });
    input.value = before;
    let isDone = false;
    const end = act => {
      if (isDone) return;
      isDone = true;
      list.close();
      act();
    };
    const finish = () =>
      end(() => {
        if (input.value === before) return cancel();
        write(cell, input.value);
        return success(input.value);
      });
    const list = new PickList(root, input, suggestions, () => suggestions.isList || finish());

    input.addEventListener("blur", finish);
    input.addEventListener("keydown", event => {
      if (event.key === "Escape") {
        end(cancel);
        event.preventDefault();
      } else if (list.onArrow(event)) {
        // The arrow was the list's.
      } else if (event.key === "Enter" && !(isLong && event.shiftKey)) {
        list.takeCurrent();
        finish();
        event.preventDefault();
      } else if (event.key === "Tab") {
        list.takeCurrent();
        finish();
        return;
      }
      event.stopPropagation();
    });
    onRendered(() => {
      input.style.height = isLong ? "6em" : "100%";
      const key = firstKey();
      if (key !== null) input.value = key;
      input.focus({ preventScroll: true });
      if (key === null) input.select();
      list.open(before);
    });
    return input;
  };
}
