import { HEIGHTS, fit, layoutLanes, ticksFor, wrapped } from "/static/chart_layout.js";
import { equal, test } from "./check.js";
import { sampleChart } from "./sample.js";

const strips = places => [
  places.light,
  ...places.links,
  ...Object.values(places.lanes).flatMap(lane => [lane.marks, lane.ghosts, lane.main]),
  ...places.inhibits,
];

test("no strip covers another, and all lie between the two axes", () => {
  for (const ghosts of [[], [["A1", "EV1", 0, 5]]]) {
    const places = layoutLanes(sampleChart({ ghosts }));
    const all = [...new Set(strips(places).filter(Boolean))].sort((a, b) => a.y - b.y);
    all.forEach((strip, at) => {
      if (at) equal(strip.y >= all[at - 1].y + all[at - 1].height, true, `strip ${at}`);
    });
    equal(all[0].y >= HEIGHTS.axis, true);
    const last = all[all.length - 1];
    equal(last.y + last.height <= places.bottom, true);
    equal(places.height, places.bottom + HEIGHTS.axis);
  }
});

test("marks stand above the first of the crew and below the second", () => {
  const { lanes, whole } = layoutLanes(sampleChart());
  equal(lanes.EV1.marks, whole);
  equal(lanes.EV1.marks.y < lanes.EV1.main.y, true);
  equal(lanes.EV2.marks.y > lanes.EV2.main.y, true);
});

test("ghosts have a strip of their own for the crew, and share the thin lane of another", () => {
  const { lanes } = layoutLanes(sampleChart({ ghosts: [["A1", "EV1", 0, 5]] }));
  equal(lanes.EV1.ghosts.height, HEIGHTS.ghost);
  equal(lanes.arm.ghosts, lanes.arm.main);
  const without = layoutLanes(sampleChart()).lanes;
  equal([without.EV1.ghosts, without.arm.ghosts], [undefined, null]);
});

test("ticks stand at round minutes and keep 58 px between them", () => {
  equal(ticksFor([-8, 98], 890), [0, 10, 20, 30, 40, 50, 60, 70, 80, 90]); // 42 px at 5 min, 84 px at 10
  equal(ticksFor([12, 16], 890), [12, 13, 14, 15, 16]);
  equal(ticksFor([0, 480], 120), [0, 240, 480]); // the widest, whatever the room
});

test("words are cut where they do not fit, and left out where one letter would be left", () => {
  equal(fit("handrail", 80, 10), "handrail");
  equal(fit("handrail", 79, 10), "handra…");
  equal(fit("handrail", 20, 10), "h…");
  equal(fit("handrail", 19, 10), "");
});

test("a title is broken between words, and says where it was cut", () => {
  equal(wrapped("open the lid of the box", 8, 3), ["open the", "lid of", "the box"]);
  equal(wrapped("open the lid of the box", 8, 2), ["open the", "lid of …"]);
  equal(wrapped("electroluminescence", 8, 2), ["electro…"]);
  equal(wrapped("open", 8, 0), []);
});

test("crew lanes have room between them for what is handed over, and little below", () => {
  const { lanes } = layoutLanes(sampleChart());
  const [first, second] = [lanes.EV1.main, lanes.EV2.main];
  equal(second.y - first.y - first.height, HEIGHTS.gutter);
  equal(lanes.EV2.marks.y - second.y - second.height, 3);
});
