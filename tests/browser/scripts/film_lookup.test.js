import {
  along,
  captionsAt,
  custodyAt,
  footAt,
  hazardsAt,
  heldAt,
  isWithin,
  lastBy,
  lightAt,
  linksAt,
  personAt,
  petText,
  pieceAt,
  standsOf,
  tetherAt,
} from "/film/film_lookup.js";
import { dot, length, minus } from "/film/film_vector.js";
import { equal, near, test } from "./check.js";
import { scene } from "./film_scene.js";

const [EV1, EV2] = scene.people;

test("the last entry that has begun is found as by going through all of them", () => {
  const entries = [0, 2, 2, 5, 9];
  for (const minute of [-1, 0, 1, 2, 4.9, 5, 100]) {
    equal(
      lastBy(entries, minute, each => each),
      entries.filter(each => each <= minute).length - 1,
    );
  }
  equal(pieceAt([{ from: 3 }], 2), null);
});

test("a span has its begin and not its end", () => {
  equal(
    [0, 5, 9.9, 10].map(minute => isWithin([[5, 10]], minute)),
    [false, true, true, false],
  );
});

test("a share of a line is one of its length, not of its points", () => {
  equal(
    along(
      [
        [0, 0, 0],
        [1, 0, 0],
        [4, 0, 0],
      ],
      0.5,
    ),
    [1, 1 / 3],
  );
  equal(
    [
      along([[1, 2, 3]], 0.4),
      along(
        [
          [0, 0, 0],
          [1, 0, 0],
        ],
        1,
      ),
    ],
    [
      [0, 0],
      [0, 1],
    ],
  );
});

test("somebody on the way is on the line, at the place of the minute, and never jumps", () => {
  const [AIR, , REG] = scene.places.map(each => each.at);
  equal([personAt(EV1, 0).at, personAt(EV1, 20).at], [AIR, REG]);
  equal([personAt(EV1, 15).doing, personAt(EV2, 30).doing, personAt(EV1, 50).step], ["travel", "wait", "B1"]);
  for (const person of scene.people) {
    for (let minute = 0; minute < 119.99; minute += 0.01) {
      const metres = length(minus(personAt(person, minute).at, personAt(person, minute + 0.01).at));
      if (metres > 0.05) throw new Error(`${person.id} goes ${metres} m at ${minute}`);
    }
  }
});

test("two at one place stand beside each other; apart, each is where the plan says", () => {
  const here = [personAt(EV1, 5), personAt(EV2, 5)];
  near(length(minus(...standsOf(here))), 1.1, 1e-9);
  const far = [personAt(EV1, 40), personAt(EV2, 40)];
  equal(
    standsOf(far),
    far.map(each => each.at),
  );
});

test("on the way the head is ahead, out and back, and upright again where it ends", () => {
  for (const [from, to] of [
    [0, 12],
    [12, 0],
  ]) {
    const [out, up] = [
      [0, 1, 0],
      [0, 0, -1],
    ].map(each => [each, each]);
    const points = [from, to].map(x => [x, 0, 0]);
    const goer = {
      id: "EV1",
      pieces: [{ ...EV1.pieces[0], from: 0, until: 4, doing: "travel", points, out, up }],
    };
    near(dot(personAt(goer, 2).facing, [Math.sign(to - from), 0, 0]), 1, 1e-5);
    near(dot(personAt(goer, 0.05).facing, [Math.sign(to - from), 0, 0]), Math.SQRT1_2, 1e-3);
    for (const minute of [0, 4]) near(length(minus(personAt(goer, minute).facing, [0, 0, -1])), 0, 1e-9);
    // Somebody waits on the line: they pass side by side, nobody in the other; far away each is on the line.
    const still = { ...goer.pieces[0], doing: "wait", points: [[6, 0, 0]], out: [out[0]], up: [up[0]] };
    const met = minute => [personAt(goer, minute), personAt({ id: "EV2", pieces: [still] }, minute)];
    const apart = minus(...standsOf(met(2.3)));
    near(Math.hypot(apart[1], apart[2]), 1.1, 1e-3);
    equal(
      standsOf(met(1)),
      met(1).map(each => each.at),
    );
  }
});

test("a tether ends at its person, and says how much of its length it takes", () => {
  const tether = tetherAt(scene.tethers[0], 60, [9, 9, 9]);
  equal(
    [tether.points[0], tether.points.at(-1), tether.reach_m, tether.share],
    [[-4, 2.6, 0.5], [9, 9, 9], 19.5, 0.78],
  );
  const [piece] = scene.tethers[0].pieces;
  const unknown = { person: "EV1", pieces: [{ ...piece, most_m: null }] };
  equal(tetherAt(unknown, 10, [0, 0, 0]).share, 0); // of no known length: none of it can be said to be used
  equal(tetherAt(scene.tethers[1], 10, [0, 0, 0]), null);
  equal(tetherAt(scene.tethers[1], 95, [0, 0, 0]), null);
});

test("things are with whom they are, and what is in a bag goes with it", () => {
  equal(
    [0, 66, 80].map(minute => custodyAt(scene.items, minute).get("REGN")),
    ["item:BAG", "EV2", "place:REG"],
  );
  equal(
    heldAt(scene.items, 0)
      .get("EV1")
      .map(each => [each.id, each.inside.map(other => other.id)]),
    [["BAG", ["REGN"]]],
  );
  equal([...heldAt(scene.items, 70).keys()], ["EV1", "EV2"]);
});

test("light is of its minute: directions of length 1, the penumbra between day and night", () => {
  for (const minute of [0, 12.3, 40.1, 60, 119.9, 120, 500])
    near(length(lightAt(scene.light, minute).sun), 1, 1e-12);
  equal(
    [10, 40.1, 60, 74.9].map(minute => lightAt(scene.light, minute).kind),
    ["day", "penumbra", "night", "penumbra"],
  );
  near(lightAt(scene.light, 40.05).day, 0.75, 1e-6);
  near(lightAt(scene.light, 74.95).day, 0.75, 1e-6);
});

test("a longitude goes on over the date line by the short way", () => {
  const light = {
    ...scene.light,
    sub_lon: [178, -178],
    sub_lat: [0, 0],
    sun: [
      [1, 0, 0],
      [1, 0, 0],
    ],
  };
  near(
    lightAt({ ...light, nadir: light.sun, north: light.sun, altitude_km: [1, 1] }, 0.5).sub_lon,
    180,
    1e-9,
  );
});

test("captions, links and hazards are those of the minute", () => {
  equal(
    [65, 69, 80].map(minute => captionsAt(scene.captions, minute).length),
    [1, 0, 0],
  );
  equal([linksAt(scene.links, 10), linksAt(scene.links, 60)], [[["relay", true]], [["relay", false]]]);
  equal([hazardsAt(scene.hazards, 10).length, hazardsAt(scene.hazards, 30).length], [0, 1]);
});

test("a time is told as it has come, never ahead", () => {
  equal(
    [petText(65.99), petText(65.5, true), petText(-3), petText(0.1, true)],
    ["1:05", "1:05:30", "-0:03", "0:00:06"],
  );
});

test("feet step into a foothold and out of it without a jump", () => {
  const sockets = new Set(["REG"]);
  equal(
    [19, 20, 20.25, 50, 99.75, 101].map(minute => footAt(EV1, minute, sockets)),
    [0, 0, 0.5, 1, 0.5, 0],
  );
  equal(footAt(EV1, 5, sockets), 0);
});
