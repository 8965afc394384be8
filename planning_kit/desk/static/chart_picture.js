// The chart as a file that stands alone: what is seen of it, with its title, legend and caution, and nothing
// that must be fetched.

import { xOf } from "./chart_hands.js";
import { CHART_LEFT, CHART_RIGHT, layoutLanes, ticksFor } from "./chart_layout.js";
import { legendGroup, legendOf } from "./chart_legend.js";
import { paintChart } from "./chart_paint.js";
import { CHART_FONTS, paintMarks, text } from "./chart_shapes.js";
import { el, svg } from "./dom.js";
import { CAUTION } from "./page.js";
import { gmt } from "./times.js";

const MARGIN_PX = 16;
const TITLE_PX = 30;
const LEAST_WIDTH_PX = 1200;
const LEAST_HEIGHT_PX = 420;
const SCALE = 2;
const STYLE = `text { font-family: ${CHART_FONTS}; font-size: 12px; }
.pk-id { font-weight: 650; font-size: 11px; } .pk-small { font-size: 10px; } .pk-tiny { font-size: 9px; }
.pk-beside, .pk-limit { font-weight: 600; font-size: 10px; }
.pk-letter { font-size: 10px; font-weight: 600; opacity: 0.75; }
.pk-crew-name { font-weight: 650; font-size: 15px; }`;
// What XML cannot hold, whatever somebody has typed.
const UNWRITABLE = /[^\t\n\r\u0020-\uD7FF\uE000-\uFFFD\u{10000}-\u{10FFFF}]/gu;

// The part of the plan that is seen, as SVG text, in the theme that is on.
export function chartSvg(chart) {
  const { chart: data, theme, range, notes, themes } = chart;
  const width = Math.max(LEAST_WIDTH_PX, chart.width ?? 0);
  const clipId = "pk-picture";
  const places = layoutLanes(data, Math.max(LEAST_HEIGHT_PX, chart.places.height));
  const x = minute => xOf(minute, range, width);
  const ticks = ticksFor(range, width - CHART_LEFT - CHART_RIGHT);
  const tight = new Set(notes?.tight);
  const look = { places, x, theme, width, range, ticks, clipId, tight, inkOnFill: themes.ink_on_fill };
  const entries = legendOf({ ...data, phases: [] }, notes, look);
  const legend = legendGroup(entries, theme, width - 2 * MARGIN_PX);
  const top = TITLE_PX + places.height + 10;
  const height = top + legend.height + 22;
  const line = (words, y, more) => text(words, MARGIN_PX, y, { fill: theme.ink, ...more });
  const zero = `PET 0 is ${gmt(data.pet_zero_ms)} GMT.`;
  const picture = svg(
    "svg",
    { xmlns: "http://www.w3.org/2000/svg", viewBox: `0 0 ${width} ${height}`, width, height, role: "img" },
    svg("title", {}, data.title),
    svg("style", {}, STYLE),
    svg("rect", { width, height, fill: theme.paper }),
    line(data.title, 20, { style: "font-size: 15px; font-weight: 650" }),
    text(zero, width - MARGIN_PX, 20, { fill: theme.quiet_ink, "text-anchor": "end" }),
    svg(
      "g",
      { transform: `translate(0,${TITLE_PX})` },
      paintChart(data, look),
      paintMarks(notes?.findings ?? [], look),
    ),
    svg("g", { transform: `translate(${MARGIN_PX},${top})` }, legend.group),
    line(CAUTION, height - 8, { class: "pk-small" }),
  );
  return new XMLSerializer().serializeToString(picture).replace(UNWRITABLE, "\uFFFD");
}

// The same as a PNG of twice the pixels.
export async function chartPng(chart) {
  const source = URL.createObjectURL(new Blob([chartSvg(chart)], { type: "image/svg+xml" }));
  try {
    const image = new Image();
    image.src = source;
    await image.decode();
    const canvas = el("canvas", { width: image.width * SCALE, height: image.height * SCALE });
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    return await new Promise(done => {
      canvas.toBlob(done, "image/png");
    });
  } finally {
    URL.revokeObjectURL(source);
  }
}

// The name of its file, made of the plan's title.
export function pictureName(title, ending) {
  const stem =
    title
      .replace(/[^\p{L}\p{N}]+/gu, "-")
      .replace(/^-+|-+$/g, "")
      .slice(0, 60) || "plan";
  return `${stem}.${ending}`;
}
