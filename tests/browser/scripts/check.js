// What the unit tests of the page's scripts are made of. A file names its tests; `run` gives what came of
// each.

const tests = [];

export function test(name, body) {
  tests.push({ name, body });
}

// The name of every test, with null or what went wrong. Each begins with an empty page.
export async function run() {
  const found = {};
  for (const { name, body } of tests) {
    document.body.replaceChildren();
    try {
      await body();
      found[name] = null;
    } catch (error) {
      found[name] = String(error.stack ?? error);
    }
  }
  return found;
}

export function equal(got, wanted, about = "") {
  const [a, b] = [got, wanted].map(each => JSON.stringify(each));
  if (a !== b) throw new Error(`${about}\n   got ${a}\nwanted ${b}`);
}

export function near(got, wanted, tolerance = 1e-9) {
  if (!(Math.abs(got - wanted) <= tolerance)) throw new Error(`got ${got}, wanted ${wanted}`);
}

// An element put into the page.
export function placed(element) {
  document.body.append(element);
  return element;
}

// A key as the browser tells it, and whether it was taken.
export function press(element, key, more = {}) {
  return !element.dispatchEvent(
    new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true, ...more }),
  );
}

export function type(field, text) {
  field.value = text;
  field.dispatchEvent(new InputEvent("input", { bubbles: true }));
}

export function frame() {
  return new Promise(done => {
    requestAnimationFrame(() => done());
  });
}

// A `send` that keeps what it was given; `answer` calls what waits for the last answer.
export function listener() {
  const said = [];
  const send = (message, then) => {
    said.push(message);
    send.answer = () => then?.();
  };
  send.said = said;
  send.last = () => said[said.length - 1];
  return send;
}
