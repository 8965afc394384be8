// The land of the globe as a picture, painted once: longitude to the right, latitude upward.

import { CanvasTexture } from "./vendor/three.min.js";
import { LAND } from "./vendor/land.min.js";

// The rings of a topology's land, each a list of [longitude, latitude] in degrees. Its arcs are steps in
// whole numbers; an arc that is named by ~n runs backwards (the TopoJSON format, from memory).
export function landRings({ arcs, transform, objects }) {
  const { scale, translate } = transform;
  const lines = arcs.map(steps => {
    const at = [0, 0];
    return steps.map(step =>
      [0, 1].map(axis => {
        at[axis] += step[axis];
        return at[axis] * scale[axis] + translate[axis];
      }),
    );
  });
  const line = number => (number < 0 ? [...lines[-1 - number]].reverse() : lines[number]);
  const shapes = objects.land.geometries.flatMap(each => (each.type === "Polygon" ? [each.arcs] : each.arcs));
  return shapes.flatMap(rings =>
    rings.map(ring => ring.flatMap((number, n) => line(number).slice(n ? 1 : 0))),
  );
}

// A ring without jumps in its longitude, however often it crosses 180 degrees; around a pole also over it.
export function unwound(ring) {
  let turn = 0;
  const line = ring.map(([lon, lat], n) => {
    const step = n ? lon - ring[n - 1][0] : 0;
    if (Math.abs(step) > 180) turn -= 360 * Math.sign(step);
    return [lon + turn, lat];
  });
  const [first, last] = [line[0], line.at(-1)];
  const pole = 90 * Math.sign(first[1]);
  return Math.abs(last[0] - first[0]) > 180 ? [...line, [last[0], pole], [first[0], pole]] : line;
}

// White land on a black sea.
export function paintLand(context, [wide, high], topology = LAND) {
  context.fillStyle = "#000";
  context.fillRect(0, 0, wide, high);
  context.fillStyle = "#FFF";
  context.beginPath();
  for (const ring of landRings(topology).map(unwound)) {
    for (const more of [-360, 0, 360]) {
      ring.forEach(([lon, lat], n) => {
        const at = [((lon + more + 180) / 360) * wide, ((90 - lat) / 180) * high];
        if (n) context.lineTo(...at);
        else context.moveTo(...at);
      });
      context.closePath();
    }
  }
  context.fill("evenodd");
}

export function landTexture() {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [2048, 1024];
  paintLand(canvas.getContext("2d"), [canvas.width, canvas.height]);
  const texture = new CanvasTexture(canvas);
  texture.generateMipmaps = false;
  [texture.minFilter, texture.magFilter] = [1006, 1006]; // linear
  return texture;
}
