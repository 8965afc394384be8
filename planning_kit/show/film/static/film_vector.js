// Vectors as [x, y, z], in metres of the station frame or without a unit.

export const add = (a, b, factor = 1) => [a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2]];
export const minus = (a, b) => add(a, b, -1);
export const times = (a, factor) => [a[0] * factor, a[1] * factor, a[2] * factor];
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
export const length = a => Math.hypot(...a);
export const mixed = (a, b, share) => a.map((each, axis) => each + share * (b[axis] - each));

// Of length 1; what has no direction is `otherwise`.
export function unit(a, otherwise = [0, 0, 1]) {
  const long = length(a);
  return long > 1e-9 ? times(a, 1 / long) : otherwise;
}

// A direction across `a`, as near to `wish` as can be.
export function across(a, wish) {
  const least = Math.abs(a[0]) < 0.7 ? [1, 0, 0] : [0, 1, 0];
  const other = unit(cross(cross(a, least), a));
  return unit(add(wish, a, -dot(wish, a)), other);
}

export const clamped = (value, least, most) => Math.min(most, Math.max(least, value));
