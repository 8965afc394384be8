// What stands before what: lines of sight and the bodies that they enter.

import { add, cross, dot, length, minus, unit } from "./film_vector.js";

// Where the way from the eye to a point first enters a body, as a share of it; 1 and more: not at all.
export function entered(body, eye, point) {
  const way = minus(point, eye);
  if (body.kind === "box") {
    const from = minus(eye, body.center);
    return slab(body.axes.map((axis, n) => [dot(from, axis), dot(way, axis), body.size[n] / 2]));
  }
  if (body.kind === "model") return throughTriangles(body, eye, way);
  if (body.kind === "dome") return throughBall(minus(eye, body.center), way, body.radius, unit(body.axis));
  const axis = unit(minus(body.b, body.a));
  const from = minus(eye, body.a);
  const flat = vector => add(vector, axis, -dot(vector, axis));
  const radius = Math.min(body.ra, body.rb); // of a cone the thinner end: rather a label too many
  const [low, high] = roots(flat(from), flat(way), radius);
  const along = [dot(from, axis), dot(way, axis)];
  const long = length(minus(body.b, body.a));
  const [in_, out] = between(along[0] - long / 2, along[1], long / 2);
  const first = Math.max(low, in_);
  return first < Math.min(high, out) && Math.min(high, out) > 0 ? Math.max(first, 0) : Infinity;
}

// Entry and leaving of a line at distance |from + t way| <= half along one axis.
function between(from, way, half) {
  if (Math.abs(way) < 1e-12) return Math.abs(from) < half ? [-Infinity, Infinity] : [Infinity, -Infinity];
  const ends = [(-half - from) / way, (half - from) / way];
  return [Math.min(...ends), Math.max(...ends)];
}

function roots(from, way, radius) {
  const a = dot(way, way);
  const [b, c] = [dot(from, way), dot(from, from) - radius * radius];
  if (a < 1e-12) return c < 0 ? [-Infinity, Infinity] : [Infinity, -Infinity];
  const under = b * b - a * c;
  return under < 0 ? [Infinity, -Infinity] : [(-b - Math.sqrt(under)) / a, (-b + Math.sqrt(under)) / a];
}

function slab(sides) {
  const spans = sides.map(side => between(...side));
  const [low, high] = [Math.max(...spans.map(each => each[0])), Math.min(...spans.map(each => each[1]))];
  return low < high && high > 0 ? Math.max(low, 0) : Infinity;
}

function throughBall(from, way, radius, axis) {
  const [low, high] = roots(from, way, radius);
  if (low >= high || high < 0) return Infinity;
  const isInside = share => dot(add(from, way, share), axis) >= 0;
  return isInside(Math.max(low, 0)) || isInside(Math.min(high, 1)) ? Math.max(low, 0) : Infinity;
}

// The first of a model's triangles that is hit, from whichever side; tried only within the box around them.
function throughTriangles({ points, corners, least, most }, eye, way) {
  const box = least.map((low, n) => [eye[n] - (low + most[n]) / 2, way[n], (most[n] - low) / 2 + 1e-6]);
  let first = Infinity;
  if (slab(box) === Infinity) return first;
  for (let n = 0; n < corners.length; n += 3) {
    const [a, b, c] = [0, 1, 2].map(k => points.slice(3 * corners[n + k], 3 * corners[n + k] + 3));
    const [u, v, from] = [minus(b, a), minus(c, a), minus(eye, a)];
    const across_ = cross(way, v);
    const flat = dot(u, across_);
    const [s, turned] = [dot(from, across_) / flat, cross(from, u)];
    const [t, at] = [dot(way, turned) / flat, dot(v, turned) / flat];
    if (Math.abs(flat) > 1e-12 && s >= 0 && t >= 0 && s + t <= 1 && at >= 0) first = Math.min(first, at);
  }
  return first;
}

// Whether a body stands before a point. Its last `clear_m` do not count: signs stand on bodies.
export function isHidden(bodies, eye, point, clear_m = 0.6) {
  const most = 1 - clear_m / Math.max(length(minus(point, eye)), clear_m + 1e-6);
  return bodies.some(body => entered(body, eye, point) < most);
}
