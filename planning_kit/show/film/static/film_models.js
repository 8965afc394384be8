// Shapes as triangles: the station's bodies, the two figures, boxes.

import { BufferAttribute, BufferGeometry, Mesh } from "./vendor/three.min.js";
import { across, add, cross, dot, length, minus, times, unit } from "./film_vector.js";

export const INK = [0.1, 0.11, 0.13];
export const rgb = hex => [1, 3, 5].map(at => parseInt(hex.slice(at, at + 2), 16) / 255);

// Triangles with a normal and a colour a corner, and the dark lines of their edges.
export class Shapes {
  constructor() {
    Object.assign(this, { points: [], normals: [], colors: [], corners: [], edges: [] });
  }

  put(point, normal, color) {
    this.points.push(...point);
    this.normals.push(...normal);
    this.colors.push(...color);
    return this.points.length / 3 - 1;
  }

  // Rings of corners of equal number, the skin between them closed around.
  rings(rings, color, hasLines = false) {
    const first = rings.map(ring => ring.map(([point, normal]) => this.put(point, normal, color))[0]);
    rings.slice(1).forEach((ring, n) => {
      for (let k = 0; k < ring.length - 1; k += 1) {
        const [a, b] = [first[n] + k, first[n + 1] + k];
        this.corners.push(a, a + 1, b, b, a + 1, b + 1);
      }
    });
    if (hasLines) for (const ring of rings) this.lines(ring.map(([point]) => point));
    return this;
  }

  lines(points) {
    points.slice(1).forEach((point, n) => this.edges.push(...points[n], ...point));
  }

  // From `a` to `b`, radii `ra` and `rb`, both ends closed. Big ones get lines around them: the scale.
  cone(a, b, ra, rb, color, sides = sidesOf(Math.max(ra, rb))) {
    const axis = unit(minus(b, a));
    const x = across(axis, [0, 0, 1]);
    const y = cross(axis, x);
    const slope = (ra - rb) / Math.max(length(minus(b, a)), 1e-6);
    const ring = (center, radius, normal) =>
      Array.from({ length: sides + 1 }, (_, k) => {
        const turn = (2 * Math.PI * k) / sides;
        const out = add(times(x, Math.cos(turn)), y, Math.sin(turn));
        return [add(center, out, radius), normal ?? unit(add(out, axis, slope))];
      });
    const isBig = Math.max(ra, rb) > 0.5;
    this.rings([ring(a, ra), ring(b, rb)], color, isBig);
    this.rings([ring(a, 1e-4, times(axis, -1)), ring(a, ra, times(axis, -1))], color);
    this.rings([ring(b, rb, axis), ring(b, 1e-4, axis)], color);
    const parts = isBig ? Math.floor(length(minus(b, a)) / 2) : 0;
    for (let n = 1; n < parts; n += 1) {
      const share = n / parts;
      const radius = (ra + share * (rb - ra)) * 1.002;
      this.lines(ring(add(a, minus(b, a), share), radius).map(([point]) => point));
    }
    return this;
  }

  box(center, size, axes, color) {
    for (let axis = 0; axis < 3; axis += 1) {
      for (const sign of [-1, 1]) {
        const [u, v] = [1, 2].map(more => times(axes[(axis + more) % 3], size[(axis + more) % 3] / 2));
        const middle = add(center, axes[axis], (sign * size[axis]) / 2);
        const points = [
          [-1, -1],
          [1, -1],
          [1, 1],
          [-1, 1],
        ].map(([a, b]) => add(add(middle, u, a), v, b));
        const [a, b, c, d] = points.map(point => this.put(point, times(axes[axis], sign), color));
        this.corners.push(a, b, c, a, c, d);
        if (axis < 2) this.lines([...points, points[0]]);
      }
    }
    return this;
  }

  dome(center, axis, radius, color, most = Math.PI / 2) {
    const [x, sides] = [across(axis, [0, 0, 1]), Math.max(14, sidesOf(radius))];
    const steps = Math.ceil(sides / (most === Math.PI ? 2 : 4));
    const y = cross(axis, x);
    const rings = Array.from({ length: steps + 1 }, (_, n) => {
      const height = most === Math.PI ? (n / steps - 0.5) * Math.PI : (n / steps) * most;
      return Array.from({ length: sides + 1 }, (_each, k) => {
        const turn = (2 * Math.PI * k) / sides;
        const flat = add(times(x, Math.cos(turn)), y, Math.sin(turn));
        const out = add(times(flat, Math.cos(height)), axis, Math.sin(height));
        return [add(center, out, radius), out];
      });
    });
    return this.rings(rings, color);
  }

  ball(center, radius, color) {
    return this.dome(center, [0, 0, 1], radius, color, Math.PI);
  }

  body(body) {
    const color = rgb(body.color);
    if (body.kind === "cylinder") this.cone(body.a, body.b, body.ra, body.rb, color);
    else if (body.kind === "model") this.triangles(body, color);
    else if (body.kind === "box") this.box(body.center, body.size, body.axes, color);
    else this.dome(body.center, unit(body.axis), body.radius, color);
    return this;
  }

  // As they are, each flat and seen from the side from which its corners go counter-clockwise.
  triangles({ points, corners }, color) {
    for (let n = 0; n < corners.length; n += 3) {
      const ends = [0, 1, 2].map(k => points.slice(3 * corners[n + k], 3 * corners[n + k] + 3));
      const face = cross(minus(ends[1], ends[0]), minus(ends[2], ends[0]));
      if (length(face) < 1e-12) continue; // of no size: it looks nowhere
      this.corners.push(...ends.map(point => this.put(point, unit(face), color)));
    }
  }

  // All faces look along their normals: what is seen from behind is not drawn.
  facing() {
    const [at, up] = [this.points, this.normals].map(all => corner => all.slice(3 * corner, 3 * corner + 3));
    for (let n = 0; n < this.corners.length; n += 3) {
      const [a, b, c] = this.corners.slice(n, n + 3);
      const face = cross(minus(at(b), at(a)), minus(at(c), at(a)));
      if (dot(face, add(add(up(a), up(b)), up(c))) < 0) [this.corners[n + 1], this.corners[n + 2]] = [c, b];
    }
    return this.corners;
  }

  skin() {
    const skin = new BufferGeometry();
    for (const [name, numbers] of [
      ["position", this.points],
      ["normal", this.normals],
      ["color", this.colors],
    ]) {
      skin.setAttribute(name, new BufferAttribute(new Float32Array(numbers), 3));
    }
    skin.setIndex(this.facing());
    return skin;
  }

  outline() {
    const lines = new BufferGeometry();
    lines.setAttribute("position", new BufferAttribute(new Float32Array(this.edges), 3));
    return lines;
  }
}

// Flat bands that always face the camera, so that a line is never thinner than a pixel or two.
export class Bands {
  constructor(most, material) {
    this.geometry = new BufferGeometry();
    this.at = new Float32Array(most * 12);
    this.color = new Float32Array(most * 16);
    this.geometry.setAttribute("position", new BufferAttribute(this.at, 3));
    this.geometry.setAttribute("color", new BufferAttribute(this.color, 4));
    this.geometry.setIndex(
      Array.from({ length: most }, (_, n) => [0, 1, 2, 2, 1, 3].map(k => 4 * n + k)).flat(),
    );
    this.most = most;
    this.mesh = new Mesh(this.geometry, material);
    this.mesh.frustumCulled = false;
    this.mesh.renderOrder = 5;
  }

  // Each line: points, color [r, g, b, a], metres and least pixels of its width, dash in metres or none.
  set(lines, eye, metresAPixel) {
    let count = 0;
    const put = (from, to, line) => {
      if (count >= this.most) return;
      const side = unit(cross(minus(to, from), minus(eye, from)));
      [from, to].forEach((point, end) => {
        const wide = Math.max(line.wide_m, line.least_px * metresAPixel * length(minus(eye, point))) / 2;
        this.at.set([...add(point, side, wide), ...add(point, side, -wide)], count * 12 + end * 6);
      });
      for (let corner = 0; corner < 4; corner += 1) this.color.set(line.color, count * 16 + corner * 4);
      count += 1;
    };
    for (const line of lines) {
      line.points.slice(1).forEach((to, n) => {
        const from = line.points[n];
        const parts = line.dash_m
          ? Math.min(200, Math.max(1, Math.round(length(minus(to, from)) / line.dash_m)))
          : 1;
        for (let k = 0; k < parts; k += 1) {
          const share = line.dash_m ? 0.6 : 1;
          put(add(from, minus(to, from), k / parts), add(from, minus(to, from), (k + share) / parts), line);
        }
      });
    }
    this.geometry.setDrawRange(0, 6 * count);
    this.geometry.attributes.position.needsUpdate = true;
    this.geometry.attributes.color.needsUpdate = true;
  }
}

const sidesOf = radius => (radius < 0.12 ? 6 : radius < 0.5 ? 10 : 28);
const AXES = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];
const WHITE = [0.93, 0.93, 0.91];

// A figure of 1.9 m, its feet at 0, its head along z, its face along y. The first has one wide solid band on
// every limb and its pack, the second two thin rings: told apart by shape, not by colour alone.
export function figure(number, ink) {
  const shapes = new Shapes();
  const band = (a, b, radius) => {
    const spans =
      number % 2 === 0
        ? [[0.22, 0.66]]
        : [
            [0.2, 0.32],
            [0.54, 0.66],
          ];
    for (const [from, to] of spans) {
      const ends = [from, to].map(share => add(a, minus(b, a), share));
      shapes.cone(...ends, radius + 0.014, radius + 0.014, ink, 12);
    }
  };
  const limb = (a, b, radius, isBanded) => {
    shapes.cone(a, b, radius, radius * 0.9, WHITE, 10);
    if (isBanded) band(a, b, radius);
  };
  for (const side of [-1, 1]) {
    limb([0.17 * side, -0.02, 0.95], [0.15 * side, 0.1, 0.52], 0.14, true);
    limb([0.15 * side, 0.1, 0.55], [0.13 * side, -0.04, 0.08], 0.12, false);
    shapes.box([0.13 * side, 0.04, 0.05], [0.16, 0.32, 0.1], AXES, [0.78, 0.78, 0.77]);
    limb([0.33 * side, -0.02, 1.42], [0.42 * side, 0.12, 1.08], 0.11, true);
    limb([0.42 * side, 0.1, 1.1], [0.26 * side, 0.46, 1.12], 0.095, false);
    shapes.ball([0.25 * side, 0.5, 1.13], 0.095, [0.75, 0.75, 0.75]);
  }
  shapes.cone([0, 0, 0.86], [0, 0, 1.5], 0.27, 0.31, WHITE, 14);
  shapes.box([0, -0.34, 1.3], [0.58, 0.26, 0.82], AXES, WHITE);
  for (const at of number % 2 === 0 ? [1.3] : [1.14, 1.46]) {
    shapes.box([0, -0.34, at], [0.6, 0.28, number % 2 === 0 ? 0.34 : 0.1], AXES, ink);
  }
  shapes.box([0, 0.3, 1.24], [0.32, 0.14, 0.24], AXES, [0.6, 0.62, 0.64]);
  shapes.ball([0, 0.02, 1.67], 0.235, WHITE);
  shapes.ball([0, 0.09, 1.68], 0.195, [0.16, 0.12, 0.05]);
  return shapes;
}

// How a figure is at a point: its body along up and out of the surface, its face to it. Its middle is at the
// point, or, as far as `foot` says, its feet are; `stand` is where its feet are.
export function stance(at, up, out, foot = 0) {
  const body = unit(add(up, out, 0.45));
  const face = across(body, times(out, -1));
  const stand = add(add(at, out, 0.4 * (1 - foot)), body, -0.95 * (1 - foot));
  return { body, face, side: cross(face, body), stand };
}

const AT_PLACE_M = 0.8; // the ring of a hazard that is at a place and has no sphere

// The rings of a hazard: one that faces the eye, and of a sphere a level one.
export const ringsOf = ({ at, radius_m }, eye) =>
  [unit(minus(eye, at)), ...(radius_m ? [[0, 0, 1]] : [])].map(axis =>
    circle(at, axis, radius_m || AT_PLACE_M),
  );

function circle(at, axis, radius) {
  const x = across(axis, [0, 0, 1]);
  const y = cross(axis, x);
  return Array.from({ length: 37 }, (_, n) => {
    const turn = (Math.PI * n) / 18;
    return add(add(at, x, radius * Math.cos(turn)), y, radius * Math.sin(turn));
  });
}
