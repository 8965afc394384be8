// Painting the chart: from the kernel's plain data and a zoom to SVG. It knows no events.
// All texts of a scenario are text nodes: nothing here reads markup.

const CHART_LEFT = 96, CHART_RIGHT = 14;
const HEIGHTS = { axis: 18, light: 15, link: 7, marks: 19, ghost: 13, crew: 60, gutter: 26, actor: 18, inhibit: 15 };
const ID_FONT = "650 11px", THIN_FONT = "650 10px", TEXT_PX = 5.6, LINE_PX = 11.5, ID_GAP = 4;
const CHART_FONTS = 'system-ui, -apple-system, "Segoe UI", "Liberation Sans", Arial, sans-serif';  // as in workbench.css
const TICKS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 240];

function layoutLanes(chart) {
  let y = HEIGHTS.axis + 2;
  const take = (height, gap = 3) => { const strip = { y, height }; y += height + gap; return strip; };
  const places = { light: take(HEIGHTS.light), links: chart.links.map(() => take(HEIGHTS.link)), lanes: {} };
  places.whole = take(HEIGHTS.marks, 0);
  const hasGhosts = chart.ghosts.length > 0;
  chart.crew.forEach((who, number) => {
    const isFirst = number === 0, lane = {};
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

function paintChart(chart, look) {
  const { places, x, theme, width, range } = look;
  const right = width - CHART_RIGHT;
  const layers = { ground: svg("g"), bars: svg("g"), labels: svg("g", { class: "pk-labels" }), over: svg("g"), names: svg("g") };
  const inside = svg("g", { "clip-path": `url(#${look.clipId})` }, layers.ground, layers.bars, layers.labels, layers.over);
  const clip = svg("clipPath", { id: look.clipId }, svg("rect", { x: CHART_LEFT, y: 0, width: Math.max(0, right - CHART_LEFT), height: places.height }));
  paintGround(chart, layers);
  paintBars(chart, layers);
  paintOver(chart, layers);
  paintNames(chart, layers.names);
  return [svg("defs", {}, clip, patterns(look.clipId, theme)), inside, layers.names];

  function paintGround(data, { ground }) {
    for (const who of data.crew) ground.append(rect(CHART_LEFT, right, places.lanes[who].main, { fill: theme.lane }));
    for (const [who] of data.actors) ground.append(rect(CHART_LEFT, right, places.lanes[who].main, { fill: theme.lane }));
    const first = places.light.y + places.light.height;
    for (const [start, finish] of data.light.night) {
      ground.append(rect(x(start), x(finish), { y: first, height: places.bottom - first }, { fill: theme.night_shade }));
    }
    for (const kind of ["day", "penumbra", "night"]) {
      for (const [start, finish] of data.light[kind]) {
        ground.append(rect(x(start), x(finish), places.light, { fill: theme[kind] }));
        const room = Math.min(x(finish), right) - Math.max(x(start), CHART_LEFT);
        if (kind !== "penumbra" && room > 40) {
          ground.append(text(kind, (Math.min(x(finish), right) + Math.max(x(start), CHART_LEFT)) / 2, places.light.y + 11,
            { fill: theme[`${kind}_ink`], "text-anchor": "middle", class: "pk-small" }));
        }
      }
    }
    data.links.forEach(([, windows], number) => {
      for (const [start, finish] of windows) ground.append(rect(x(start), x(finish), places.links[number], { fill: theme.link }));
    });
    for (const minute of look.ticks) {
      ground.append(svg("line", { x1: x(minute), x2: x(minute), y1: HEIGHTS.axis, y2: places.bottom, stroke: theme.grid }));
    }
    data.inhibits.forEach((row, number) => {
      for (const [at, [inhibit, title, from, until]] of row.entries()) {
        if (until < range[0] || from > range[1]) continue;
        const strip = places.inhibits[number];
        ground.append(rect(x(from), x(until), strip, { fill: "transparent", stroke: theme.quiet_ink, "stroke-dasharray": "3 2", "data-inhibit": `${number} ${at}` }));
        const room = Math.min(x(until), right) - Math.max(x(from), CHART_LEFT) - 8;
        ground.append(text(fit(`${inhibit} ${title}`, room, TEXT_PX), Math.max(x(from), CHART_LEFT) + 4, strip.y + 11, { fill: theme.ink, class: "pk-small" }));
      }
    });
  }

  function paintBars(data, { bars, labels }) {
    const shared = new Map();
    data.bars.forEach((bar, number) => {
      const [step, who, kind, start, finish, task, title] = bar;
      const lane = places.lanes[who];
      if (!lane || finish < range[0] || start > range[1]) return;
      const share = kind === "work" ? 1 : kind === "wait" ? 0.32 : 0.14;
      const height = Math.max(5, lane.main.height * share);
      const strip = { y: lane.main.y + (lane.main.height - height) / 2, height };
      const [fill, texture] = data.fills[task] ?? ["#DDDDDD", ""];
      const about = { "data-bar": number, "data-step": step, "data-kind": kind, class: `pk-bar pk-bar-${kind}` };
      if (kind !== "work") {
        bars.append(rect(x(start), x(finish), strip, { ...about, fill: `url(#${look.clipId}-${kind})`, stroke: theme.quiet_ink, "stroke-width": 0.8 }));
        return;
      }
      bars.append(rect(x(start), x(finish), strip, { ...about, fill, ...outline(look.tight.has(step), theme) }));
      if (texture) bars.append(rect(x(start), x(finish), strip, { fill: `url(#${look.clipId}-${texture})`, "pointer-events": "none" }));
      label(labels, step || title, title, x(start), x(finish), strip, lane.isThin);
      if (step && data.crew.includes(who)) {
        const other = shared.get(step);
        if (other && other.start === start) bridge(bars, other.lane, lane, start, finish, fill);
        else shared.set(step, { start, lane });
      }
    });
  }

  function bridge(bars, upper, lower, start, finish, fill) {
    const top = upper.main.y + upper.main.height;
    bars.prepend(rect(x(start), x(finish), { y: top, height: lower.main.y - top }, { fill, opacity: 0.4 }));
  }

  function label(labels, name, title, from, until, strip, isThin) {
    const left = Math.max(from, CHART_LEFT), room = Math.min(until, right) - left;
    const common = { fill: look.inkOnFill, "pointer-events": "none" };
    if (isThin) {
      if (room >= widthOf(name, THIN_FONT) + ID_GAP) labels.append(text(name, left + room / 2, strip.y + 13, { ...common, class: "pk-id pk-small", "text-anchor": "middle" }));
      return;
    }
    const idPx = widthOf(name, ID_FONT);
    if (idPx + 2 * ID_GAP <= room) {
      labels.append(text(name, left + ID_GAP, strip.y + 13, { ...common, class: "pk-id" }));
      if (room >= 44 && title !== name) {
        wrapped(title, Math.floor((room - 7) / TEXT_PX), Math.floor((strip.height - 18) / LINE_PX)).forEach((line, at) => {
          labels.append(text(line, left + 4, strip.y + 25 + at * LINE_PX, { ...common, class: "pk-small" }));
        });
      }
    } else if (room >= 9 && idPx <= strip.height - 8) {  // else it is in the hover line
      const middle = left + room / 2 + 4, low = strip.y + strip.height - 5;
      labels.append(text(name, middle, low, { ...common, class: "pk-id", transform: `rotate(-90 ${middle} ${low})` }));
    }
  }

  function paintOver(data, { over }) {
    data.ghosts.forEach(([step, who, start, finish], number) => {
      const lane = places.lanes[who];
      if (!lane?.ghosts) return;
      const hollow = { fill: "transparent", stroke: theme.quiet_ink, "stroke-dasharray": lane.isThin ? "2 2" : null, class: "pk-ghost", "data-ghost": number };
      over.append(rect(x(start), x(finish), lane.ghosts, hollow));
      if (!lane.isThin && x(finish) - x(start) > step.length * TEXT_PX + 4) {
        over.append(text(step, (x(start) + x(finish)) / 2, lane.ghosts.y + 10, { fill: theme.quiet_ink, class: "pk-small", "text-anchor": "middle" }));
      }
    });
    for (const [name, minute] of data.limits) {
      const colour = name === "hard" ? theme.stop : theme.ink;
      over.append(svg("line", { x1: x(minute), x2: x(minute), y1: HEIGHTS.axis, y2: places.bottom, stroke: colour, "stroke-width": 1.6, "stroke-dasharray": name === "hard" ? null : "6 3" }));
      over.append(text(`${name} ${pet(minute)}`, x(minute) - 4, places.bottom - (name === "hard" ? 15 : 4), { fill: colour, class: "pk-small", "text-anchor": "end" }));
    }
    for (const [from, to, left, used] of data.handovers) {
      const a = places.lanes[from]?.main, b = places.lanes[to]?.main;
      if (!a || !b) continue;
      const isDown = a.y < b.y;
      const y1 = isDown ? a.y + a.height : a.y, y2 = isDown ? b.y : b.y + b.height;
      over.append(svg("path", { d: `M${x(left)},${y1} C${x(left)},${(y1 + y2) / 2} ${x(used)},${(y1 + y2) / 2} ${x(used)},${y2}`, fill: "none", stroke: theme.quiet_ink, "stroke-width": 1.1, "marker-end": `url(#${look.clipId}-arrow)` }));
    }
  }

  function paintNames(data, names) {
    const name = (words, strip, attributes = {}) => names.append(text(words, CHART_LEFT - 8, strip.y + strip.height / 2 + 4,
      { fill: theme.ink, "text-anchor": "end", class: "pk-lane-name", ...attributes }));
    const quiet = { fill: theme.quiet_ink, class: "pk-small" };
    name("light", places.light, quiet);
    data.links.forEach(([link], number) => name(fit(link, CHART_LEFT - 14, TEXT_PX), places.links[number], { ...quiet, class: "pk-tiny" }));
    for (const who of data.crew) {
      name(who, places.lanes[who].main, { class: "pk-crew-name" });
      if (places.lanes[who].ghosts) name(chart.ghost_name, places.lanes[who].ghosts, quiet);
      name("findings", places.lanes[who].marks, quiet);
    }
    for (const [who] of data.actors) name(fit(who, CHART_LEFT - 14, 7), places.lanes[who].main);
    if (data.inhibits.length) name("inhibits", places.inhibits[0], quiet);
    names.append(text("GMT", CHART_LEFT - 36, 12, { ...quiet, "text-anchor": "end" }), text("PET", CHART_LEFT - 36, places.bottom + 14, { ...quiet, "text-anchor": "end" }));
    look.ticks.forEach(minute => {
      if (x(minute) < CHART_LEFT - 1 || x(minute) > right + 1) return;
      names.append(text(pet(minute), x(minute), places.bottom + 14, { fill: theme.ink, class: "pk-small", "text-anchor": "middle" }));
      names.append(text(gmt(data.egress_ms + minute * 60000), x(minute), 12, { fill: theme.quiet_ink, class: "pk-small", "text-anchor": "middle" }));
    });
  }
}

// Without slack to plan: a bold outline.
function outline(isTight, theme) {
  return { stroke: isTight ? theme.ink : theme.bar_outline, "stroke-width": isTight ? 2.2 : 0.8 };
}

// The marks of findings, which come after the chart: at one spot the worst stands for those behind it.
function paintMarks(findings, { places, x, theme, clipId }) {
  const layer = svg("g", { "clip-path": `url(#${clipId})` }), taken = {};
  findings.forEach((found, number) => {
    if (found.minute === null) return;
    for (const who of found.lanes) {
      const strip = who === "" ? places.whole : places.lanes[who]?.marks, key = `${who}|${Math.round(x(found.minute) / 14)}`;
      if (!strip || taken[key]) continue;
      taken[key] = true;
      layer.append(severitySign(found.severity, x(found.minute), strip.y + strip.height / 2, 6.5, theme, { "data-finding": number, class: "pk-mark" }));
    }
  });
  return layer;
}

function severitySign(severity, cx, cy, r, theme, attributes = {}) {
  const line = { stroke: theme.ink, "stroke-width": 1.1, ...attributes };
  if (severity === "remark") return svg("circle", { cx, cy, r: r - 1, fill: theme.remark, ...line });
  const corners = severity === "stop" ? 8 : 3, turn = severity === "stop" ? Math.PI / 8 : -Math.PI / 2;
  const points = Array.from({ length: corners }, (_, at) => {
    const angle = turn + at * 2 * Math.PI / corners;
    return `${(cx + r * Math.cos(angle)).toFixed(1)},${(cy + (corners === 3 ? 1.5 : 0) + r * Math.sin(angle)).toFixed(1)}`;
  });
  return svg("polygon", { points: points.join(" "), fill: theme[severity], ...line });
}

function patterns(id, theme) {
  const tile = (name, size, ...marks) => svg("pattern", { id: `${id}-${name}`, width: size, height: size, patternUnits: "userSpaceOnUse" }, marks);
  const ruling = { stroke: "rgba(21,24,28,0.45)", "stroke-width": 1 };
  const paper = svg("rect", { width: 6, height: 6, fill: theme.paper });
  return [
    tile("travel", 6, paper, svg("path", { d: "M0,6 L6,0", stroke: theme.ink, "stroke-width": 1 })),
    tile("wait", 6, paper.cloneNode(), svg("circle", { cx: 2, cy: 2, r: 0.9, fill: theme.quiet_ink })),
    tile("|", 6, svg("path", { d: "M3,0 V6", ...ruling })), tile("-", 6, svg("path", { d: "M0,3 H6", ...ruling })),
    tile("+", 6, svg("path", { d: "M3,0 V6 M0,3 H6", ...ruling })),
    svg("marker", { id: `${id}-arrow`, viewBox: "0 0 6 6", refX: 5, refY: 3, markerWidth: 6, markerHeight: 6, orient: "auto" },
      svg("path", { d: "M0,0 L6,3 L0,6 Z", fill: theme.quiet_ink })),
  ];
}

function rect(from, until, strip, attributes) {
  return svg("rect", { x: from.toFixed(2), y: strip.y, width: Math.max(0.6, until - from).toFixed(2), height: strip.height, ...attributes });
}

function text(words, x, y, attributes) {
  return svg("text", { x, y, ...attributes }, words);
}

// Bold letters differ by half in width: what is written beside each other must be measured.
const ruler = document.createElement("canvas").getContext("2d"), measured = new Map();

function widthOf(words, font) {
  const key = `${font} ${words}`;
  if (!measured.has(key)) {
    ruler.font = `${font} ${CHART_FONTS}`;
    measured.set(key, ruler.measureText(words).width);
  }
  return measured.get(key);
}

function fit(words, room, perChar) {
  const most = Math.floor(room / perChar);
  return words.length <= most ? words : most < 2 ? "" : `${words.slice(0, most - 1)}…`;
}

function wrapped(words, perLine, lines) {
  const found = [];
  for (const word of words.split(" ")) {
    const last = found[found.length - 1];
    if (last !== undefined && last.length + 1 + word.length <= perLine) found[found.length - 1] = `${last} ${word}`;
    else found.push(word);
  }
  const cut = found.slice(0, Math.max(0, lines)).map(line => fit(line, perLine * 10, 10));
  if (found.length > cut.length && cut.length) cut[cut.length - 1] = fit(`${cut[cut.length - 1]} …`, perLine * 10, 10);
  return cut;
}

function ticksFor(range, room) {
  const every = TICKS_MIN.find(each => room / ((range[1] - range[0]) / each) >= 58) ?? 240;
  const first = Math.ceil(range[0] / every) * every, ticks = [];
  for (let minute = first; minute <= range[1]; minute += every) ticks.push(minute);
  return ticks;
}
