// What the film is moved by: buttons, lists, and a key for each of them.

import { canExport } from "./film_export.js";
import { el } from "./elements.js";
import { petText } from "./film_lookup.js";

const SPEEDS = [0.25, 0.5, 1, 2, 4];

function saved(bytes, type, file) {
  const href = URL.createObjectURL(new Blob([bytes], { type }));
  el("a", { href, download: file }).click();
  setTimeout(() => URL.revokeObjectURL(href), 60_000);
}

// A list to choose from: entries of [value, words]; `chosen` is called with the value.
export function choice(words, entries, chosen, stays = true) {
  const list = el("select", { "aria-label": words, title: words });
  if (!stays) list.append(el("option", { value: "" }, words));
  list.append(...entries.map(([value, text]) => el("option", { value }, text)));
  list.addEventListener("change", () => {
    if (list.value === "" && !stays) return;
    chosen(list.value);
    if (!stays) list.value = "";
  });
  return list;
}

const NAMES = { " ": "space", ArrowLeft: "←", ArrowRight: "→" };

// Every key with its words and what it does; the arrows go ten minutes with shift.
function movesOf(film, { play, faster, nextShot }, cameras) {
  return [
    ["space", "play or pause", () => play.click()],
    ["←", "a minute back, with shift ten", minutes => film.go(film.minute - minutes)],
    ["→", "a minute on, with shift ten", minutes => film.go(film.minute + minutes)],
    ["PageUp", "the shot before", () => nextShot(-1)],
    ["PageDown", "the shot after", () => nextShot(1)],
    ["Home", "to the start", () => film.go(0)],
    ["End", "to the end", () => film.go(film.scene.end_min)],
    ["<", "slower", () => faster(-1)],
    [">", "faster", () => faster(1)],
    ["f", "camera: the film's own", () => film.setCamera("film")],
    ...cameras,
    ["b", "camera: both", () => film.setCamera("both")],
    ["s", "camera: the whole station", () => film.setCamera("station")],
    ["a", "turn left around what is looked at", () => film.turn(-0.12, 0)],
    ["d", "turn right", () => film.turn(0.12, 0)],
    ["w", "turn up", () => film.turn(0, 0.1)],
    ["x", "turn down", () => film.turn(0, -0.1)],
    ["+ =", "nearer", () => film.near(0.85)],
    ["-", "farther", () => film.near(1 / 0.85)],
    ["h", "carry the camera aft", () => film.carry([-1, 0, 0])],
    ["l", "carry it forward", () => film.carry([1, 0, 0])],
    ["j", "carry it down", () => film.carry([0, 0, 1])],
    ["k", "carry it up", () => film.carry([0, 0, -1])],
  ];
}

export function controlsOf(film) {
  const { scene } = film;
  const crew = scene.people.map(each => each.id);
  const play = el(
    "button",
    { type: "button", onclick: () => (film.isPlaying ? film.pause() : film.play()) },
    "▶ play",
  );
  const place = el("input", {
    type: "range",
    min: "0",
    max: "1000",
    step: "1",
    "aria-label": "film position",
  });
  place.addEventListener("input", () => film.goSecond((Number(place.value) / 1000) * film.reel.film_s));
  const clock = el("output", {});
  const speed = choice(
    "speed",
    SPEEDS.map(each => [String(each), `${each}×`]),
    value => setSpeed(Number(value)),
  );
  const camera = choice(
    "camera",
    [
      ["film", "film's camera"],
      ...crew.map(each => [each, `follow ${each}`]),
      ["both", "both"],
      ["station", "whole station"],
      ["free", "by hand"],
    ],
    value => film.setCamera(value),
  );
  const cuts = Object.keys(scene.cuts ?? {}).map(each => [each, `${each} min film`]);
  const cut = choice(
    "length of the film",
    [["", "all shots"], ...cuts, ["even", "every minute, no cuts"]],
    value => film.setReel(value),
  );
  const list = (words, entries) =>
    choice(
      words,
      entries.map(({ from, text }) => [String(from), text]),
      value => film.go(Number(value)),
      false,
    );
  const at = (from, ...words) => ({
    from,
    text: `${petText(from)} ${words.filter(Boolean).join(" ")}`.slice(0, 70),
  });
  const lists = [
    ["to a shot", scene.shots.map(each => at(each.from, each.title))],
    ["to a step", scene.steps.map(each => at(each.from, each.who.join(" and "), each.title))],
    [
      "to a finding",
      scene.findings
        .filter(each => each.from !== null && each.from <= scene.end_min)
        .map(each => at(Math.max(0, each.from), each.severity, each.words)),
    ],
  ]
    .filter(([, entries]) => entries.length)
    .map(([words, entries]) => list(words, entries));
  let isStopped = null;
  const make = el("button", { type: "button", onclick: () => video("full") }, "make video");
  const draft = el("button", { type: "button", onclick: () => video("draft") }, "draft video");
  const captions = el(
    "button",
    { type: "button", onclick: () => saved(film.captions(), "text/vtt", "film.vtt") },
    "captions",
  );

  // A second press while it is made stops it.
  async function video(quality) {
    if (isStopped === false) {
      isStopped = true;
      return;
    }
    isStopped = false;
    const tell = share => {
      film.notice.textContent = `making the video: ${Math.floor(share * 100)} %; press again to stop`;
      return !isStopped;
    };
    try {
      const bytes = await film.video(quality, cut.value === "even" ? "" : cut.value, tell);
      film.notice.textContent = bytes ? "the video is among your downloads" : "stopped: no video was made";
      if (bytes) saved(bytes, "video/webm", "film.webm");
    } catch (error) {
      film.notice.textContent = `no video: ${error.message}`;
    }
    isStopped = null;
  }

  function setSpeed(value) {
    film.speed = value;
    speed.value = String(value);
  }
  setSpeed(film.speed);
  const faster = by => {
    const next = SPEEDS[SPEEDS.indexOf(film.speed) + by];
    if (next) setSpeed(next);
  };
  const nextShot = by => {
    const shots = film.reel.shots;
    const n = shots.indexOf(film.shot()) + by;
    film.goSecond(n < 0 ? 0 : n >= shots.length ? film.reel.film_s : shots[n].begin_s);
  };
  const follow = (who, n) => [String(n + 1), `camera: ${who}`, () => film.setCamera(who)];
  const cameras = crew.slice(0, 2).map(follow);
  const moves = movesOf(film, { play, faster, nextShot }, cameras);
  const words = moves.flatMap(([key, does]) => [el("dt", {}, key), el("dd", {}, does)]);
  const keys = el("details", {}, el("summary", {}, "keys"), el("dl", {}, ...words));

  function press(event) {
    event.stopPropagation(); // or a notebook would take it for a command
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const isField =
      event.target.matches("select") || (event.key === " " && event.target.matches("button, summary"));
    if (isField) return;
    const pressed = NAMES[event.key] ?? event.key;
    const move = moves.find(([names]) => names.split(" ").includes(pressed))?.[2];
    if (!move) return;
    event.preventDefault();
    move(event.shiftKey ? 10 : 1);
  }

  film.canvas.onpointerdown = event => film.canvas.setPointerCapture(event.pointerId);
  film.canvas.onpointermove = event => {
    if (event.buttons) film.turn(-event.movementX / 200, event.movementY / 200);
  };

  function show(shot) {
    play.textContent = film.isPlaying ? "❚❚ pause" : "▶ play";
    place.value = String(film.reel.film_s > 0 ? Math.round((film.second / film.reel.film_s) * 1000) : 0);
    const pet = `PET ${petText(film.minute, true)}`;
    place.setAttribute("aria-valuetext", pet);
    clock.textContent = `${pet} · ${film.camera === "film" ? shot.title : camera.selectedOptions[0]?.text}`;
    camera.value = film.camera;
  }

  make.disabled = draft.disabled = !canExport() || !film.hasPicture;
  const element = el(
    "div",
    { class: "pkf-controls" },
    play,
    place,
    clock,
    speed,
    cut,
    camera,
    ...lists,
    make,
    draft,
    captions,
    keys,
  );
  return { element, key: press, tell: show };
}
