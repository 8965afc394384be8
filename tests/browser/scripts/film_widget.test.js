import widget from "/static/film_widget.js";
import { equal, placed, test } from "./check.js";

// A kernel's end of it, which sends a small script in place of the film's.
function modelOf(version, said) {
  let heard = null;
  const text = "export const show = (model, root) => { root.textContent = 'shown'; return () => 'ended'; };";
  return {
    get: () => version,
    on: (_name, call) => {
      heard = call;
    },
    off: () => {
      heard = null;
    },
    set: () => {},
    send: message => {
      said.push(message.kind);
      setTimeout(() => {
        heard({ kind: "other" });
        heard({ kind: "script", text });
      });
    },
  };
}

test("the script comes once for all films of a page, and each gives its end", async () => {
  const said = [];
  const [one, two] = [1, 2].map(() => placed(document.createElement("div")));
  const ends = await Promise.all([one, two].map(el => widget.render({ model: modelOf("a", said), el })));
  equal([said, one.textContent, two.textContent, ends[0]()], [["script"], "shown", "shown", "ended"]);
  await widget.render({ model: modelOf("b", said), el: one });
  equal(said, ["script", "script"]);
});
