// Which card a key leads to, which outing a card may go on, and the one move that is asked about: without a
// page.

const PAUSE_MS = 120; // a hand that passes over an outing does not ask about it
const WAYS = { ArrowLeft: -1, ArrowRight: 1 };
const STEPS = { ArrowUp: -1, ArrowDown: 1 };

// What a key on a card means: a card beside, an outing beside for it, to the answer, no move; null: nothing.
export function boardAct({ key, altKey, ctrlKey, metaKey, shiftKey }) {
  if (ctrlKey || metaKey || shiftKey) return null;
  if (altKey) return WAYS[key] ? { act: "move", by: WAYS[key] } : null;
  if (WAYS[key] || STEPS[key]) return { act: "choose", key };
  return { Enter: { act: "answer" }, Escape: { act: "drop" } }[key] ?? null;
}

// The place of a card that is looked for by task and outing; of a task that has left, where it is now.
export function placeOf(columns, wanted) {
  if (!wanted) return null;
  const all = columns.flatMap(({ outing, cards }) => cards.map(card => ({ outing, card })));
  const own = all.filter(({ card }) => card.task === wanted.task);
  return (
    own.find(({ outing }) => outing === wanted.outing) ??
    own.find(({ card }) => card.can_move) ??
    own[0] ??
    null
  );
}

// The card that an arrow leads to: up and down in its column, left and right in the next that has one.
export function cardBeside(columns, { outing, task }, key) {
  const at = columns.findIndex(each => each.outing === outing);
  if (at < 0) return null;
  const row = columns[at].cards.findIndex(each => each.task === task);
  let to = at;
  if (WAYS[key])
    do to += WAYS[key];
    while (columns[to] && !columns[to].cards.length);
  if (!columns[to]) return null;
  const { cards } = columns[to];
  const card = WAYS[key] ? cards[Math.min(row, cards.length - 1)] : cards[row + STEPS[key]];
  return card ? { outing: columns[to].outing, task: card.task } : null;
}

// The outing beside that takes cards; the same where there is none.
export function outingBeside(columns, outing, by) {
  let to = columns.findIndex(each => each.outing === outing);
  do to += by;
  while (columns[to] && !columns[to].takes);
  return columns[to]?.outing ?? outing;
}

// At most one question is under way; the newest move that waits takes the place of older ones.
export class Moves {
  constructor(send, onTold) {
    Object.assign(this, { send, onTold, wanted: null, answer: null, flight: null });
  }

  // null: nothing is to be moved.
  ask(move) {
    if (keyOf(move) === keyOf(this.wanted)) return;
    if (!move) this.send({ kind: "board_drop" });
    this.want(move, PAUSE_MS);
  }

  want(move, pauseMs = 0) {
    Object.assign(this, { wanted: move, answer: null });
    clearTimeout(this.timer);
    if (pauseMs) this.timer = setTimeout(() => this.goOn(), pauseMs);
    else this.goOn();
    this.onTold();
  }

  goOn() {
    if (this.flight || !this.wanted || this.answer) return;
    this.flight = keyOf(this.wanted);
    this.send({ kind: "board_move", ...this.wanted });
  }

  hear(answer) {
    if (keyOf(answer) !== this.flight) return;
    this.flight = null;
    if (keyOf(answer) === keyOf(this.wanted)) this.answer = answer;
    this.goOn();
    this.onTold();
  }

  // The plans are others: what was answered is old. Without a chosen card nothing is asked any more.
  renew(chosen) {
    this.flight = null;
    this.want(chosen && this.wanted);
  }
}

function keyOf(move) {
  return move && JSON.stringify([move.task, move.outing]);
}
