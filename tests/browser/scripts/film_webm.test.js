import { reelOf } from "/film/film_camera.js";
import { webm, webvtt } from "/film/film_webm.js";
import { equal, test } from "./check.js";
import { scene } from "./film_scene.js";

// The elements at the top of some bytes: id, content, where it begins.
function elements(bytes) {
  const found = [];
  for (let at = 0; at < bytes.length;) {
    const long = Math.clz32(bytes[at]) - 23;
    const id = [...bytes.slice(at, at + long)].map(each => each.toString(16).padStart(2, "0")).join("");
    let size = 0;
    for (const each of bytes.slice(at + long + 1, at + long + 8)) size = size * 256 + each;
    const content = bytes.slice(at + long + 8, at + long + 8 + size);
    found.push({ id, content, at });
    at += long + 8 + size;
  }
  return found;
}

test("a file has its head, its track, a cluster a key frame and a cue that leads to each", () => {
  const frame = (ms, isKey) => ({ ms, isKey, data: new Uint8Array([1, 2, 3]) });
  const bytes = webm([frame(0, true), frame(40, false), frame(80, true)], {
    width: 64,
    height: 36,
    duration_ms: 120,
  });
  const [head, segment] = elements(bytes);
  equal([head.id, segment.id], ["1a45dfa3", "18538067"]);
  const parts = elements(segment.content);
  equal(
    parts.map(each => each.id),
    ["1549a966", "1654ae6b", "1f43b675", "1f43b675", "1c53bb6b"],
  );
  const cues = elements(parts[4].content).map(cue => elements(elements(cue.content)[1].content)[1].content);
  equal(
    cues.map(each => each.reduce((sum, byte) => sum * 256 + byte, 0)),
    [parts[2].at, parts[3].at],
  );
  const block = elements(parts[2].content)[2].content;
  equal([...block], [0x81, 0, 40, 0, 1, 2, 3]);
});

test("captions come at the film's seconds, escaped, and only where their minutes are shown", () => {
  const told = webvtt(reelOf(scene), scene.captions);
  equal(told.startsWith("WEBVTT\n\n00:00:00.000 --> 00:00:04.800\nEV1: leaves the hatch"), true);
  equal(told.includes("00:00:12.000 --> 00:00:15.200\nEV2: hands over &lt;img src=x"), true);
  equal(told.includes("<img"), false);
});
