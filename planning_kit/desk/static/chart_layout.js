// Where things stand in the chart: strips from the top down, minutes from left to right, words in their room.

export const CHART_LEFT = 96;
export const CHART_RIGHT = 14;
export const HEIGHTS = {
  axis: 18,
  light: 15,
  link: 7,
  marks: 19,
  ghost: 13,
  crew: 60,
  gutter: 26,
  actor: 18,
  inhibit: 15,
};
export const TEXT_PX = 5.6;
const TICKS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 240];

export function layoutLanes(chart) {
  let y = HEIGHTS.axis + 2;
  const take = (height, gap = 3) => {
    const strip = { y, height };
    y += height + gap;
    return strip;
  };
  const places = { light: take(HEIGHTS.light), links: chart.links.map(() => take(HEIGHTS.link)), lanes: {} };
  places.whole = take(HEIGHTS.marks, 0);
  const hasGhosts = chart.ghosts.length > 0;
  chart.crew.forEach((who, number) => {
    const isFirst = number === 0;
    const lane = {};
    if (isFirst) {
      lane.marks = places.whole;
      if (hasGhosts) lane.ghosts = take(HEIGHTS.ghost);
    }
    lane.main = take(HEIGHTS.crew, number < chart.crew.length - 1 ? HEIGHTS.gutter : 3);
    if (!isFirst) {
      if (hasGhosts) lane.ghosts = take(HEIGHTS.ghost);
      lane.marks = take(HEIGHTS.marks);
    }
    places.lanes[who] = lane;
  });
  for (const [who] of chart.actors) {
    const main = take(HEIGHTS.actor, 4);
    places.lanes[who] = { main, marks: main, ghosts: hasGhosts ? main : null, isThin: true };
  }
  places.inhibits = chart.inhibits.map(() => take(HEIGHTS.inhibit, 2));
  places.bottom = y + 2;
  places.height = places.bottom + HEIGHTS.axis;
  return places;
}

export function fit(words, room, perChar) {
  const most = Math.floor(room / perChar);
  return words.length <= most ? words : most < 2 ? "" : `${words.slice(0, most - 1)}…`;
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
