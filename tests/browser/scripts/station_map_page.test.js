import { equal, frame, placed, press, test } from "./check.js";

// As another map of the page would.
const start = number => import(`/show/station_map_page.js?page=${number}`);

const entryOf = minute => ({ label: `at ${minute}`, args: [[String(minute)]] });

// What plotly keeps of a film of `minutes`, as far as the keys read it.
function film(...minutes) {
  const plot = placed(document.createElement("div"));
  plot.className = "js-plotly-plot";
  plot.innerHTML =
    "<svg><g class='slider-group'><rect class='slider-rail-touch-rect'></rect></g>" +
    "<g class='updatemenu-button'></g><g class='updatemenu-header'></g></svg>";
  plot.querySelector(".updatemenu-button").textContent = "▶ play";
  plot._fullLayout = {
    sliders: [{ active: 1, steps: minutes.map(minute => ({ args: [[String(minute)]] })) }],
    updatemenus: [{ name: "steps", buttons: [{ label: "steps" }, ...minutes.map(entryOf)] }],
  };
  plot.querySelector(".updatemenu-header").__data__ = { _index: 0 };
  plot._transitionData = { _frames: minutes };
  plot.querySelector(".slider-group").__data__ = { _dims: { inputAreaStart: 0, inputAreaLength: 120 } };
  return plot;
}

test("a map's slider gets a name and a place for the keys, and tells its minute", async () => {
  const plot = film(0, 60, 125);
  await start(1);
  const rail = plot.querySelector(".slider-group");
  equal(
    ["role", "tabindex", "aria-label", "aria-valuenow", "aria-valuemax", "aria-valuetext"].map(name =>
      rail.getAttribute(name),
    ),
    ["slider", "0", "PET", "1", "2", "PET 1:00"],
  );
  equal(plot.querySelector(".updatemenu-button").getAttribute("aria-label"), "play");
});

test("a key moves the slider as a press on its rail would", async () => {
  const plot = film(0, 60, 125);
  await start(1);
  await new Promise(done => {
    setTimeout(done, 350);
  }); // charts that come later are dressed soon
  await frame();
  const seen = [];
  plot
    .querySelector(".slider-rail-touch-rect")
    .addEventListener("mousedown", event => seen.push(event.clientX));
  const rail = plot.querySelector(".slider-group");
  const left = rail.getScreenCTM().e;
  equal([press(rail, "End"), press(rail, "Home"), press(rail, "x")], [true, true, false]);
  equal(
    seen.map(x => Math.round(x - left)),
    [110, 10],
  ); // the steps begin ten pixels from either end
});

test("a list is stepped through without being opened, and leads to its entry's minute", async () => {
  const plot = film(0, 60, 125);
  await start(1);
  await new Promise(done => {
    setTimeout(done, 350);
  });
  const list = plot.querySelector(".updatemenu-header");
  const told = () =>
    ["role", "aria-label", "aria-valuetext", "aria-valuenow"].map(name => list.getAttribute(name));
  equal(told(), ["spinbutton", "steps", "none chosen", "-1"]);
  equal([press(list, "ArrowDown"), told()], [true, ["spinbutton", "steps", "at 0", "0"]]);
  equal(
    [press(list, "End"), told()[2], press(list, "ArrowDown"), told()[2]],
    [true, "at 125", true, "at 125"],
  );
  equal(press(list, "x"), false);
});

test("a button pressed before a jump is under way waits for it, and only then", async () => {
  const plot = film(0, 60, 125);
  await start(1);
  const rail = plot.querySelector(".slider-rail-touch-rect");
  const button = plot.querySelector(".updatemenu-button");
  const seen = [];
  rail.addEventListener("mousedown", () => requestAnimationFrame(() => seen.push("jump")));
  button.addEventListener("click", () => seen.push("play"));
  const at = { bubbles: true, cancelable: true };
  for (const [element, kind] of [
    [rail, "mousedown"],
    [rail, "mouseup"],
    [button, "click"],
  ]) {
    element.dispatchEvent(new MouseEvent(kind, at));
  }
  equal(seen, []);
  for (let drawn = 0; drawn < 3; drawn += 1) await frame();
  equal(seen, ["jump", "play"]);
  button.dispatchEvent(new MouseEvent("click", at));
  equal(seen, ["jump", "play", "play"]);
});

test("however many maps, the keys come once", async () => {
  film(0, 60);
  const before = document.querySelectorAll("style").length;
  await start(2);
  equal(document.querySelectorAll("style").length, before);
});
