// What is sent to the kernel, and what still waits for its answer.

const ANSWER_MS = 15000;
const GREET_MS = 3000;
const GREETING = 1; // the number of a view's first message: without its answer the page stays empty
// Not the planner's own acts: what was said stays.
const QUIET_KINDS = [
  "hello",
  "explain",
  "compare",
  "snapshot",
  "candidate",
  "consequences",
  "board_drop",
  "board_move",
];
export const QUIET_WORDS = "The kernel does not answer. ";

export class Wire {
  // `events`: `onAct` when the planner does something, `onQuiet` with words when no answer comes, `isKept`
  // whether what is typed is on the disk.
  constructor(model, root, view, events) {
    Object.assign(this, { model, root, view, events, number: 0, waiting: new Map() });
  }

  send(message, then) {
    this.number += 1;
    if (this.number === GREETING) this.greeting = message;
    this.waiting.set(this.number, then);
    this.root.dataset.sent = String(this.number);
    if (!QUIET_KINDS.includes(message.kind)) this.events.onAct();
    clearTimeout(this.timer);
    try {
      this.model.send({ ...message, n: this.number, view: this.view });
    } catch {
      this.quiet(); // the kernel was restarted: nobody listens
      return;
    }
    this.wait();
  }

  wait() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.waiting.size && this.quiet(), ANSWER_MS);
  }

  quiet() {
    this.events.onQuiet(
      QUIET_WORDS +
        (this.events.isKept()
          ? "What you typed until its last answer is kept on disk: " +
            "restart the kernel, run this cell again and choose Restore."
          : "What you typed could not be kept on disk: wait for the kernel."),
    );
    this.timer = setTimeout(() => this.greetAgain(), GREET_MS);
  }

  // A greeting can be lost while a kernel starts or has much to do: it is sent until it is answered.
  greetAgain() {
    if (!this.waiting.has(GREETING)) return;
    try {
      this.model.send({ ...this.greeting, n: GREETING, view: this.view });
    } catch {
      return; // nobody listens
    }
    this.timer = setTimeout(() => this.greetAgain(), ANSWER_MS);
  }

  // Gives whether it answers something: what is told by itself has no `echo`.
  answered(echo) {
    if (echo === null || echo === undefined) return false;
    for (const [sent, then] of this.waiting)
      if (sent <= echo) {
        this.waiting.delete(sent);
        then?.();
      }
    if (this.waiting.size) this.wait();
    this.root.dataset.answered = String(echo);
    return true;
  }
}
