// Where things stand in the chart: strips from the top down, minutes from left to right, words in their room.

export const CHART_LEFT = 96;
export const CHART_RIGHT = 14;
// Each strip at its least; with words beside the lanes; small; as it is where nothing says how high the chart
// may be; and roomy.
const HEIGHTS = {
  axis: [15, 15, 16, 18, 18],
  light: [6, 11, 12, 15, 17],
  link: [2, 2, 5, 7, 9],
  marks: [12, 12, 14, 19, 19],
  ghost: [5, 5, 11, 13, 14],
  words: [0, 15, 15, 15, 28],
  gutter: [5, 30, 30, 30, 54],
  crew: [19, 20, 36, 60, 90],
  actor: [9, 9, 13, 18, 26],
  inhibit: [5, 5, 11, 15, 16],
};
const NATURAL = 3;
export const BESIDE_PX = 4; // between a lane and the words beside it
export const ROW_PX = 12;
export const TEXT_PX = 5.6;
const TICKS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 240];

export function layoutLanes(chart, height = null) {
  const named = strips(chart);
  const sums = HEIGHTS.axis.map((_, at) =>
    named.reduce((all, [, kind, gap]) => all + HEIGHTS[kind][at] + gap, 0),
  );
  const room = Math.max(height ?? sums[NATURAL], sums[0]);
  // Between two of the columns; beyond the last the crew has what is left.
  const next = Math.max(
    1,
    sums.findIndex(sum => sum >= room),
  );
  const to = room > sums[sums.length - 1] ? sums.length - 1 : next;
  const share = Math.min(1, (room - sums[to - 1]) / (sums[to] - sums[to - 1] || 1));
  const left = Math.max(0, room - sums[sums.length - 1]) / Math.max(1, chart.crew.length);
  const places = { links: [], inhibits: [], lanes: {} };
  for (const who of chart.crew) places.lanes[who] = {};
  let y = 0;
  for (const [put, kind, gap] of named) {
    const [low, high] = [HEIGHTS[kind][to - 1], HEIGHTS[kind][to]];
    const tall = low + share * (high - low) + (kind === "crew" ? left : 0);
    put(places, { y, height: tall });
    y += tall + gap;
  }
  places.bottom = places.foot.y;
  places.height = y;
  return places;
}

// All strips from the top down: where each belongs, its kind, and the gap below it.
function strips({ crew, actors, links, inhibits, ghosts }) {
  const found = [];
  const take = (kind, gap, put) => found.push([put, kind, gap]);
  const as = name => (places, strip) => Object.assign(places, { [name]: strip });
  const lane = (who, more) => places => Object.assign(places.lanes[who], more);
  const inLane = (who, name) => (places, strip) => lane(who, { [name]: strip })(places);
  take("axis", 2, as("axis"));
  take("light", 2, as("light"));
  for (const _ of links) take("link", 2, (places, strip) => places.links.push(strip));
  take("marks", 0, (places, marks) => {
    as("whole")(places, marks);
    if (crew.length) lane(crew[0], { marks })(places);
  });
  crew.forEach((who, number) => {
    if (!number && ghosts.length) take("ghost", 1, inLane(who, "ghosts"));
    if (!number) take("words", 0, inLane(who, "above"));
    take("crew", 0, inLane(who, "main"));
    if (number < crew.length - 1) {
      take("gutter", 0, (places, { y, height }) => {
        lane(who, { below: { y, height: height / 2 } })(places);
        lane(crew[number + 1], { above: { y: y + height / 2, height: height / 2 } })(places);
      });
    } else take("words", 1, inLane(who, "below"));
    if (number && ghosts.length) take("ghost", 1, inLane(who, "ghosts"));
    if (number) take("marks", 1, inLane(who, "marks"));
  });
  for (const [who] of actors) {
    take("actor", 2, (places, main) => {
      places.lanes[who] = { main, marks: main, ghosts: ghosts.length ? main : null, isThin: true };
    });
  }
  for (const _ of inhibits) take("inhibit", 2, (places, strip) => places.inhibits.push(strip));
  take("axis", 0, as("foot"));
  return found;
}

export function fit(words, room, perChar) {
  const most = Math.floor(room / perChar);
  return words.length <= most ? words : most < 2 ? "" : `${words.slice(0, most - 1)}…`;
}

// A name with as much of its title as there is room for; cut itself it would say nothing, and is left out.
export function fitNamed(name, title, room, perChar) {
  const most = Math.floor(room / perChar);
  const whole = `${name} ${title}`;
  if (whole.length <= most || name.length + 4 <= most) return fit(whole, room, perChar);
  return name.length <= most ? name : "";
}

export function wrapped(words, perLine, lines) {
  const found = [];
  for (const word of words.split(" ")) {
    const last = found[found.length - 1];
    if (last !== undefined && last.length + 1 + word.length <= perLine)
      found[found.length - 1] = `${last} ${word}`;
    else found.push(word);
  }
  const cut = found.slice(0, Math.max(0, lines)).map(line => fit(line, perLine * 10, 10));
  if (found.length > cut.length && cut.length)
    cut[cut.length - 1] = fit(`${cut[cut.length - 1]} …`, perLine * 10, 10);
  return cut;
}

export function ticksFor(range, room) {
  const every = TICKS_MIN.find(each => room / ((range[1] - range[0]) / each) >= 58) ?? 240;
  const first = Math.ceil(range[0] / every) * every;
  const ticks = [];
  for (let minute = first; minute <= range[1]; minute += every) ticks.push(minute);
  return ticks;
}
