// Small tools for building the page. Text always goes in as text: nothing here reads markup.

const SVG_NS = "http://www.w3.org/2000/svg";

export function el(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

export function svg(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG_NS, tag), attributes, children);
}

function filled(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat()) {
    if (child === null || child === undefined) continue;
    node.append(child instanceof Node ? child : document.createTextNode(String(child)));
  }
  return node;
}

export function button(label, hint, onclick, attributes = {}) {
  return el("button", { type: "button", class: "pk-button", title: hint, onclick, ...attributes }, label);
}

export function pet(minutes) {
  const whole = Math.floor(minutes + 0.5);
  const size = Math.abs(whole);
  return `${whole < 0 ? "−" : ""}${Math.floor(size / 60)}:${String(size % 60).padStart(2, "0")}`;
}

export function gmt(ms) {
  const moment = new Date(ms + 30000);
  const first = Date.UTC(moment.getUTCFullYear(), 0, 1);
  const day = Math.floor((moment.getTime() - first) / 86400000) + 1;
  return `${String(day).padStart(3, "0")}/${moment.toISOString().slice(11, 16)}`;
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
