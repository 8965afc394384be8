import { Film } from "/film/film_view.js";
import { equal, placed, test } from "./check.js";
import { scene } from "./film_scene.js";

test("everything has a name, and the lists lead to shots, steps and findings", () => {
  const film = new Film(placed(document.createElement("div")), scene);
  const { element } = film.controls;
  const lists = [...element.querySelectorAll("select")];
  equal(
    lists.map(each => each.getAttribute("aria-label")),
    ["speed", "length of the film", "camera", "to a shot", "to a step", "to a finding"],
  );
  const findings = lists.at(-1);
  findings.value = "66";
  findings.dispatchEvent(new Event("change"));
  equal([film.minute, findings.value], [66, ""]);
  equal(element.querySelector("output").textContent, "PET 1:06:00 · Hand-over");
  equal(
    [...element.querySelectorAll("dt")].slice(0, 3).map(each => each.textContent),
    ["space", "←", "→"],
  );
  film.close();
});
