// A small outing for the tests of the film: a module, a truss, a panel; two people, a bag, a night.

const [Z, Y] = [
  [0, 0, -1],
  [0, 1, 0],
];
const places = [
  { id: "AIR", title: "Airlock hatch", at: [-4, 2.6, 0.5], out: Y, up: Z, anchor: true, socket: false },
  { id: "HUB", title: "Hub ring", at: [3, 2.6, -1], out: Y, up: Z, anchor: true, socket: false },
  { id: "REG", title: "Regulator bay", at: [3, 12.4, -1], out: Y, up: Z, anchor: true, socket: true },
];
const cylinder = (a, b, r, color, title) => ({
  kind: "cylinder",
  a,
  b,
  ra: r,
  rb: r,
  color,
  title,
  zone: "",
});
const truss = [-0.6, 0.6].flatMap(x =>
  [-0.6, 0.6].map(z => cylinder([3 + x, 2, z], [3 + x, 12, z], 0.06, "#B8BDC4", "Boom")),
);
const rungs = [3, 5, 7, 9, 11].map(y => cylinder([2.4, y, -0.6], [3.6, y, 0.6], 0.05, "#B8BDC4", "Boom"));
const every = (n, value) => Array.from({ length: n }, (_, k) => value(k));
const still = (from, until, doing, step, place, at) => ({
  from,
  until,
  doing,
  step,
  place,
  points: [at],
  out: [Y],
  up: [Z],
});
const way = (from, until, place, points) => ({
  from,
  until,
  doing: "travel",
  step: "",
  place,
  points,
  out: points.map(() => Y),
  up: points.map(() => Z),
});
const [AIR, HUB, REG] = places.map(each => each.at);

export const scene = {
  title: "A small outing",
  station: "Wren",
  pet_zero_ms: Date.UTC(2031, 8, 3, 7, 30),
  end_min: 120,
  caution: "A planning aid, not a certified tool.",
  bodies: [
    cylinder([-8, 0, 0], [8, 0, 0], 2.1, "#C9CCD1", "Hub"),
    {
      kind: "dome",
      center: [8, 0, 0],
      axis: [1, 0, 0],
      radius: 2.1,
      color: "#AEB4BC",
      title: "Cap",
      zone: "",
    },
    {
      kind: "box",
      center: [3, 8, 3.5],
      size: [9, 4, 0.06],
      axes: [
        [1, 0, 0],
        [0, 1, 0],
        [0, 0, 1],
      ],
      color: "#2F4A7A",
      title: "Panel",
      zone: "",
    },
    ...truss,
    ...rungs,
  ],
  places,
  routes: [
    { from: "AIR", to: "HUB", points: [AIR, [-0.5, 2.9, -0.4], HUB] },
    { from: "HUB", to: "REG", points: [HUB, REG] },
  ],
  hazards: [{ id: "HOT", title: "hot case", severity: "warning", at: REG, radius_m: 1.5, spans: [[30, 90]] }],
  people: [
    {
      id: "EV1",
      pieces: [
        still(0, 10, "work", "A1", "AIR", AIR),
        way(10, 20, "REG", [AIR, [-0.5, 2.9, -0.4], HUB, REG]),
        still(20, 100, "work", "B1", "REG", REG),
        way(100, 110, "AIR", [REG, HUB, AIR]),
        still(110, 120, "work", "A2", "AIR", AIR),
      ],
    },
    {
      id: "EV2",
      pieces: [
        still(0, 15, "work", "A1", "AIR", AIR),
        way(15, 20, "HUB", [AIR, HUB]),
        still(20, 60, "wait", "", "HUB", HUB),
        way(60, 66, "REG", [HUB, REG]),
        still(66, 90, "work", "B2", "REG", REG),
        way(90, 104, "AIR", [REG, HUB, AIR]),
        still(104, 120, "work", "A2", "AIR", AIR),
      ],
    },
  ],
  tethers: [
    {
      person: "EV1",
      pieces: [
        {
          from: 0,
          until: 20,
          hook: "AIR",
          points: [AIR, [-0.5, 2.9, -0.4], HUB, REG],
          reach_m: [0, 17],
          most_m: 25,
        },
        {
          from: 20,
          until: 100,
          hook: "AIR",
          points: [AIR, [-0.5, 2.9, -0.4], HUB, REG],
          reach_m: [17, 22],
          most_m: 25,
        },
      ],
    },
    {
      person: "EV2",
      pieces: [{ from: 20, until: 90, hook: "HUB", points: [HUB, REG], reach_m: [0, 10], most_m: 25 }],
    },
  ],
  items: [
    { id: "BAG", title: "Tool bag", kind: "bag", pieces: [{ from: 0, until: 120, with: "EV1" }] },
    {
      id: "REGN",
      title: "New regulator",
      kind: "box",
      pieces: [
        { from: 0, until: 66, with: "item:BAG" },
        { from: 66, until: 80, with: "EV2" },
        { from: 80, until: 120, with: "place:REG" },
      ],
    },
    { id: "CAM", title: "Camera", kind: "box", pieces: [{ from: 0, until: 120, with: "inside" }] },
  ],
  light: {
    every_min: 1,
    sun: every(121, k => {
      const turn = (2 * Math.PI * (k - 5)) / 92;
      return [Math.sin(turn) * 0.8, 0.6, -Math.cos(turn) * 0.8];
    }),
    nadir: every(121, () => [0, 0, 1]),
    north: every(121, () => [0.3, -0.954, 0]),
    sub_lat: every(121, k => 30 * Math.sin(k / 15)),
    sub_lon: every(121, k => ((k * 4 + 180) % 360) - 180),
    altitude_km: every(121, () => 410),
    kinds: {
      day: [
        [0, 40],
        [75, 120],
      ],
      penumbra: [
        [40, 40.2],
        [74.8, 75],
      ],
      night: [[40.2, 74.8]],
    },
  },
  links: [
    [
      "relay",
      [
        [0, 50],
        [70, 120],
      ],
    ],
  ],
  steps: [
    {
      step: "A1",
      title: "Out of the hatch",
      task: "",
      who: ["EV1", "EV2"],
      from: 0,
      until: 10,
      place: "AIR",
    },
    {
      step: "B1",
      title: "Take off the old regulator",
      task: "R",
      who: ["EV1"],
      from: 20,
      until: 100,
      place: "REG",
    },
    {
      step: "B2",
      title: "Hand over the new one",
      task: "R",
      who: ["EV2"],
      from: 66,
      until: 90,
      place: "REG",
    },
    {
      step: "A2",
      title: "Into the hatch",
      task: "",
      who: ["EV1", "EV2"],
      from: 110,
      until: 120,
      place: "AIR",
    },
  ],
  findings: [{ severity: "concern", step: "B2", from: 66, words: "Hands over at night <b>" }],
  captions: [
    { from: 0, until: 20, who: "EV1", words: "leaves the hatch and goes to the regulator bay" },
    { from: 60, until: 80, who: "EV2", words: 'hands over <img src=x onerror="window.hurt = true"> the box' },
  ],
  strip: {
    lanes: ["EV1", "EV2"],
    bars: [
      ["EV1", 0, 10, "#DDDDDD", "", "A1"],
      ["EV1", 20, 100, "#99DDFF", "R", "B1"],
      ["EV1", 110, 120, "#DDDDDD", "", "A2"],
      ["EV2", 0, 15, "#DDDDDD", "", "A1"],
      ["EV2", 66, 90, "#99DDFF", "R", "B2"],
      ["EV2", 104, 120, "#DDDDDD", "", "A2"],
    ],
  },
  shots: [
    {
      from: 0,
      until: 10,
      film_s: 6,
      kind: "wide",
      title: "The station",
      look: [1, 4, 0],
      eye: [14, 22, -12],
      up: Z,
    },
    {
      from: 10,
      until: 20,
      film_s: 6,
      kind: "follow",
      title: "EV1 on the way",
      look: "EV1",
      eye: [3, 6, -2.5],
      up: Z,
    },
    {
      from: 60,
      until: 80,
      film_s: 8,
      kind: "site",
      title: "Hand-over",
      look: [3, 12, -2],
      eye: [8, 16, -5],
      up: Z,
    },
    {
      from: 100,
      until: 120,
      film_s: 5,
      kind: "follow",
      title: "Home",
      look: "EV1",
      eye: [3, 6, -2.5],
      up: Z,
    },
  ],
  cuts: {
    1: [
      [0, 3],
      [2, 4],
    ],
    5: [
      [0, 6],
      [1, 6],
      [2, 8],
      [3, 5],
    ],
  },
};
