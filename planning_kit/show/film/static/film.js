// Where a film begins: in a page of its own, which holds its scene, and in a notebook's output.

import { frameOf } from "./elements.js";
import { Film } from "./film_view.js";

export { Film };

const LEAST_PX = 200; // of the picture's height: below, the page scrolls
const AROUND_PX = 8;
const WORDS_PX = 320; // the least width of words beside the picture

// All of a film on one screen: its picture takes the height that words, controls and lanes leave. On a low
// and wide one, where that is little, the words stand beside it. Gives what ends that.
export function fitted({ root, told }) {
  const stage = root.querySelector(".pkf-stage");
  const wideAs = high => Math.floor((Math.max(LEAST_PX, high) * 16) / 9);
  let [around, words] = [null, 0];
  const fit = () => {
    const frame = frameOf(root);
    if (frame && frame !== around) sizes.observe(frame);
    around = frame;
    if (!root.clientHeight) return; // out of sight
    const isBeside = root.classList.contains("pkf-beside");
    if (!isBeside) words = told.offsetHeight;
    const rest = root.offsetHeight - stage.offsetHeight - (isBeside ? 0 : words);
    const high = (frame?.clientHeight || window.innerHeight) - AROUND_PX - rest;
    const most = root.clientWidth - WORDS_PX;
    const isWider = Math.min(wideAs(high), most) > Math.min(wideAs(high - words), root.clientWidth);
    root.classList.toggle("pkf-beside", isWider);
    stage.style.maxWidth = `${isWider ? Math.min(wideAs(high), most) : wideAs(high - words)}px`;
  };
  const sizes = new ResizeObserver(fit);
  sizes.observe(root);
  window.addEventListener("resize", fit);
  return () => {
    sizes.disconnect();
    window.removeEventListener("resize", fit);
  };
}

// A page made by the package: the scene and a first still stand in it as JSON.
export function startPage(page = document) {
  const [data, root] = [page.getElementById("film-scene"), page.getElementById("film")];
  if (!data || !root) return null;
  const { scene, still } = JSON.parse(data.textContent);
  root.film = new Film(root, scene, { still });
  fitted(root.film);
  return root.film;
}

// In a notebook: the scene comes with the model, and again when the plan has changed.
export function show(model, root) {
  const film = new Film(root, model.get("scene"), { still: model.get("still") || null });
  const renew = () => film.replace(model.get("scene"));
  const move = () => film.go(model.get("minute"));
  model.on("change:scene", renew);
  const again = message => message.kind === "go" && move();
  model.on("change:minute", move);
  model.on("msg:custom", again);
  root.film = film;
  const end = fitted(film);
  return () => {
    end();
    model.off("change:scene", renew);
    model.off("change:minute", move);
    model.off("msg:custom", again);
    film.close();
  };
}

startPage();
