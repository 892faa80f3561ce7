// Making elements: what the viewer needs of a page, with or without a server behind it.
export const SVG = "http://www.w3.org/2000/svg";

export function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (key === "text") made.textContent = value;
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...inside);
  return made;
}

export function capital(text) { return text.charAt(0).toUpperCase() + text.slice(1); }

// A frame with its picture and the drawing over it, blank until a photo is shown.
export function stage(label) {
  const [picture, marks] = [element("img", { alt: "" }), document.createElementNS(SVG, "svg")];
  marks.setAttribute("aria-hidden", "true");
  const paper = element("div", { class: "paper" }, picture);
  return { picture, marks, paper, frame: element("div", { class: "frame", tabindex: "0", role: "application", "aria-label": label }, paper, marks) };
}
