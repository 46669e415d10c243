// Elements in a line each; text is always text.
export function el(tag, attributes = {}, ...children) {
  const node = tag.includes(":")
    ? document.createElementNS("http://www.w3.org/2000/svg", tag.split(":")[1])
    : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked" || name === "disabled") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return node;
}

export const svg = (tag, attributes, ...children) => el(`svg:${tag}`, attributes, ...children);

export function fill(node, ...children) {
  node.replaceChildren(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return node;
}

let counter = 0;
export const unique = (stem) => `${stem}-${++counter}`;

// A sentence for those who hear the page; the others see it where it belongs.
export function announce(text) {
  const place = document.getElementById("said");
  place.textContent = "";
  setTimeout(() => (place.textContent = text), 50);
}

export const button = (text, onclick, attributes = {}) => el("button", { type: "button", onclick, ...attributes }, text);

export function notice(kind, ...children) {
  return el("div", { class: `notice ${kind}` }, ...children);
}

// A link that saves a file.
export function download(href, name, text) {
  return el("a", { href, download: name }, text ?? name);
}
