// Small tools for building the page. Text always goes in as text: nothing here reads markup.

import { el, frameOf, svg } from "../../show/film/static/elements.js";
import { tabAfter } from "./keys.js";

export { el, frameOf, svg };

export function button(label, hint, onclick, attributes = {}) {
  return el("button", { type: "button", class: "pk-button", title: hint, onclick, ...attributes }, label);
}

// Words that stand there already are not written again: the page would be laid out anew for them.
export function say(node, words) {
  if (node.textContent !== words) node.textContent = words;
}

// A tab, with a count beside its words where there is something to count.
export function tabButton(words, count, attributes) {
  return el(
    "button",
    { type: "button", role: "tab", class: "pk-tab", ...attributes },
    words,
    count ? el("span", { class: "pk-count" }, count) : null,
  );
}

// A row of controls is one stop for the keyboard: arrows lead on, from a field at the ends of its text, and
// Escape leads out of one. What is hidden or comes later is seen by itself.
export function oneStop(box) {
  const found = () =>
    [...box.querySelectorAll("button:not([role^=menuitem]), select, input")].filter(
      each => each.getClientRects().length && !each.disabled,
    );
  const settle = (at = box.querySelector("[tabindex='0']")) => {
    const all = found();
    for (const each of all) each.tabIndex = each === (all.includes(at) ? at : all[0]) ? 0 : -1;
  };
  const sizes = new ResizeObserver(() => settle());
  const watch = () => box.querySelectorAll("button, select, input").forEach(each => sizes.observe(each));
  new MutationObserver(watch).observe(box, { childList: true, subtree: true });
  watch();
  box.addEventListener("focusin", event => found().includes(event.target) && settle(event.target));
  box.addEventListener("keydown", event => {
    const all = found();
    const { key, target } = event;
    if (!all.includes(target) || event.altKey || event.ctrlKey || event.metaKey) return;
    const isField = target.matches("input:not([type=range])");
    const isLeft = isField && key === "Escape" && !(target.type === "search" && target.value);
    const next = isLeft
      ? all.find(each => each.matches("button"))
      : (!isField || isAtEnd(target, key)) && tabAfter(all, target, key);
    if (!next) return;
    next.focus();
    event.preventDefault();
  });
  return box;
}

// Whether an arrow would leave the text of a field.
function isAtEnd({ value, selectionStart, selectionEnd }, key) {
  const end = key === "ArrowRight" ? value.length : 0;
  return selectionStart === end && selectionEnd === end;
}

// A window of its own in the page: Escape closes it, and the keyboard goes back to where it was.
export function openDialog(root, title, ...parts) {
  const dialog = el(
    "dialog",
    { class: "pk-dialog", "aria-label": title, onclose: () => dialog.remove() },
    el(
      "form",
      { method: "dialog" },
      el("h3", {}, title),
      parts,
      el("button", { class: "pk-button", "data-act": "close_dialog" }, "Close"),
    ),
  );
  root.append(dialog);
  dialog.showModal();
  return dialog;
}

// A button that goes away takes the keyboard's place with it, and the next key would be a command of the
// notebook. `near` says, of what has the focus, how to find where to go on; who leaves willingly is let go.
export class FocusKeeper {
  constructor(root, near) {
    this.onPointer = event => {
      if (!root.contains(event.target)) this.last = null;
    };
    root.addEventListener("focusin", event => {
      this.last = event.target;
      this.next = near(event.target);
    });
    root.addEventListener("focusout", event => {
      if (event.relatedTarget && !root.contains(event.relatedTarget)) this.last = null;
    });
    document.addEventListener("pointerdown", this.onPointer, true);
    this.watch = new MutationObserver(() => this.isGone() && requestAnimationFrame(() => this.goOn()));
    this.watch.observe(root, {
      childList: true,
      subtree: true,
      attributes: true,
      attributeFilter: ["hidden"],
    });
  }

  isGone() {
    return Boolean(this.last) && (!this.last.isConnected || this.last.closest("[hidden]") !== null);
  }

  goOn() {
    if (!this.isGone()) return;
    const isLost = [this.last, document.body, null].includes(document.activeElement);
    this.last = null;
    if (isLost) this.next()?.focus({ preventScroll: true });
  }

  stop() {
    this.watch.disconnect();
    document.removeEventListener("pointerdown", this.onPointer, true);
  }
}

// The choices of a list; what is chosen stays while others come.
export function options(select, pairs, value) {
  const now = JSON.stringify(pairs);
  if (select.dataset.pairs !== now) {
    select.dataset.pairs = now;
    select.replaceChildren(...pairs.map(([key, words]) => el("option", { value: key }, words)));
  }
  if (pairs.some(([key]) => key === value)) select.value = value;
}

export function tableOf(columns, rows, caption) {
  return el(
    "table",
    { class: "pk-plain" },
    caption ? el("caption", {}, caption) : null,
    el(
      "thead",
      {},
      el(
        "tr",
        {},
        columns.map(name => el("th", { scope: "col" }, name)),
      ),
    ),
    el(
      "tbody",
      {},
      rows.map(row =>
        el(
          "tr",
          {},
          row.map(text => el("td", {}, text)),
        ),
      ),
    ),
  );
}

// An arrow on a tab opens the next one, and the focus goes along.
export function turnTab(event, tabs, names, name, open) {
  const next = tabAfter(names, name, event.key);
  if (!next) return;
  open(next);
  tabs.querySelector("[aria-selected=true]").focus();
  event.preventDefault();
}
