// Elements of a page. Text is always a text node: what others typed is never read as markup.

const SVG_NS = "http://www.w3.org/2000/svg";

export function el(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

export function svg(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG_NS, tag), attributes, children);
}

function filled(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined) continue;
    const drawn = child.drawn?.() ?? child; // a shape makes its own node
    node.append(drawn instanceof Node ? drawn : document.createTextNode(String(drawn)));
  }
  return node;
}

// What an output of JupyterLab is seen through: the notebook, or a view of one output; elsewhere null.
export function frameOf(node) {
  return node.closest(".jp-WindowedPanel-outer, .jp-LinkedOutputView");
}
