// The workbench as it is on the screen, as one HTML page that needs nothing: no script, no address. It is
// made of text nodes and of copies of what is shown, so that text of others stays text.

import { el, tableOf } from "./dom.js";

export const CAUTION =
  "A planning aid, not a certified tool: the flight rules and licensed, responsible people decide. " +
  "Limits are the scenario's own.";
const STYLE = "data:text/css;charset=utf-8,";
const POLICY = "default-src 'none'; style-src data: 'unsafe-inline'";

// A copy that can be looked at only.
function still(node) {
  const copy = node.cloneNode(true);
  copy.querySelectorAll(".pk-live, [aria-busy=true]").forEach(each => each.remove());
  for (const each of [copy, ...copy.querySelectorAll("*")]) {
    for (const name of ["tabindex", "hidden", "role"]) each.removeAttribute(name);
    if (each.localName !== "button") continue;
    each.replaceWith(el("span", { class: each.className, title: each.title }, ...each.childNodes));
  }
  return copy;
}

function ownStyle() {
  const rules = [...document.styleSheets].flatMap(sheet => {
    try {
      return [...sheet.cssRules];
    } catch {
      return []; // of another address: none of ours
    }
  });
  const words = rules.map(rule => rule.cssText).filter(text => text.includes(".pk-"));
  const page =
    ".pk-page { height: auto; display: block; margin: 1em; } .pk-page .pk-paged { columns: auto; }";
  return `${words.join("\n")} ${page}`;
}

export function pageOf({ root, head, chart, side, tables }) {
  const { title, station } = chart.chart;
  const section = (words, ...parts) => [el("h2", {}, words), ...parts];
  const sheets = Object.entries(tables.sheets).filter(([, sheet]) => sheet.order.length);
  const body = el(
    "body",
    { class: "pk-workbench pk-page", "data-theme": root.dataset.theme },
    el("h1", {}, title),
    el("p", {}, `${station}. As on the screen at ${new Date().toISOString().slice(0, 16)}Z.`),
    el("p", {}, CAUTION),
    still(head.box),
    side.faultBox.hidden ? null : still(side.faultBox),
    still(chart.canvas),
    section("Findings", still(side.panes.findings)),
    section("Margins", still(side.panes.margins)),
    sheets.flatMap(([name, sheet]) =>
      section(
        name,
        tableOf(
          sheet.columns,
          sheet.order.map(line => sheet.rows[line]),
        ),
      ),
    ),
  );
  const html = el(
    "html",
    { lang: "en" },
    el(
      "head",
      {},
      el("meta", { charset: "utf-8" }),
      el("meta", { "http-equiv": "Content-Security-Policy", content: POLICY }),
      el("title", {}, title),
      el("link", { rel: "stylesheet", href: `${STYLE}${encodeURIComponent(ownStyle())}` }),
    ),
    body,
  );
  return `<!doctype html>${new XMLSerializer().serializeToString(html)}`;
}

// Handed to the reader's browser under a name.
export function download(blob, name) {
  const href = URL.createObjectURL(blob);
  const link = el("a", { href, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(href), 10000);
}
