// A picture as data, and the nodes of the page that show it. A node costs the page far more than its picture:
// every rule of every sheet is asked about it. So what is drawn anew takes the nodes of the drawing before,
// and only what differs is changed.

const SVG_NS = "http://www.w3.org/2000/svg";
const shown = new WeakMap(); // node to shape

// Texts among the `children` are text nodes; what is null is left out.
export class Shape {
  constructor(tag, attributes, children) {
    Object.assign(this, { tag, attributes, children });
  }

  // A node of its own.
  drawn() {
    const node = document.createElementNS(SVG_NS, this.tag);
    follow(node, this);
    return node;
  }
}

export function shape(tag, attributes = {}, ...children) {
  return new Shape(
    tag,
    attributes,
    children.flat(Infinity).filter(child => child !== null && child !== undefined),
  );
}

// `parent` shows these shapes and nothing else.
export function redraw(parent, shapes) {
  const free = new Map();
  for (const node of [...parent.childNodes]) {
    const kind = shown.get(node)?.tag;
    if (!kind) node.remove();
    else if (free.has(kind)) free.get(kind).push(node);
    else free.set(kind, [node]);
  }
  for (const nodes of free.values()) nodes.reverse();
  let at = parent.firstChild;
  for (const each of shapes) {
    const node = free.get(each.tag)?.pop();
    if (node) follow(node, each);
    if (node && node === at) at = at.nextSibling;
    else parent.insertBefore(node ?? each.drawn(), at);
  }
  for (const nodes of free.values()) for (const node of nodes) node.remove();
}

// A shown node gets other attributes; the next drawing knows of them.
export function change(node, attributes) {
  const was = shown.get(node);
  shown.set(node, new Shape(was.tag, { ...was.attributes, ...attributes }, was.children));
  put(node, was.attributes, attributes);
}

function follow(node, now) {
  const was = shown.get(node) ?? { attributes: {}, children: [] };
  shown.set(node, now);
  put(node, was.attributes, now.attributes);
  for (const name of Object.keys(was.attributes)) if (!(name in now.attributes)) node.removeAttribute(name);
  if (!now.children.length && !was.children.length) return;
  if (now.children.every(child => child instanceof Shape)) redraw(node, now.children);
  else if (now.children.join("") !== was.children.join("")) node.textContent = now.children.join("");
}

function put(node, was, now) {
  for (const [name, value] of Object.entries(now)) {
    if (value === was[name]) continue;
    if (value === null || value === undefined || value === false) node.removeAttribute(name);
    else node.setAttribute(name, value);
  }
}
