import { canExport, exported } from "/film/film_export.js";
import { equal, near, placed, test } from "./check.js";

const reel = { film_s: 1, shots: [{ from: 0, until: 10, film_s: 1, begin_s: 0 }] };
const FORMAT = { size: [64, 36], fps: 10, bitrate: 100_000 };

test("a film is as long as its reel, and plays: each picture is that of its minute", async () => {
  equal(canExport(), true);
  const minutes = [];
  const paint = (second, minute, context) => {
    minutes.push(minute);
    context.fillStyle = second < 0.5 ? "#F00" : "#00F";
    context.fillRect(0, 0, 64, 36);
  };
  const bytes = await exported(reel, paint, FORMAT);
  equal(
    minutes.map(each => Math.round(each)),
    [0, 1, 2, 3, 4, 5, 6, 7, 8, 9],
  );
  const video = placed(document.createElement("video"));
  video.muted = true;
  video.src = URL.createObjectURL(new Blob([bytes], { type: "video/webm" }));
  await new Promise((done, fail) => {
    video.onloadeddata = done;
    video.onerror = () => fail(new Error(video.error.message));
  });
  near(video.duration, 1, 0.01);
  video.currentTime = 0.8;
  await new Promise(done => {
    video.onseeked = done;
  });
  const context = new OffscreenCanvas(64, 36).getContext("2d");
  let [red, blue] = [0, 0];
  for (let tries = 0; tries < 100 && red + blue < 100; tries += 1) {
    // A busy page has sought before it has the picture.
    await new Promise(done => {
      setTimeout(done, 50);
    });
    context.drawImage(video, 0, 0);
    [red, , blue] = context.getImageData(32, 18, 1, 1).data;
  }
  equal([red < 60, blue > 180], [true, true]);
});

test("it can be stopped, and then there is none", async () => {
  const seen = [];
  const bytes = await exported(
    reel,
    () => {},
    FORMAT,
    share => {
      seen.push(share);
      return share < 0.3;
    },
  );
  equal([bytes, seen.length], [null, 3]);
});

test("an encoder that drops a picture makes no video", async () => {
  const whole = window.VideoEncoder;
  let count = 0;
  window.VideoEncoder = class extends whole {
    encode(...given) {
      count += 1;
      if (count !== 4) super.encode(...given);
    }
  };
  const fault = await exported(reel, () => {}, FORMAT).catch(error => error.message);
  window.VideoEncoder = whole;
  equal(fault, "1 of 10 pictures were lost");
});
