// Elements of the page. Text is always a text node: what others typed is never read as markup.

export function el(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
}

export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  element.append(...children);
  return element;
}

// A list to choose from: entries of [value, words]; `chosen` is called with the value.
export function choice(words, entries, chosen, stays = true) {
  const list = el("select", { "aria-label": words, title: words });
  if (!stays) list.append(el("option", { value: "" }, words));
  list.append(...entries.map(([value, text]) => el("option", { value }, text)));
  list.addEventListener("change", () => {
    if (list.value === "" && !stays) return;
    chosen(list.value);
    if (!stays) list.value = "";
  });
  return list;
}
