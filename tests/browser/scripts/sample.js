// A small plan as the kernel tells it: A1 and A2 are EV1's, B1 is of both, C1 EV2's, D1 the arm operator's.

export const CREW = ["EV1", "EV2"];

export const THEME = {
  ink: "#111111",
  quiet_ink: "#555555",
  bar_outline: "#999999",
  paper: "#FFFFFF",
  lane: "#EEEEEE",
  grid: "#DDDDDD",
  link: "#3355AA",
  stop: "#AA0000",
  concern: "#CC8800",
  remark: "#2266AA",
  day: "#FFEEAA",
  day_ink: "#111111",
  penumbra: "#888888",
  night: "#223355",
  night_ink: "#FFFFFF",
  night_shade: "#CCCCDD",
};
export const THEMES = { light: THEME, dark: THEME, ink_on_fill: "#111111" };

export function sampleChart(more = {}) {
  return {
    crew: CREW,
    actors: [["arm", "Arm operator"]],
    bars: [
      ["A1", "EV1", "work", 0, 20, "T1", "Open the lid"],
      ["", "EV1", "travel", 20, 30, "", "to the truss"],
      ["B1", "EV1", "work", 30, 50, "T2", "Lift the box"],
      ["A2", "EV1", "work", 50, 60, "T1", "Close the lid"],
      ["C1", "EV2", "work", 0, 10, "T3", "Count"],
      ["B1", "EV2", "work", 30, 50, "T2", "Lift the box"],
      ["D1", "arm", "work", 25, 55, "T2", "Hold the box"],
    ],
    ghosts: [],
    ghost_name: "before",
    links: [["high", [[0, 40]]]],
    inhibits: [[["I1", "Arm power off", 5, 45]]],
    limits: [
      ["planned", 80],
      ["hard", 90],
    ],
    handovers: [["EV1", "EV2", 20, 30]],
    broken: [],
    light: { day: [[0, 40]], penumbra: [[40, 41]], night: [[41, 75]] },
    fills: {
      T1: ["#AACCEE", "A", "The lid"],
      T2: ["#EECCAA", "B", "The box"],
      T3: ["#CCEEAA", "C", "The count"],
      "": ["#DDDDDD", "", ""],
    },
    title: "A small plan",
    end: 70,
    horizon: 120,
    pet_zero_ms: Date.UTC(2031, 4, 14, 11, 24),
    ...more,
  };
}

const field = (about, more = {}) => ({
  about,
  kind: "text",
  choices: [],
  refers_to: [],
  is_list: false,
  needed: false,
  ...more,
});

export function sampleSchema() {
  return {
    crew: { key: "crew", about: "who goes outside", fields: { crew: field("an id") } },
    steps: {
      key: "step",
      about: "what is done",
      fields: {
        step: field("an id"),
        crew: field("who does it", { refers_to: ["crew"], choices: ["both"] }),
        after: field("steps before it", { refers_to: ["steps"], is_list: true }),
        minutes: field("how long", { unit: "min", is_number: true, kind: "number", needed: true }),
      },
    },
  };
}

export function sampleSheets() {
  return {
    crew: { columns: ["crew"], order: [1, 2], rows: { 1: ["EV1"], 2: ["EV2"] }, can_grow: false },
    steps: {
      columns: ["step", "crew", "after", "minutes"],
      order: [7, 5, 6],
      rows: { 5: ["B1", "both", "A1", "20"], 6: ["A2", "EV1", "", "10"], 7: ["A1", "EV1", "", "20"] },
      can_grow: true,
    },
  };
}
