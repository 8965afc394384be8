// A film on the screen: its picture, its words, what it is moved by, and the clock that it plays by.

import * as lens from "./film_camera.js";
import { canExport, exported, FORMATS } from "./film_export.js";
import { controlsOf } from "./film_controls.js";
import { el } from "./elements.js";
import { captionsAt, linksAt } from "./film_lookup.js";
import { headWords, paintWords } from "./film_labels.js";
import { stripOf } from "./film_strip.js";
import { webvtt } from "./film_webm.js";
import { canDraw, World } from "./film_world.js";
import { clamped } from "./film_vector.js";

export const INKS = ["#0B5FA5", "#C44E00"];
// With what share of its pixels a side a picture is drawn while it plays, the best first: a step down
// when it takes longer than this. Paused it is drawn with more than one for each.
const LADDER = [1, 0.75, 0.5, 0.36];
const [STEP_DOWN_MS, TRIED, PAUSED_RATIO, PAUSED_AFTER_MS] = [80, 3, 2, 350];
const STILL_EVERY_S = 2; // with less motion wanted, it plays as stills

const START = { second: 0, minute: 0, speed: 1, isPlaying: false, camera: "film", free: null };
const UNSEEN = { isSeen: true, step: 0, late: [], drawn: null, wish: null };

export class Film {
  constructor(root, scene, { still = null } = {}) {
    Object.assign(this, { root, scene, ...START, ...UNSEEN });
    this.reel = lens.reelOf(scene);
    root.classList.add("pkf");
    root.setAttribute("data-lm-suppress-shortcuts", "true");
    this.canvas = el("canvas", { class: "pkf-picture", role: "img", tabindex: "0" });
    this.still = el("img", { class: "pkf-still", alt: "the outing at its start", hidden: still ? null : "" });
    if (still) this.still.src = still;
    const reached = { tabindex: 0, role: "region", "aria-label": "What is said" }; // it scrolls
    this.told = el("div", { class: "pkf-captions", ...reached });
    this.notice = el("p", { class: "pkf-notice", role: "status" });
    this.hasPicture = canDraw();
    this.strip = stripOf(scene, minute => this.go(minute));
    this.controls = controlsOf(this);
    root.replaceChildren(
      el("header", {}, el("h1", {}, scene.title), el("p", {}, `${scene.station}. ${scene.caution}`)),
      el("div", { class: "pkf-stage" }, this.still, this.canvas),
      this.told,
      this.controls.element,
      this.strip.element,
      this.notice,
    );
    this.canvas.hidden = !this.hasPicture;
    if (!this.hasPicture) {
      this.notice.textContent =
        "This browser draws nothing in space (no WebGL): the words and the lanes stay.";
    } else this.world = new World(scene, INKS);
    this.lessMotion = window.matchMedia("(prefers-reduced-motion: reduce)");
    root.addEventListener("keydown", event => this.controls.key(event));
    this.watcher = new IntersectionObserver(([entry]) => this.see(entry.isIntersecting));
    this.watcher.observe(root);
    this.sizes = new ResizeObserver(() => this.ask());
    this.sizes.observe(this.canvas);
    this.goSecond(0);
  }

  see(isSeen) {
    this.isSeen = isSeen;
    if (isSeen) this.ask();
    else {
      this.pause();
      this.world?.giveBack(); // the picture stays on the canvas
    }
  }

  // To a minute of the outing; where the reel cuts it out, it is shown all the same.
  go(minute) {
    this.second = lens.secondAt(this.reel, minute);
    this.show(clamped(minute, 0, this.scene.end_min));
  }

  goSecond(second) {
    this.second = clamped(second, 0, this.reel.film_s);
    this.show(lens.minuteAt(this.reel, this.second));
  }

  show(minute) {
    this.minute = minute;
    this.strip.set(minute);
    const captions = captionsAt(this.scene.captions, minute);
    const lines = captions.map(each =>
      el("p", {}, el("b", {}, [each.who].flat().filter(Boolean).join(" and ")), ` ${each.words}`),
    );
    this.told.replaceChildren(...lines.slice(0, 3));
    this.controls.tell(this.shot());
    this.ask();
  }

  shot() {
    return this.reel.shots[lens.shotAtSecond(this.reel, this.second)];
  }

  setReel(cut) {
    const { end_min, shots } = this.scene;
    this.reel =
      cut === "even"
        ? {
            film_s: end_min,
            shots: [
              {
                ...shots[0],
                kind: "both",
                title: "both",
                from: 0,
                until: end_min,
                film_s: end_min,
                begin_s: 0,
              },
            ],
          }
        : lens.reelOf(this.scene, cut);
    this.go(this.minute);
  }

  // The film's own camera, one that follows ("EV1", "both"), or the one that somebody has moved by hand.
  setCamera(camera) {
    this.free = camera === "free" ? this.pose() : null;
    this.camera = camera;
    this.controls.tell(this.shot());
    this.ask();
  }

  pose(second = this.second, minute = this.minute) {
    const { scene, camera } = this;
    if (camera === "free") return this.free;
    const shot = this.reel.shots[lens.shotAtSecond(this.reel, second)];
    if (
      camera === "film" &&
      shot.kind !== "both" &&
      minute >= shot.from - 1e-6 &&
      minute <= shot.until + 1e-6
    ) {
      return lens.poseOf(shot, scene, minute);
    }
    if (camera === "both" || camera === "film") return lens.bothPose(scene, minute, [0.5, 0.7, -0.5]);
    if (camera === "station")
      return lens.poseOf(scene.shots.find(each => each.kind === "wide") ?? shot, scene, minute);
    return lens.besidePose(scene, minute, camera);
  }

  // The camera by hand: it turns around its target, nears it, or goes sideways.
  turn(right, above) {
    this.byHand(pose => lens.turned(pose, right, above));
  }

  near(factor) {
    this.byHand(pose => lens.moved(pose, factor));
  }

  carry(by) {
    this.byHand(pose => lens.carried(pose, by));
  }

  byHand(change) {
    if (!this.hasPicture) return;
    const pose = change(this.pose());
    this.setCamera("free");
    this.free = pose;
  }

  play() {
    if (this.second >= this.reel.film_s - 1e-6) this.goSecond(0);
    this.isPlaying = true;
    [this.step, this.late, this.last_ms, this.wish] = [0, [], null, this.second];
    this.controls.tell(this.shot());
    this.ask();
  }

  pause() {
    if (!this.isPlaying) return;
    this.isPlaying = false;
    this.controls.tell(this.shot());
    this.ask();
  }

  // One picture soon, however often it is asked for.
  ask() {
    this.frame ??= requestAnimationFrame(now => {
      this.frame = null;
      if (this.isSeen && this.root.isConnected) this.tick(now);
    });
  }

  tick(now) {
    if (this.isPlaying) {
      const passed = this.last_ms === null ? 0 : now - this.last_ms;
      if (this.last_ms !== null) this.stepDown(passed);
      this.last_ms = now;
      this.wish = Math.min(this.reel.film_s, this.wish + (Math.min(passed, 500) / 1000) * this.speed);
      this.goSecond(
        this.lessMotion.matches ? Math.floor(this.wish / STILL_EVERY_S) * STILL_EVERY_S : this.wish,
      );
      if (this.wish >= this.reel.film_s) this.pause();
    }
    this.paint(this.isPlaying ? LADDER[this.step] : 1);
    clearTimeout(this.better);
    if (this.isPlaying) this.ask();
    else if (this.hasPicture)
      this.better = setTimeout(() => this.isSeen && this.paint(PAUSED_RATIO), PAUSED_AFTER_MS);
  }

  stepDown(passed) {
    this.late.push(passed);
    if (this.late.length < TRIED) return;
    const mean = this.late.reduce((sum, each) => sum + each, 0) / TRIED;
    this.late = [];
    if (mean > STEP_DOWN_MS) this.step = Math.min(this.step + 1, LADDER.length - 1);
  }

  paint(ratio) {
    if (!this.hasPicture) {
      this.notice.textContent = "no WebGL here: words and lanes only";
      return;
    }
    const pixels = Math.min(2, window.devicePixelRatio || 1);
    const wide = Math.max(320, Math.min(1920, Math.round(this.canvas.clientWidth * pixels)));
    const size = [wide, Math.round((wide * 9) / 16)];
    if (this.canvas.width !== size[0] || this.canvas.height !== size[1]) {
      [this.canvas.width, this.canvas.height] = size;
    }
    this.drawn = this.paintOn(
      this.canvas.getContext("2d", { alpha: false }),
      size,
      ratio,
      this.second,
      this.minute,
    );
    this.still.hidden = true;
    const { state } = this.drawn;
    const links = linksAt(this.scene.links, this.minute);
    this.canvas.setAttribute(
      "aria-label",
      [
        headWords(this.scene, state, links),
        ...this.drawn.labels.filter(label => label.who !== undefined).map(label => label.lines.join(", ")),
      ].join(". "),
    );
  }

  paintOn(context, size, ratio, second, minute, captions = [], isFull = ratio > 1) {
    const pose = this.pose(second, minute);
    const { picture, state } = this.world.draw(minute, pose, size, ratio, isFull);
    context.imageSmoothingQuality = ratio > 1 ? "high" : "low";
    context.drawImage(picture, 0, 0, size[0], size[1]);
    const links = linksAt(this.scene.links, minute);
    return {
      ...paintWords(context, this.scene, state, pose, size, { links, inks: INKS, captions }),
      state,
      pose,
      size,
    };
  }

  // The film of a cut as the bytes of a WebM file; the camera is the film's own.
  async video(quality = "full", cut = "", told = () => true) {
    if (!canExport()) throw new Error("this browser makes no video (no WebCodecs)");
    if (!this.hasPicture) throw new Error("this browser draws nothing in space (no WebGL)");
    this.pause();
    this.setCamera("film");
    this.setReel(cut);
    const isFull = quality === "full";
    const paint = (second, minute, context, size) =>
      this.paintOn(context, size, 1, second, minute, captionsAt(this.scene.captions, minute), isFull);
    return exported(this.reel, paint, FORMATS[quality], told);
  }

  captions() {
    return webvtt(this.reel, this.scene.captions);
  }

  // Another plan in the same view: at the same minute, seen as before.
  replace(scene) {
    this.pause();
    this.world?.giveBack();
    this.scene = scene;
    this.reel = lens.reelOf(scene);
    this.world &&= new World(scene, INKS);
    const strip = stripOf(scene, minute => this.go(minute));
    this.strip.element.replaceWith(strip.element);
    this.strip = strip;
    const controls = controlsOf(this);
    this.controls.element.replaceWith(controls.element);
    this.controls = controls;
    this.go(Math.min(this.minute, scene.end_min));
  }

  close() {
    this.pause();
    cancelAnimationFrame(this.frame);
    clearTimeout(this.better);
    this.watcher.disconnect();
    this.sizes.disconnect();
    this.world?.giveBack();
    this.root.replaceChildren();
  }
}
