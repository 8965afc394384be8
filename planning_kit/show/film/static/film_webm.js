// Encoded pictures as a WebM file, and captions as WebVTT.
//
// WebM is Matroska's subset (RFC 9559; EBML is RFC 8794): elements of an id, a length and a content. All of
// it is in memory before it is written, so that every length, the duration and the cues are known.

import { CAPTION_MIN } from "./film_lookup.js";

const VP9 = "V_VP9";
const bytesOf = (number, least = 1) => {
  const bytes = [];
  for (let left = number; left > 0 || bytes.length < least; left = Math.floor(left / 256))
    bytes.unshift(left % 256);
  return bytes;
};
const sizeOf = number => [0x01, ...bytesOf(number, 7)]; // always eight bytes: simple, and long enough
const joined = parts => {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
};
const element = (id, content) => joined([bytesOf(id), sizeOf(content.length), content]);
const number = (id, value) => element(id, bytesOf(value));
const text = (id, words) => element(id, new TextEncoder().encode(words));
const float = (id, value) => {
  const view = new DataView(new ArrayBuffer(8));
  view.setFloat64(0, value);
  return element(id, new Uint8Array(view.buffer));
};
const group = (id, ...parts) => element(id, joined(parts));

// Frames are { ms, isKey, data }, in their order; a cluster begins at every key frame.
export function webm(frames, { width, height, duration_ms }) {
  const head = group(
    0x1a45dfa3,
    number(0x4286, 1),
    number(0x42f7, 1),
    number(0x42f2, 4),
    number(0x42f3, 8),
    text(0x4282, "webm"),
    number(0x4287, 4),
    number(0x4285, 2),
  );
  const info = group(
    0x1549a966,
    number(0x2ad7b1, 1_000_000),
    float(0x4489, duration_ms),
    text(0x4d80, "planning_kit"),
    text(0x5741, "planning_kit"),
  );
  const video = group(0xe0, number(0xb0, width), number(0xba, height));
  const tracks = group(
    0x1654ae6b,
    group(0xae, number(0xd7, 1), number(0x73c5, 1), number(0x83, 1), text(0x86, VP9), video),
  );
  const clusters = [];
  for (const frame of frames) {
    if (frame.isKey || !clusters.length) clusters.push({ ms: frame.ms, frames: [] });
    clusters.at(-1).frames.push(frame);
  }
  const written = clusters.map(({ ms, frames: own }) =>
    group(
      0x1f43b675,
      number(0xe7, ms),
      ...own.map(frame => {
        const after = frame.ms - ms;
        return element(0xa3, joined([[0x81, ...bytesOf(after, 2), frame.isKey ? 0x80 : 0], frame.data]));
      }),
    ),
  );
  let at = info.length + tracks.length;
  const cues = clusters.map(({ ms }, n) => {
    const cue = group(0xbb, number(0xb3, ms), group(0xb7, number(0xf7, 1), number(0xf1, at)));
    at += written[n].length;
    return cue;
  });
  return joined([head, group(0x18538067, info, tracks, ...written, group(0x1c53bb6b, ...cues))]);
}

const stamp = seconds => {
  const ms = Math.round(seconds * 1000);
  const parts = [Math.floor(ms / 3_600_000), Math.floor(ms / 60_000) % 60, Math.floor(ms / 1000) % 60];
  const clock = parts.map(part => String(part).padStart(2, "0")).join(":");
  return `${clock}.${String(ms % 1000).padStart(3, "0")}`;
};
const escaped = words =>
  words.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;").replace(/\s+/g, " ");

// The captions at their seconds of a reel; one that a cut interrupts is told in each shot of its minutes.
export function webvtt(reel, captions) {
  const cues = reel.shots.flatMap(shot => {
    const span = shot.until - shot.from;
    const second = minute => shot.begin_s + (span > 0 ? ((minute - shot.from) / span) * shot.film_s : 0);
    return captions
      .map(each => [
        Math.max(each.from, shot.from),
        Math.min(each.until, each.from + CAPTION_MIN, shot.until),
        each,
      ])
      .filter(([from, until]) => until > from)
      .map(([from, until, each]) => ({ from: second(from), until: second(until), each }));
  });
  cues.sort((a, b) => a.from - b.from);
  const words = ({ who, words: said }) => escaped([who, said].flat().filter(Boolean).join(": "));
  const told = cues.map(({ from, until, each }) => `${stamp(from)} --> ${stamp(until)}\n${words(each)}\n`);
  return ["WEBVTT\n", ...told].join("\n");
}
