// A card in the hand: a copy of it follows the pointer, and the outing under it is told.

const BEGIN_PX = 5;
const EDGE_PX = 40;
const SCROLL_PX = 24;

export class CardDrag {
  // `events`: `onBegin` with the card's node, `onOver` with the outing under the pointer or null, `onEnd`
  // with whether it was let go there.
  constructor(box, columns, events) {
    Object.assign(this, { box, columns, events, held: null });
    columns.addEventListener("pointerdown", event => this.take(event));
    columns.addEventListener("pointermove", event => this.held && this.move(event));
    columns.addEventListener("pointerup", () => this.letGo(true));
    columns.addEventListener("pointercancel", () => this.letGo(false));
  }

  get isUnderWay() {
    return Boolean(this.held?.copy);
  }

  take(event) {
    const card = event.target.closest("[data-can-move]");
    if (card && event.button === 0) this.held = { card, x: event.clientX, y: event.clientY };
  }

  move(event) {
    const { held, columns } = this;
    if (!held.copy) {
      if (Math.hypot(event.clientX - held.x, event.clientY - held.y) < BEGIN_PX) return;
      columns.setPointerCapture(event.pointerId);
      this.begin();
    }
    const home = this.box.getBoundingClientRect();
    held.copy.style.left = `${event.clientX - home.left - held.copy.offsetWidth / 2}px`;
    held.copy.style.top = `${event.clientY - home.top - 12}px`;
    const room = columns.getBoundingClientRect();
    if (event.clientX > room.right - EDGE_PX) columns.scrollLeft += SCROLL_PX;
    if (event.clientX < room.left + EDGE_PX) columns.scrollLeft -= SCROLL_PX;
    this.events.onOver(this.outingAt(event.clientX, event.clientY));
  }

  begin() {
    const { held } = this;
    held.copy = held.card.cloneNode(true);
    held.copy.removeAttribute("data-can-move");
    held.copy.classList.add("pk-held");
    held.copy.setAttribute("aria-hidden", "true");
    held.copy.tabIndex = -1;
    held.copy.style.width = `${held.card.offsetWidth}px`;
    this.box.append(held.copy);
    this.events.onBegin(held.card);
  }

  outingAt(x, y) {
    const over = [...this.columns.children].find(each => {
      const { left, right, top, bottom } = each.getBoundingClientRect();
      return x >= left && x < right && y >= top && y < bottom;
    });
    return over ? over.dataset.outing : null;
  }

  // Taken back, where it is not let go on purpose.
  letGo(isMeant) {
    const { held } = this;
    this.held = null;
    if (!held?.copy) return;
    held.copy.remove();
    this.events.onEnd(isMeant);
  }
}
