import { fit, fitNamed, layoutLanes, ticksFor, wrapped } from "/static/chart_layout.js";
import { equal, test } from "./check.js";
import { sampleChart } from "./sample.js";

const strips = places => [
  places.light,
  ...places.links,
  ...Object.values(places.lanes).flatMap(lane => [
    lane.marks,
    lane.ghosts,
    lane.above,
    lane.main,
    lane.below,
  ]),
  ...places.inhibits,
];

test("no strip covers another, and all lie between the two axes", () => {
  const ghosts = [["A1", "EV1", 0, 5]];
  for (const [data, height] of [
    [{}, null],
    [{ ghosts }, null],
    [{ ghosts }, 10],
    [{}, 260],
    [{ ghosts }, 900],
  ]) {
    const places = layoutLanes(sampleChart(data), height);
    const all = [...new Set(strips(places).filter(Boolean))].sort((a, b) => a.y - b.y);
    all.forEach((strip, at) => {
      if (at) equal(strip.y + 1e-9 >= all[at - 1].y + all[at - 1].height, true, `strip ${at}`);
    });
    equal(all[0].y >= places.axis.height, true);
    const last = all[all.length - 1];
    equal(last.y + last.height <= places.bottom, true);
    equal(places.height, places.bottom + places.foot.height);
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
  equal(lanes.EV1.ghosts.y > lanes.EV1.marks.y && lanes.EV1.ghosts.y < lanes.EV1.main.y, true);
  equal(lanes.arm.ghosts, lanes.arm.main);
  const without = layoutLanes(sampleChart()).lanes;
  equal([without.EV1.ghosts, without.arm.ghosts], [undefined, null]);
});

test("the light strip has room for its words wherever lanes have words beside them", () => {
  for (const data of [{}, { ghosts: [["A1", "EV1", 0, 5]] }])
    for (let height = 180; height < 500; height += 10) {
      const { light, lanes } = layoutLanes(sampleChart(data), height);
      equal(lanes.EV1.below.height < 15 || light.height >= 11, true, `${height}`);
    }
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

test("a name stands whole or not at all, its title as far as there is room", () => {
  equal(
    [80, 79, 50, 40, 39].map(room => fitNamed("I-PA", "pump", room, 10)),
    ["I-PA pu…", "I-PA", "I-PA", "I-PA", ""],
  );
  equal(fitNamed("I-PA", "pump", 90, 10), "I-PA pump");
});

test("a title is broken between words, and says where it was cut", () => {
  equal(wrapped("open the lid of the box", 8, 3), ["open the", "lid of", "the box"]);
  equal(wrapped("open the lid of the box", 8, 2), ["open the", "lid of …"]);
  equal(wrapped("electroluminescence", 8, 2), ["electro…"]);
  equal(wrapped("open", 8, 0), []);
});

test("the height is used whole: beyond what helps the rest, all goes to the crew", () => {
  for (const height of [180, 240, 330, 420, 700, 1200])
    equal(Math.round(layoutLanes(sampleChart(), height).height), height);
  const [tall, taller] = [900, 1000].map(height => layoutLanes(sampleChart(), height).lanes);
  equal(Math.round(taller.EV1.main.height - tall.EV1.main.height), 50);
  equal(taller.arm.main.height, tall.arm.main.height);
});

test("squeezed, lanes keep an id's height, and less than the least is not given", () => {
  const crowded = sampleChart({
    actors: [
      ["arm", ""],
      ["desk", ""],
    ],
    inhibits: [[], []],
    links: [
      ["a", []],
      ["b", []],
      ["c", []],
    ],
  });
  const { lanes, height } = layoutLanes(crowded, 170);
  equal(
    [lanes.EV1, lanes.EV2].every(({ main }) => main.height >= 19),
    true,
  );
  equal(height <= 170.01, true, height);
  equal(layoutLanes(crowded, 20).height, layoutLanes(crowded, 0).height);
});

test("crew lanes have a row of words each between them", () => {
  const { lanes } = layoutLanes(sampleChart());
  equal(lanes.EV1.below.y, lanes.EV1.main.y + lanes.EV1.main.height);
  equal(lanes.EV2.above.y, lanes.EV1.below.y + lanes.EV1.below.height);
  equal(lanes.EV2.main.y, lanes.EV2.above.y + lanes.EV2.above.height);
});
