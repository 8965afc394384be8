// Which key means what, wherever the keyboard is. A key is an event, or anything with its fields.

const TABS = { ArrowRight: 1, ArrowLeft: -1 };
// What `?` shows: where, which keys, what they do; and the act by which the handlers below call it, of those
// that the chart and the console do not handle themselves.
export const KEYS = [
  ["Anywhere", "Ctrl+z", "Undo", "undo"],
  ["Anywhere", "Ctrl+y", "Redo", "redo"],
  ["Anywhere", "Ctrl+Shift+Z", "Redo", "redo"],
  ["Anywhere", "Alt+s", "Save to the scenario's folder", "save"],
  ["Anywhere", "?", "This list", "keys"],
  ["Rows of buttons, tabs", "ArrowLeft ArrowRight", "The one beside; Tab leaves the row"],
  ["Rows of buttons, tabs", "Escape", "Out of a field, to the buttons of its row"],
  ["Splitters", "ArrowUp ArrowDown ArrowLeft ArrowRight", "More or less room; double click: as at first"],
  ["Pages", "PageUp PageDown", "The page before, the next one: of findings, a form, a list of columns"],
  ["Chart", "ArrowLeft ArrowRight ArrowUp ArrowDown", "Choose the step beside, or in the other lane"],
  ["Chart", "Shift+ArrowLeft Shift+ArrowRight", "Choose more; with the mouse Shift or Ctrl and a click"],
  ["Chart", "Enter", "To its row in the table"],
  ["Chart", "+ -", "A minute more or less; zoom while nothing is chosen"],
  ["Chart", "Alt+ArrowLeft Alt+ArrowRight", "Earlier or later in its lane"],
  ["Chart", "Alt+ArrowUp Alt+ArrowDown", "To another lane"],
  ["Chart", "Home", "The whole outing; Ctrl and the wheel zoom, so does a frame drawn on the axis"],
  ["Chart", "z", "The chosen steps fill the chart"],
  ["Chart", "Escape", "Let go of what is dragged; Alt: drag without snapping"],
  ["Campaign", "ArrowUp ArrowDown ArrowLeft ArrowRight", "Choose the task beside"],
  ["Campaign", "Alt+ArrowLeft Alt+ArrowRight", "Try it on the outing beside: asked, not moved"],
  ["Campaign", "Enter", "To Keep, which saves the move; Escape: nothing is moved"],
  ["Campaign", "ArrowLeft ArrowRight", "On Board, Thread, Season, Early end: the view beside"],
  ["Tables", "F2", "Type in the cell; so does any letter", "edit"],
  ["Tables", "Delete", "Empty the chosen cells", "empty"],
  ["Tables", "Alt+n", "A new row below", "add"],
  ["Tables", "Alt+d", "Copy the chosen rows", "duplicate"],
  ["Tables", "Alt+Delete", "Delete the chosen rows", "delete"],
  ["Tables", "Alt+ArrowUp", "Move the chosen rows up", "up"],
  ["Tables", "Alt+ArrowDown", "Move the chosen rows down", "down"],
  ["Tables", "Alt+Enter", "The form of the row; Escape: back to the cell", "form"],
  ["Tables", "Ctrl+Shift+C", "Copy the chosen cells with their heads; Ctrl+C: without", "heads"],
  ["Outside", "1 2", "Choose a card; a bar that is chosen is the step to log"],
  ["Outside", "s f p k r", "On a card: started, finished, partly, skipped, rate"],
  ["Outside", "Enter", "In a field of a card: log the bold one; a time left empty is now"],
  ["Outside", "a", "Abort: shows the way home first; nothing is called before its button"],
  ["Outside", "t", "Terminate: the same"],
  ["Outside", "e", "Response: what is done when something goes wrong; a digit chooses"],
  ["Outside", "n", "The chart around now, which it follows; or the whole outing"],
  ["Outside", "Escape", "Take back a call, or end a preview"],
];

// `Alt+ArrowUp` as the event that it comes as.
export function keyEvent(name) {
  const held = name.split("+").slice(0, -1);
  return {
    key: name === "+" ? "+" : name.split("+").pop(),
    altKey: held.includes("Alt"),
    ctrlKey: held.includes("Ctrl"),
    metaKey: false,
    shiftKey: held.includes("Shift"),
  };
}

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
    return null;
  }
  if (key === "?" && !altKey && !isTyping) return "keys";
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
