import { hearAlways } from "/static/hearing.js";
import { equal, test } from "./check.js";

class Plain {
  heard = [];

  _handle_comm_msg(message) {
    this.heard.push(message);
    return "taken";
  }
}

class GivesUp extends Plain {
  calls = new Map();

  async _handle_comm_msg() {
    throw new Error("given up");
  }

  on(name, call) {
    this.calls.set(name, call);
  }

  off(name) {
    this.calls.delete(name);
  }

  set(name) {
    this.calls.get(`change:${name}`)?.(this);
  }
}

const viewed = ({ on, off, set }, model) => ({
  on: on.bind(model),
  off: off.bind(model),
  set: set.bind(model),
});

test("messages reach a model that was given up, and nothing is left listening", () => {
  const model = new GivesUp();
  let take = null;
  model.comm = {
    on_msg: call => {
      take = call;
    },
  };
  hearAlways(viewed(model, model));
  equal([take("a message"), model.heard, model.calls.size], ["taken", ["a message"], 0]);
});

test("a saved notebook has no channel, and a model that tells no event is left alone", () => {
  const model = new GivesUp();
  hearAlways(viewed(model, model));
  hearAlways({ on: () => {}, off: () => {}, set: () => {} });
  equal(model.heard, []);
});
