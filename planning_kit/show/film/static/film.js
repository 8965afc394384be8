// Where a film begins: in a page of its own, which holds its scene, and in a notebook's output.

import { Film } from "./film_view.js";

export { Film };

// A page made by the package: the scene and a first still stand in it as JSON.
export function startPage(page = document) {
  const [data, root] = [page.getElementById("film-scene"), page.getElementById("film")];
  if (!data || !root) return null;
  const { scene, still } = JSON.parse(data.textContent);
  root.film = new Film(root, scene, { still });
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
  return () => {
    model.off("change:scene", renew);
    model.off("change:minute", move);
    model.off("msg:custom", again);
    film.close();
  };
}

startPage();
