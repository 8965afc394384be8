// The picture of a minute: bodies, figures, tethers, boxes, rings and sky, seen by one camera.
//
// A browser keeps few drawing contexts and takes them from the oldest page part: all films of a page share
// one, whose picture each copies onto a canvas of its own. Without anybody to draw for it is given back.

import {
  LineSegments,
  Matrix4,
  Mesh,
  PerspectiveCamera,
  Scene,
  Vector3,
  WebGLRenderer,
} from "./vendor/three.min.js";
import { VIEW_DEG } from "./film_camera.js";
import { bodyMaterial, earth, lightUniforms, lineMaterial, placeEarth, stars } from "./film_light.js";
import { cablesAt, footAt, hazardsAt, heldAt, lightAt, personAt, standsOf, tetherAt } from "./film_lookup.js";
import { Shadow } from "./film_shadow.js";
import { Bands, figure, rgb, ringsOf, Shapes, stance } from "./film_models.js";
import { across, add, cross, times, unit } from "./film_vector.js";

let renderer = null;
const users = new Set();

// Whether a page can draw at all, tried on a canvas that is thrown away: three tells by an error.
export function canDraw() {
  try {
    const context = document.createElement("canvas").getContext("webgl2");
    context?.getExtension("WEBGL_lose_context")?.loseContext();
    return context !== null;
  } catch {
    return false;
  }
}

function rendererFor(user) {
  users.add(user);
  if (renderer?.getContext().isContextLost()) renderer = null;
  renderer ??= new WebGLRenderer({ antialias: false, alpha: false });
  return renderer;
}

export function giveBack(user) {
  if (!users.delete(user) || users.size || !renderer) return;
  renderer.dispose();
  renderer.forceContextLoss();
  renderer = null;
}

export const contexts = () => (renderer ? 1 : 0);

const AXES = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];
const [BOX_INK, BAG_INK] = [
  [0.86, 0.66, 0.3],
  [0.7, 0.76, 0.84],
];
const BOX_SIZES = { bag: [0.55, 0.34, 0.4], tool: [0.12, 0.12, 0.34] };
const NEAR_ITS_END = 0.85; // of a tether's length: told by a wider line, another colour and a label
const RINGS = {
  warning: [0.9, 0.25, 0.15, 0.9],
  caution: [0.95, 0.7, 0.15, 0.85],
  note: [0.6, 0.66, 0.72, 0.8],
};

export class World {
  constructor(scene, inks) {
    this.data = scene;
    this.inks = inks.map(rgb);
    this.scene = new Scene();
    this.sockets = new Set(scene.places.filter(place => place.socket).map(place => place.id));
    this.camera = new PerspectiveCamera(VIEW_DEG, 16 / 9, 0.15, 900);
    this.light = lightUniforms();
    this.material = bodyMaterial(this.light);
    const hull = new Shapes();
    for (const body of scene.bodies) hull.body(body);
    this.hull = this.add(new Mesh(hull.skin(), this.material));
    this.shadow = new Shadow();
    const outline = new LineSegments(hull.outline(), lineMaterial(false));
    outline.renderOrder = 4;
    this.scene.add(outline);
    this.figures = scene.people.map((_, n) =>
      this.add(new Mesh(figure(n, this.inks[n]).skin(), this.material)),
    );
    const [box, bag] = [BOX_INK, BAG_INK].map(ink =>
      new Shapes().box([0, 0, 0], [1, 1, 1], AXES, ink).skin(),
    );
    this.boxes = new Map(
      scene.items.map(item => [item.id, this.add(new Mesh(item.kind === "bag" ? bag : box, this.material))]),
    );
    this.globe = this.add(earth(this.light));
    this.stars = this.add(stars());
    this.bands = new Bands(6000, lineMaterial(true));
    this.add(this.bands.mesh);
    for (const mesh of [...this.figures, ...this.boxes.values()]) {
      mesh.matrixAutoUpdate = false;
      mesh.frustumCulled = false;
    }
  }

  add(thing) {
    this.scene.add(thing);
    return thing;
  }

  // Everything of a minute that is drawn and told: also for labels, captions and tests.
  state(minute) {
    const { data } = this;
    const people = data.people.map(person => personAt(person, minute));
    const stands = standsOf(people);
    const seen = people.map((person, n) => {
      const foot = footAt(data.people[n], minute, this.sockets);
      return { ...person, ...stance(stands[n], person.facing, person.out, foot) };
    });
    const held = heldAt(data.items, minute);
    const tethers = data.tethers.map(tether => {
      const person = seen.find(each => each.id === tether.person);
      const end = person && add(add(person.stand, person.body, 0.95), person.face, 0.28);
      return person && { person: person.id, ...tetherAt(tether, minute, end) };
    });
    return {
      minute,
      people: seen,
      held,
      sky: lightAt(data.light, minute),
      tethers: tethers.filter(each => each?.points),
      cables: cablesAt(data.items, minute, holder => {
        const person = seen.find(each => each.id === holder);
        if (person) return add(add(person.stand, person.body, 1.1), person.face, 0.4);
        return data.places.find(each => `place:${each.id}` === holder)?.at;
      }),
      hazards: hazardsAt(data.hazards, minute),
    };
  }

  // `isFull`: with shadows, which take too long for a picture that moves.
  draw(minute, pose, size, ratio = 1, isFull = false) {
    const state = this.state(minute);
    const here = rendererFor(this);
    here.setPixelRatio(1);
    here.setSize(Math.round(size[0] * ratio), Math.round(size[1] * ratio), false);
    this.camera.aspect = size[0] / size[1];
    this.camera.position.set(...pose.eye);
    this.camera.up.set(...pose.up);
    this.camera.lookAt(...pose.look);
    this.camera.updateProjectionMatrix();
    this.camera.updateMatrixWorld();
    this.setSky(state, ratio * (size[1] / 720));
    state.people.forEach((person, n) =>
      this.figures[n].matrix.copy(basis(person.side, person.face, person.body, person.stand)),
    );
    this.setBoxes(state);
    this.setLines(state, pose.eye, (2 * Math.tan((VIEW_DEG * Math.PI) / 360)) / size[1]);
    this.setShadow(here, state.sky, pose, isFull);
    here.render(this.scene, this.camera);
    return { picture: here.domElement, state };
  }

  setSky({ sky, people }, pixel) {
    const { light } = this;
    light.sun.value.set(...sky.sun);
    light.nadir.value.set(...sky.nadir);
    light.day.value = sky.day;
    light.lamps.value = 1 - sky.day;
    people.slice(0, 2).forEach((person, n) => {
      light.lampAt.value[n].set(...add(add(person.stand, person.body, 1.8), person.face, 0.5));
      light.lampTo.value[n].set(...unit(add(person.face, person.body, -0.45)));
    });
    if (people.length === 1) light.lampAt.value[1].copy(light.lampAt.value[0]);
    const { pole, meridian } = earthAxes(sky);
    placeEarth(this.globe, sky, this.camera, basis(meridian, cross(pole, meridian), pole, [0, 0, 0]));
    const z = across(sky.sun, pole);
    this.stars.setRotationFromMatrix(basis(sky.sun, cross(z, sky.sun), z, [0, 0, 0]));
    this.stars.material.uniforms.day.value = sky.day;
    this.stars.material.uniforms.pixel.value = pixel;
  }

  setShadow(renderer_, sky, pose, isFull) {
    const { light } = this;
    light.shaded.value = isFull && sky.day > 0 ? 1 : 0;
    if (!light.shaded.value) return;
    const solids = new Set([this.hull, ...this.figures, ...this.boxes.values()]);
    const { shade, toShade } = this.shadow.draw(renderer_, this.scene, solids, sky.sun, pose);
    light.shade.value = shade;
    light.toShade.value = toShade;
  }

  setBoxes({ held, people }) {
    for (const mesh of this.boxes.values()) mesh.visible = false;
    for (const [holder, items] of held) {
      const person = people.find(each => each.id === holder);
      const place = this.data.places.find(each => `place:${each.id}` === holder);
      if (!person && !place) continue;
      items.forEach((item, n) => {
        const mesh = this.boxes.get(item.id);
        const size = BOX_SIZES[item.kind] ?? [0.38, 0.3, 0.3];
        const frame = person ?? stance(place.at, place.up, place.out, 1);
        const at = person ? inHand(person, item, n) : leftAt(place, frame, n);
        mesh.visible = true;
        mesh.matrix.copy(
          basis(...[frame.side, frame.face, frame.body].map((axis, k) => times(axis, size[k])), at),
        );
      });
    }
  }

  setLines({ tethers, cables, hazards, sky }, eye, metresAPixel) {
    const lit = 0.4 + 0.6 * sky.day;
    // Handrails; where lines catch they are dashed, where it is tight they are wide.
    const lines = this.data.routes.map(({ points, kind = "" }) => ({
      points,
      color: [0.95 * lit, 0.82 * lit, 0.4 * lit, 0.7],
      wide_m: kind.includes("tight") ? 0.09 : 0.035,
      least_px: kind.includes("tight") ? 3 : 1.2,
      dash_m: kind.includes("snag") ? 0.35 : 0,
    }));
    for (const { radius_m, at, severity, points = [] } of hazards) {
      const look = { color: RINGS[severity] ?? RINGS.note, wide_m: 0.03, least_px: 2 };
      if (points.length) lines.push({ ...look, points, wide_m: 0.12, least_px: 4, dash_m: 0.25 });
      else
        for (const ring of ringsOf({ at, radius_m }, eye))
          lines.push({ ...look, points: ring, dash_m: radius_m ? 0.4 : 0.15 });
    }
    for (const { points } of cables) {
      lines.push({ points, color: [0.03, 0.03, 0.04, 0.9], wide_m: 0.09, least_px: 3.6 });
      lines.push({
        points,
        color: [0.55 * lit, 0.9 * lit, 0.6 * lit, 1],
        wide_m: 0.05,
        least_px: 2,
        dash_m: 0.9,
      });
    }
    for (const { person, points, share } of tethers) {
      const n = this.data.people.findIndex(each => each.id === person);
      const isNear = share >= NEAR_ITS_END;
      const own = this.inks[n].map(part => 0.35 + 0.65 * part);
      const line = {
        points,
        wide_m: isNear ? 0.06 : 0.035,
        least_px: isNear ? 4 : 2.4,
        dash_m: n % 2 ? 0.5 : 0,
      };
      lines.push({ ...line, dash_m: 0, color: [0.05, 0.05, 0.06, 0.75], least_px: line.least_px + 1.6 });
      lines.push({ ...line, color: isNear ? [1, 0.85, 0.2, 1] : [...own, 1] });
    }
    this.bands.set(lines, eye, metresAPixel);
  }

  giveBack() {
    this.shadow.giveBack();
    this.light.shade.value = null;
    giveBack(this);
  }
}

// Beside a place, three below each other.
const leftAt = ({ at, out }, { side, body }, n) =>
  add(add(add(at, side, 0.6 + 0.45 * Math.floor(n / 3)), body, 0.3 - 0.42 * (n % 3)), out, 0.1);

function inHand({ stand, body, face, side }, item, n) {
  const isBag = item.kind === "bag";
  const aside = isBag ? 0.62 * (n % 2 ? -1 : 1) : 0.3 * (n % 2 ? -1 : 1) * Math.ceil(n / 2);
  return add(add(add(stand, body, isBag ? 0.85 : 1.15), face, isBag ? 0.1 : 0.62), side, aside);
}

const basis = (x, y, z, at) =>
  new Matrix4().makeBasis(new Vector3(...x), new Vector3(...y), new Vector3(...z)).setPosition(...at);

// Where the Earth's pole and the meridian of Greenwich point to, seen from the station.
export function earthAxes(sky) {
  const zenith = times(sky.nadir, -1);
  const north = across(zenith, sky.north);
  const [lat, lon] = [sky.sub_lat, sky.sub_lon].map(degrees => (degrees * Math.PI) / 180);
  const pole = unit(add(times(north, Math.cos(lat)), zenith, Math.sin(lat)));
  const below = across(pole, zenith);
  const meridian = unit(add(times(below, Math.cos(lon)), cross(pole, below), -Math.sin(lon)));
  return { pole, meridian };
}
