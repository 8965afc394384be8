// Rows of bars over one axis: a thread, the dates of a season, what an early end leaves. Where a bar begins
// and ends is a share of the width, so that nothing here measures or follows a size.

import { el } from "./dom.js";

const percent = share => `${100 * share}%`;

// `now`: a share at which a line stands through all rows; `key`: what the fills mean.
export function strips({ rows = [], ticks = [], now, key = [] }, label) {
  return el(
    "div",
    { class: "pk-strips", role: "group", "aria-label": label },
    rows.map(row =>
      el(
        "div",
        { class: "pk-strip" },
        el("span", { class: "pk-strip-name" }, row.label),
        el("div", { class: "pk-strip-bars" }, row.bars.map(bar), now === undefined ? null : line(now)),
      ),
    ),
    el(
      "div",
      { class: "pk-strip pk-strip-axis", "aria-hidden": "true" },
      el("span", { class: "pk-strip-name" }),
      el(
        "div",
        { class: "pk-strip-bars" },
        ticks.map(([at, words]) => el("span", { class: "pk-tick", style: `left: ${percent(at)}` }, words)),
      ),
    ),
    key.length
      ? el(
          "p",
          { class: "pk-strip-key" },
          key.map(([fill, words]) =>
            el("span", {}, el("i", { class: "pk-strip-bar", "data-fill": fill }), words),
          ),
        )
      : null,
  );
}

// A fill is a colour, the name of a look, or a look with its strength, such as `night 0.6`.
function bar([from, to, words, fill, more]) {
  const [look, strength] = fill.split(" ");
  const colour = look.startsWith("#") ? `background: ${look};` : "";
  return el(
    "span",
    {
      class: "pk-strip-bar",
      "data-fill": look.startsWith("#") ? "task" : look,
      style: `left: ${percent(from)}; width: ${percent(to - from)}; --strength: ${strength ?? 1}; ${colour}`,
      title: more,
    },
    words,
  );
}

function line(at) {
  return el("i", { class: "pk-strip-now", style: `left: ${percent(at)}`, "aria-hidden": "true" });
}
