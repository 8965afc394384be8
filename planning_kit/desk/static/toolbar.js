// Above the chart: the head, one row of controls, what is rarely wanted in a menu; and the messages that need
// an answer.

import { ConflictPanel } from "./conflict.js";
import { button, el, oneStop, openDialog, options, say } from "./dom.js";
import { Head } from "./head.js";
import { KEYS } from "./keys.js";
import { Menu } from "./menu.js";
import { PetZeroSlider } from "./pet_zero.js";

const MOST_OFFERS = 3;
const ARROWS = { Up: "↑", Down: "↓", Left: "←", Right: "→" };

export class Toolbar {
  // `acts`: what the menu offers besides versions and the export; `events`: what the head opens.
  constructor(root, send, chart, { acts, events }) {
    Object.assign(this, { root, send });
    // Greyed out, not disabled: a disabled button would lose the keyboard's place.
    const able = (label, kind) =>
      button(label, "", event => event.currentTarget.ariaDisabled !== "true" && send({ kind }), {
        "data-act": kind,
      });
    this.undo = able("Undo", "undo");
    this.redo = able("Redo", "redo");
    this.save = able("Save", "save");
    this.save.title = "Save to the scenario's folder (Alt+S)";
    this.versions = el("select", { class: "pk-field", "aria-label": "Version", title: "A named version" });
    const act = (kind, words, hint, told, more = {}) => {
      const tell = () => send({ kind, ...told() });
      const press = event => (tell(), event.target.closest("dialog")?.close());
      return [button(words, hint, press, { "data-act": kind, ...more }), tell];
    };
    // Enter in the field does it too, and closes the window by itself.
    const typed = (field, kind, words, hint) => {
      const told = () => {
        const text = field.value;
        field.value = "";
        return { [kind === "keep" ? "name" : "folder"]: text };
      };
      const [pressed, tell] = act(kind, words, hint, told);
      field.addEventListener("keydown", event => event.key === "Enter" && tell());
      return el("div", { class: "pk-group" }, field, pressed);
    };
    const field = (label, placeholder) =>
      el("input", { class: "pk-field", placeholder, "aria-label": label });
    this.name = field("Name of a new version", "name a version");
    this.folder = field("New folder for the export", "new folder");
    const out = typed(this.folder, "export", "Export", "Save as a new folder beside this one");
    const version = () => ({ name: this.versions.value });
    const versions = [
      typed(this.name, "keep", "Keep", "Keep what is typed under this name"),
      el(
        "div",
        { class: "pk-group" },
        this.versions,
        act("switch", "Switch", "Make this version current (undo leads back)", version)[0],
        act("drop", "×", "Delete this version", version, { "aria-label": "Delete this version" })[0],
      ),
    ];
    this.state = el("span", { class: "pk-state", role: "status" });
    this.head = new Head(chart, events);
    this.said = el("div", { class: "pk-said", role: "status" });
    this.asks = el("div", { class: "pk-asks" });
    this.clash = el("div", { class: "pk-asks" });
    this.pet_zero = new PetZeroSlider(send);
    const isPlanning = () => root.dataset.mode !== "outside";
    this.menu = new Menu("More ▾", "More", () => [
      ...(isPlanning()
        ? [
            ["versions", "Versions…", () => openDialog(root, "Versions", versions)],
            ["held", "Held against…", () => events.onAgainst()],
            ["out", "Export to a new folder…", () => openDialog(root, "Export", out)],
          ]
        : []),
      ...acts,
      ["keys", "Keys (?)", () => this.showKeys()],
    ]);
    const group = (...parts) => el("span", { class: "pk-group" }, parts);
    this.box = oneStop(
      el(
        "div",
        { class: "pk-toolbar", role: "toolbar", "aria-label": "Plan" },
        group(this.undo, this.redo),
        group(this.save, this.state),
        this.pet_zero.box,
        group(
          button("−", "Zoom out", () => chart.zoom(1.5), { "aria-label": "Zoom out" }),
          button("+", "Zoom in (Ctrl and wheel)", () => chart.zoom(1 / 1.5), { "aria-label": "Zoom in" }),
          button("All", "The whole outing (Home)", () => chart.zoomAll()),
        ),
        this.menu.box,
      ),
    );
  }

  showKeys() {
    const shown = keys =>
      keys
        .split(" ")
        .map(each => each.replace(/Arrow(\w+)/, (_, way) => ARROWS[way]))
        .map(each => each.replace(/\b[a-z]$/, letter => letter.toUpperCase()));
    const places = [...new Set(KEYS.map(([place]) => place))];
    openDialog(
      this.root,
      "Keys",
      el(
        "div",
        { class: "pk-keys" },
        places.map(place =>
          el(
            "section",
            {},
            el("h4", { class: "pk-sub" }, place),
            el(
              "dl",
              {},
              KEYS.filter(each => each[0] === place).flatMap(([, keys, does]) => [
                el(
                  "dt",
                  {},
                  shown(keys).map(each => el("kbd", {}, each)),
                ),
                el("dd", {}, does),
              ]),
            ),
          ),
        ),
      ),
    );
  }

  show(status) {
    this.undo.ariaDisabled = String(!status.undo);
    this.redo.ariaDisabled = String(!status.redo);
    this.save.ariaDisabled = String(!status.unsaved);
    this.undo.title = status.undo ? `Undo: ${status.undo} (Ctrl+Z)` : "Nothing to undo";
    this.redo.title = status.redo ? `Redo: ${status.redo} (Ctrl+Y)` : "Nothing to redo";
    this.isKept = status.is_kept;
    const unsaved = status.is_kept ? "unsaved" : "unsaved, not kept on disk";
    say(this.state, status.unsaved ? unsaved : "saved");
    this.state.classList.toggle("pk-unsaved", status.unsaved);
    options(
      this.versions,
      status.versions.map(name => [name, name]),
      this.versions.value,
    );
    this.head.setFacts(status.head, status.baseline, status.against);
    this.head.setFaults(status.faults);
    this.pet_zero.show(status.pet_zero);
  }

  say(message) {
    const back = message.way_back;
    this.said.replaceChildren(
      message.text,
      ...(back
        ? [" ", button(back.label, "", () => this.send({ kind: back.kind }), { "data-act": back.kind })]
        : []),
    );
    this.said.className = `pk-said pk-said-${message.level}`;
    clearTimeout(this.timer);
    if (message.level === "good" && !back) this.timer = setTimeout(() => this.hush(), 8000);
  }

  hush() {
    this.said.replaceChildren();
  }

  offer({ offers }) {
    const more = offers.length - MOST_OFFERS;
    const told = `${more} more, shown when one of these is gone.`;
    const left = more > 0 ? [el("div", { class: "pk-ask" }, told)] : [];
    this.asks.replaceChildren(...offers.slice(0, MOST_OFFERS).map(offer => this.asked(offer)), ...left);
  }

  asked(offer) {
    const act = (label, hint, kind) =>
      button(label, hint, () => this.send({ kind, path: offer.path }), { "data-act": kind });
    const inUse = [
      `Another session on this scenario is open, with unsaved work of ${offer.written}: ` +
        "in use, it stays with that session. ",
      act("Copy", "Take a copy of it into this session; undo leads back", "restore"),
    ];
    const left = [
      `There is unsaved work on this scenario, last written ${offer.written}. `,
      act("Restore", "Take it up; undo leads back", "restore"),
      act("Discard", "Delete it", "discard"),
    ];
    return el("div", { class: "pk-ask", role: "alert" }, ...(offer.in_use ? inUse : left));
  }

  conflict(message) {
    const panel = new ConflictPanel(message, this.send, () => this.clash.replaceChildren());
    this.clash.replaceChildren(panel.box);
    panel.box.focus({ preventScroll: true });
  }
}
