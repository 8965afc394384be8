// One field of the form of a row: the control that fits what it holds. It gives text, as a cell does.

import { button, el } from "./dom.js";
import { PickList } from "./pick_list.js";

// `commit` is called with the text once it is typed in full; `known` holds what is offered (`suggestionsOf`).
export function fieldControl(root, { label, field, known, isKeyed }, commit) {
  const attributes = { class: "pk-field", "aria-label": label, spellcheck: "false" };
  if (field.is_list && !isKeyed) return chips(root, attributes, label, known, commit);
  if (field.choices.length && !field.refers_to.length && !field.is_number && !field.is_list)
    return choice(attributes, field, commit);
  const isWords = field.kind === "text" && !known.options.length;
  return text(root, el(isWords ? "textarea" : "input", { ...attributes, rows: 1 }), known, commit);
}

// A field for text; with a list of what is known where there is one.
function text(root, input, known, commit) {
  let before = "";
  const finish = () => {
    list.close();
    if (input.value === before) return;
    before = input.value;
    commit(input.value);
  };
  const list = new PickList(root, input, known, () => known.isList || finish());
  if (!known.options.length) input.removeAttribute("role");
  input.addEventListener("focus", () => {
    list.open();
    if (input.matches("input")) input.select();
  });
  input.addEventListener("blur", finish);
  input.addEventListener("keydown", event => {
    if (list.onArrow(event)) return;
    const isLine = event.key === "Enter" && !(event.shiftKey && input.matches("textarea"));
    if (isLine) {
      list.takeCurrent();
      finish();
    } else if (event.key === "Tab") {
      list.takeCurrent();
      return;
    } else if (event.key === "Escape" && (list.at >= 0 || input.value !== before)) {
      list.close(); // first what was typed or walked to, then the form
      input.value = before;
      event.stopPropagation();
    } else return;
    event.preventDefault();
  });
  const set = words => {
    if (input.value !== before) return; // somebody is typing here
    before = words;
    input.value = words;
    if (input.matches("textarea")) input.rows = Math.min(6, Math.max(1, Math.ceil(words.length / 38)));
  };
  return { box: input, input, set };
}

// One of a few words; what is typed in the cell otherwise is shown as it is.
function choice(attributes, field, commit) {
  const input = el("select", { ...attributes, onchange: () => commit(input.value) });
  const set = words => {
    const offered = [...new Set(["", ...field.choices, words])];
    input.replaceChildren(...offered.map(word => el("option", { value: word }, word || "(empty)")));
    input.value = words;
  };
  return { box: input, input, set };
}

// Several ids: each stands by itself and can be taken away, the field behind them adds one.
function chips(root, attributes, label, known, commit) {
  const titles = new Map(known.options);
  const input = el("input", { ...attributes, placeholder: "add" });
  const box = el("div", { class: "pk-chips", role: "group", "aria-label": label });
  let held = [];
  const add = () => {
    const added = input.value.split(/\s+/).filter(Boolean);
    input.value = "";
    list.close();
    if (added.length) commit([...held, ...added].join(" "));
  };
  const drop = number => {
    input.focus();
    commit(held.filter((_, each) => each !== number).join(" "));
  };
  const list = new PickList(root, input, { ...known, isList: false }, add);
  input.addEventListener("focus", () => list.open());
  input.addEventListener("blur", add);
  input.addEventListener("keydown", event => {
    if (list.onArrow(event)) return;
    if (event.key === "Enter" || (event.key === " " && input.value.trim())) {
      list.takeCurrent();
      add();
      list.open();
    } else if (event.key === "Backspace" && !input.value && held.length) drop(held.length - 1);
    else if (event.key === "Escape" && (list.at >= 0 || input.value)) {
      list.close();
      input.value = "";
      event.stopPropagation();
    } else return;
    event.preventDefault();
  });
  const set = words => {
    held = words.split(/\s+/).filter(Boolean);
    const chip = (word, number) =>
      el(
        "span",
        { class: "pk-chip", title: titles.get(word) },
        word,
        button("×", `Take ${word} out`, () => drop(number), { "aria-label": `Take ${word} out` }),
      );
    for (const each of [...box.children]) if (each !== input) each.remove();
    box.prepend(...held.map(chip));
    if (!input.isConnected) box.append(input);
  };
  return { box, input, set };
}
