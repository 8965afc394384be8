// A film in a notebook's output. The film's scripts are large, and a notebook gives a widget little time to
// load: they come on request, once a page, however many films it shows.

import { hearAlways } from "./hearing.js";

const KEPT = "planningKitFilm";

const fetched = model =>
  new Promise((done, fail) => {
    const hear = message => {
      if (message.kind !== "script") return;
      model.off("msg:custom", hear);
      const address = URL.createObjectURL(new Blob([message.text], { type: "text/javascript" }));
      import(address).then(done, fail);
    };
    model.on("msg:custom", hear);
    model.send({ kind: "script" });
  });

export default {
  async render({ model, el }) {
    hearAlways(model);
    const kept = (window[KEPT] ??= new Map());
    const version = model.get("version");
    if (!kept.has(version)) kept.set(version, fetched(model));
    const root = document.createElement("div");
    el.append(root);
    const { show } = await kept.get(version);
    return show(model, root);
  },
};
