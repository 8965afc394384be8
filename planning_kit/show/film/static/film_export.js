// The film as a file, picture by picture: nothing is recorded in real time, a slow machine only waits.

import { minuteAt } from "./film_camera.js";
import { webm } from "./film_webm.js";

export const canExport = () => typeof VideoEncoder === "function";
export const FORMATS = {
  draft: { size: [640, 360], fps: 10, bitrate: 800_000 },
  full: { size: [1280, 720], fps: 25, bitrate: 4_000_000 },
};
const KEY_EVERY_S = 5;

// `paint(second, minute, context, size)` draws the whole picture. `told(share)` hears how far it is; what it
// gives as false stops. Gives the bytes of a WebM file, or null where it was stopped.
export async function exported(reel, paint, { size, fps, bitrate }, told = () => true) {
  const canvas = new OffscreenCanvas(...size);
  const context = canvas.getContext("2d", { alpha: false });
  const frames = [];
  let fault = null;
  const encoder = new VideoEncoder({
    output: chunk => {
      const data = new Uint8Array(chunk.byteLength);
      chunk.copyTo(data);
      frames.push({ ms: Math.round(chunk.timestamp / 1000), isKey: chunk.type === "key", data });
    },
    error: error => {
      fault = error;
    },
  });
  const config = { codec: "vp09.00.31.08", width: size[0], height: size[1], framerate: fps, bitrate };
  if (!(await VideoEncoder.isConfigSupported(config)).supported)
    throw new Error("this browser writes no VP9");
  encoder.configure({ ...config, latencyMode: "quality" }); // the other one may drop pictures
  const count = Math.max(1, Math.round(reel.film_s * fps));
  try {
    for (let n = 0; n < count && !fault; n += 1) {
      const second = Math.min(reel.film_s, n / fps);
      paint(second, minuteAt(reel, second), context, size);
      const picture = new VideoFrame(canvas, {
        timestamp: Math.round((n * 1e6) / fps),
        duration: Math.round(1e6 / fps),
      });
      encoder.encode(picture, { keyFrame: n % (KEY_EVERY_S * fps) === 0 });
      picture.close();
      do
        await new Promise(done => {
          setTimeout(done, 0);
        });
      while (encoder.encodeQueueSize > 4);
      if (told((n + 1) / count) === false) return null;
    }
    if (!fault) await encoder.flush();
    if (fault) throw fault;
    if (frames.length !== count) throw new Error(`${count - frames.length} of ${count} pictures were lost`);
  } finally {
    if (encoder.state !== "closed") encoder.close();
  }
  return webm(frames, { width: size[0], height: size[1], duration_ms: (count * 1000) / fps });
}
