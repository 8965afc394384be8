// Which key means what, wherever the keyboard is. A key is an event, or anything with its fields.

const TABS = { ArrowRight: 1, ArrowLeft: -1 };
const ROW_ACTS = {
  n: "add",
  d: "duplicate",
  Delete: "delete",
  ArrowUp: "up",
  ArrowDown: "down",
  Enter: "form",
};

// The tab that an arrow leads to, round and round; null: the key is not one for tabs.
export function tabAfter(names, name, key) {
  const by = TABS[key];
  return by ? names[(names.indexOf(name) + by + names.length) % names.length] : null;
}

// Anywhere in the workbench. In a field undo is the field's own, and Ctrl+S is the notebook's.
export function benchAct({ key, altKey, ctrlKey, metaKey, shiftKey }, isTyping) {
  const letter = key.toLowerCase();
  if (ctrlKey || metaKey) {
    if (!isTyping && letter === "y") return "redo";
    if (!isTyping && letter === "z") return shiftKey ? "redo" : "undo";
  }
  return altKey && letter === "s" ? "save" : null;
}

// With Alt, of the chosen rows of a table.
export function rowAct({ key, altKey, ctrlKey, metaKey }) {
  return altKey && !ctrlKey && !metaKey ? (ROW_ACTS[key] ?? null) : null;
}

// Of the chosen cells: copied with the names of their columns.
export function isCopyWithHeads({ key, altKey, ctrlKey, metaKey, shiftKey }) {
  return (ctrlKey || metaKey) && shiftKey && !altKey && key.toLowerCase() === "c";
}

// Without Alt or Ctrl, of the chosen cells of a table.
export function cellAct({ key, altKey, ctrlKey, metaKey }) {
  if (altKey || ctrlKey || metaKey) return null;
  if (key === "Delete" || key === "Backspace") return "empty";
  return key === "F2" || key.length === 1 ? "edit" : null;
}

// The entry of a list of suggestions that an arrow leads to; -1: none is chosen.
export function suggestionAfter(at, count, key) {
  if (key === "ArrowDown") return (at + 1) % count;
  return at < 0 ? count - 1 : (at + count - 1) % count;
}
