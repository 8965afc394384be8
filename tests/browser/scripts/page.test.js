import { CAUTION, pageOf } from "/static/page.js";
import { Head } from "/static/head.js";
import { Side } from "/static/side.js";
import { el, svg } from "/static/dom.js";
import { equal, listener, test } from "./check.js";
import { THEME } from "./sample.js";

const ATTACK = '</title><script>window.harmed = 1</script><img src="x" onerror="window.harmed = 1">';

test("the page holds what is on the screen, as text, with no script and the caution", () => {
  const head = new Head({ theme: THEME }, {});
  head.setFacts([["Both inside", ATTACK, ""]]);
  const side = new Side(document.body, listener(), {});
  const message = `late ${ATTACK}`;
  const margins = [{ what: ATTACK, left: "1 min", share: 0.5, note: "", step: "A1" }];
  side.tell({ findings: [{ severity: "stop", check: "sun", step: "A1", message }], margins }, THEME);
  const text = pageOf({
    root: el("div", { "data-theme": "dark" }),
    head,
    side,
    chart: {
      chart: { title: ATTACK, station: ATTACK },
      canvas: svg("svg", { tabindex: 0 }, svg("text", {}, ATTACK)),
    },
    tables: { sheets: { steps: { columns: [ATTACK], order: [7], rows: { 7: [ATTACK] } } } },
  });
  const read = new DOMParser().parseFromString(text, "text/html");
  equal(read.querySelectorAll("script, img, iframe, button, [tabindex], [onerror]").length, 0);
  equal([read.title, read.querySelector("td").textContent], [ATTACK, ATTACK]);
  equal(read.querySelector("svg text").textContent, ATTACK);
  const words = read.body.textContent;
  equal(
    [CAUTION, message, "1 min"].map(each => words.includes(each)),
    [true, true, true],
  );
  equal(read.querySelector("meta[http-equiv]").content.startsWith("default-src 'none'"), true);
});
