import { Film } from "/film/film_view.js";
import { equal, near, placed, press, test } from "./check.js";
import { scene } from "./film_scene.js";

const opened = () => new Film(placed(document.createElement("div")), scene);
const drawn = async film => {
  for (let tries = 0; tries < 400 && !film.drawn; tries += 1)
    await new Promise(done => {
      setTimeout(done, 25);
    });
  if (!film.drawn) throw new Error("nothing drawn");
};

test("it opens at the start, draws, and tells in words what is seen", async () => {
  const film = opened();
  await drawn(film);
  equal([film.minute, film.isPlaying], [0, false]);
  equal(
    film.canvas
      .getAttribute("aria-label")
      .startsWith("PET 0:00   GMT 246/07:30   ☀ day   relay: link. EV1: Out of"),
    true,
  );
  film.close();
  equal(film.root.childElementCount, 0);
});

test("captions are text, whatever was typed", () => {
  const film = opened();
  film.go(65);
  equal(
    [film.told.textContent.includes("<img src=x"), film.root.querySelector("img:not(.pkf-still)")],
    [true, null],
  );
  equal(window.hurt, undefined);
  film.close();
});

test("every key does what the list of keys says", () => {
  const film = opened();
  const at = key => press(film.canvas, key) && film.minute;
  equal(
    [
      at("ArrowRight"),
      at("ArrowRight"),
      at("ArrowLeft"),
      at("PageDown"),
      at("PageDown"),
      at("Home"),
      at("End"),
    ],
    [1, 2, 1, 10, 60, 0, 120],
  );
  press(film.canvas, "ArrowLeft", { shiftKey: true });
  equal(film.minute, 110);
  for (const [key, camera] of [
    ["1", "EV1"],
    ["2", "EV2"],
    ["b", "both"],
    ["s", "station"],
    ["a", "free"],
    ["f", "film"],
  ]) {
    press(film.canvas, key);
    equal(film.camera, camera, key);
  }
  press(film.canvas, ">");
  equal(film.speed, 2);
  press(film.canvas, " ");
  equal(film.isPlaying, true);
  press(film.canvas, " ");
  equal([film.isPlaying, press(film.canvas, "q")], [false, false]);
  film.close();
});

test("a reel of another length stays at its minute; without cuts every minute is shown", () => {
  const film = opened();
  film.go(70);
  film.setReel("even");
  near(film.minute, 70);
  equal([film.reel.film_s, film.reel.shots.length], [120, 1]);
  film.setReel("1");
  equal([film.reel.film_s, film.minute], [7, 70]);
  film.close();
});

test("another plan keeps the minute, as far as it has it", () => {
  const film = opened();
  film.go(100);
  film.replace({ ...scene, end_min: 90, title: "shorter" });
  equal(film.minute, 90);
  film.close();
});
