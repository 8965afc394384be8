import { Pages, turnTo } from "/static/pages.js";
import { el } from "/static/dom.js";
import { equal, frame, placed, press, test } from "./check.js";

// A pane of 200 x 300 px with so many entries of 40 px.
function opened(count, height = 300) {
  const entries = Array.from({ length: count }, (_, at) =>
    el("li", { style: "height: 40px" }, `entry ${at}`),
  );
  const pane = el("ul", { style: `width: 196px; height: ${height}px; margin: 0; padding: 0 2px` }, entries);
  const pages = new Pages(pane);
  placed(
    el(
      "style",
      {},
      ".pk-paged { overflow: hidden; columns: 1; column-gap: 4px; column-fill: auto; }",
      "li { display: block; break-inside: avoid; } .pk-one-page { columns: auto; overflow: auto; }",
    ),
  );
  for (const part of pages.parts) placed(part);
  pages.fit();
  return { pane, pages, entries };
}

test("what fits has no pages, what does not is turned whole pages on and back", () => {
  equal(opened(7).pages.bar.hidden, true);
  const { pane, pages } = opened(16);
  const place = () => [pages.place.textContent, pane.scrollLeft];
  equal([pages.bar.hidden, ...place()], [false, "1 of 3", 0]);
  equal([pages.before.ariaDisabled, pages.next.ariaDisabled], ["true", "false"]);
  pages.before.click();
  equal(place(), ["1 of 3", 0]);
  pages.next.click();
  equal(place(), ["2 of 3", 200]);
  equal(press(pane, "PageDown"), true);
  equal(place(), ["3 of 3", 400]);
  press(pane, "PageDown");
  equal(place(), ["3 of 3", 400]);
  press(pane, "PageUp");
  equal(place(), ["2 of 3", 200]);
});

test("a part that is sought brings its page, and fewer entries the last page", async () => {
  const { pane, pages, entries } = opened(16);
  turnTo(pane, entries[15]);
  await frame();
  equal(pages.place.textContent, "3 of 3");
  pane.scrollLeft = 130; // as a field that gets the keyboard scrolls
  await frame();
  equal([pages.place.textContent, pane.scrollLeft], ["2 of 3", 200]);
  for (const each of entries.slice(7)) each.remove();
  await frame();
  equal([pages.bar.hidden, pane.scrollLeft], [true, 0]);
});

test("a pane too low for a page scrolls, and so does one with an entry higher than a page", () => {
  equal(opened(16, 100).pane.classList.contains("pk-one-page"), true);
  const { pane, pages, entries } = opened(16);
  equal(pane.classList.contains("pk-one-page"), false);
  entries[3].style.height = "400px";
  pages.fit();
  equal([pane.classList.contains("pk-one-page"), pages.bar.hidden], [true, true]);
});
