// The station map by keyboard. Plotly draws its buttons, lists and slider for the mouse alone: here each gets
// a name, a role, a place in the order of Tab, and its keys. The keys do what the mouse would do. What is
// asked for, with keys or mouse, happens in the order in which it is asked.

const MAP = ".js-plotly-plot";
const STEP_INSET_PX = 10; // of plotly's slider: between the end of its rail and its first step

function isMap(plot) {
  return (
    plot._fullLayout &&
    plot._transitionData &&
    plot._transitionData._frames.length > 0 &&
    plot.querySelector(".slider-group")
  );
}

function pressed(element) {
  element.dispatchEvent(new MouseEvent("click", { bubbles: true, cancelable: true, view: window }));
}

export function petLabel(minutes) {
  const whole = Math.round(minutes);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

function slider(plot) {
  return plot._fullLayout.sliders[0];
}

function frameNames(plot) {
  return slider(plot).steps.map(step => step.args[0][0]);
}

// The slider is moved as by a press on its rail: plotly itself is not to be had in every page.
function moveTo(plot, wanted) {
  const count = slider(plot).steps.length;
  const step = Math.min(Math.max(wanted, 0), count - 1);
  const group = plot.querySelector(".slider-group");
  const { inputAreaStart, inputAreaLength } = group.__data__._dims;
  const room = inputAreaLength - 2 * STEP_INSET_PX - 2 * inputAreaStart;
  const x = STEP_INSET_PX + inputAreaStart + (count > 1 ? step / (count - 1) : 0) * room;
  const origin = group.getScreenCTM();
  const at = {
    clientX: origin.e + x * origin.a,
    clientY: origin.f,
    bubbles: true,
    cancelable: true,
    view: window,
  };
  group.querySelector(".slider-rail-touch-rect").dispatchEvent(new MouseEvent("mousedown", at));
  plot.dispatchEvent(new MouseEvent("mouseup", at));
  dress(plot);
}

function named(element, role, name) {
  element.setAttribute("tabindex", "0");
  element.setAttribute("role", role);
  element.setAttribute("aria-label", name);
  element.setAttribute("data-lm-suppress-shortcuts", "true"); // a notebook leaves these keys alone
  element.classList.add("station-map-key");
}

function ranged(element, now, count, words) {
  element.setAttribute("aria-valuemin", "0");
  element.setAttribute("aria-valuemax", String(count - 1));
  element.setAttribute("aria-valuenow", String(now));
  element.setAttribute("aria-valuetext", words);
}

// A list is stepped through entry by entry, without being opened; its first entry is its own name.
function entriesOf(plot, menu) {
  return plot._fullLayout.updatemenus[menu].buttons.slice(1);
}

function dress(plot) {
  const rail = plot.querySelector(".slider-group");
  const frames = frameNames(plot);
  const active = Number(slider(plot).active);
  named(rail, "slider", "PET");
  ranged(rail, active, frames.length, `PET ${petLabel(Number(frames[active]))}`);
  plot.querySelectorAll(".updatemenu-button").forEach(button => {
    named(button, "button", button.textContent.replace(/^\W+/u, "").trim());
  });
  plot.querySelectorAll(".updatemenu-header").forEach(header => {
    const menu = header.__data__._index;
    const name = plot._fullLayout.updatemenus[menu].name;
    const entries = entriesOf(plot, menu);
    const at = Number(header.dataset.entry ?? -1);
    named(header, "spinbutton", name);
    ranged(header, at, Math.max(entries.length, 1), at < 0 ? "none chosen" : entries[at].label);
    header.setAttribute("aria-valuemin", "-1");
  });
}

// The step of the slider that a key leads to; undefined: the key is none of its own.
export function stepAfter(key, now, last) {
  return {
    ArrowRight: now + 1,
    ArrowUp: now + 1,
    ArrowLeft: now - 1,
    ArrowDown: now - 1,
    PageUp: now + 10,
    PageDown: now - 10,
    Home: 0,
    End: last,
  }[key];
}

// The entry of a list that a key leads to, before it is kept within the list.
export function entryAfter(key, now, last) {
  return {
    ArrowDown: now + 1,
    ArrowRight: now + 1,
    ArrowUp: now - 1,
    ArrowLeft: now - 1,
    Home: 0,
    End: last,
    Enter: Math.max(now, 0),
    " ": Math.max(now, 0),
  }[key];
}

function onSlider(plot, key) {
  const to = stepAfter(key, Number(slider(plot).active), slider(plot).steps.length - 1);
  if (to === undefined) return false;
  moveTo(plot, to);
  return true;
}

function onList(plot, header, key) {
  const entries = entriesOf(plot, header.__data__._index);
  const last = entries.length - 1;
  const to = entryAfter(key, Number(header.dataset.entry ?? -1), last);
  if (to === undefined || last < 0) return to !== undefined;
  const entry = Math.min(Math.max(to, 0), last);
  header.dataset.entry = String(entry);
  moveTo(plot, frameNames(plot).indexOf(entries[entry].args[0][0]));
  return true;
}

// Plotly jumps to where its slider was pressed when the page is drawn next, but plays at once. Where drawing
// is slow, play pressed in between would come first and be ended by the jump: it waits for the jump.
export function installOrder() {
  let jump = null; // the latest one asked for and not under way
  const waiting = [];

  function jumps() {
    const asked = {};
    jump = asked;
    // Drawn once, plotly has been asked for the frame; drawn twice, it has taken it, even from within a film.
    const underWay = () => {
      if (jump !== asked) return;
      jump = null;
      waiting.splice(0).forEach(pressed);
    };
    window.requestAnimationFrame(() => window.requestAnimationFrame(underWay));
  }

  function within(event, selector) {
    const element = event.target.closest && event.target.closest(selector);
    return element && element.closest(MAP) ? element : null;
  }

  window.addEventListener(
    "mousedown",
    event => {
      if (!within(event, ".slider-group")) return;
      jumps();
      window.addEventListener("mouseup", jumps, { capture: true, once: true }); // it may have been dragged
    },
    true,
  );
  window.addEventListener(
    "click",
    event => {
      const button = jump && within(event, ".updatemenu-button, .updatemenu-dropdown-button");
      if (!button) return;
      event.stopPropagation();
      waiting.push(button);
    },
    true,
  );
}

export function installKeys() {
  document.addEventListener(
    "keydown",
    event => {
      const element = event.target.closest && event.target.closest(".station-map-key");
      const plot = element && element.closest(MAP);
      if (!plot || event.ctrlKey || event.altKey || event.metaKey) return;
      let isDone = false;
      if (element.matches(".slider-group")) isDone = onSlider(plot, event.key);
      else if (element.matches(".updatemenu-header")) isDone = onList(plot, element, event.key);
      else if (event.key === "Enter" || event.key === " ") {
        pressed(element);
        isDone = true;
      }
      if (!isDone) return;
      event.preventDefault();
      event.stopPropagation();
    },
    true,
  );

  // Charts come, and plotly redraws its controls, whenever it likes.
  let isWaiting = false;
  function dressAll() {
    isWaiting = false;
    document.querySelectorAll(MAP).forEach(plot => {
      if (isMap(plot)) dress(plot);
    });
  }
  new MutationObserver(() => {
    if (isWaiting) return;
    isWaiting = true;
    window.setTimeout(dressAll, 300);
  }).observe(document.documentElement, { childList: true, subtree: true });
  dressAll();

  const look = document.createElement("style");
  look.textContent =
    ".station-map-key:focus { outline: none; }" +
    ".station-map-key:focus-visible { outline: 3px solid #C44E00; outline-offset: 2px; }" +
    ".station-map-key:focus-visible rect { stroke: #C44E00 !important; stroke-width: 3px !important; }";
  document.head.append(look);
}
