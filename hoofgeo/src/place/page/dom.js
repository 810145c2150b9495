// Elements made without any text ever being read as markup.

export const byId = (id) => document.getElementById(id);

/** An element with properties (`on…` are listeners, `aria…` and `data…` attributes) and children, texts or elements. */
export function el(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (/^(aria|data)-|^(for|role|class|type|id|min|max|step|inputmode|list|href|src|alt)$/.test(name)) element.setAttribute(name, value);
    else element[name] = value;
  }
  element.append(...children.flat().filter((child) => child !== undefined && child !== null && child !== false));
  return element;
}

export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

/** Says something to a screen reader. */
export function speak(text) {
  byId("spoken").textContent = text;
}

/** A question or a message over the page; resolves to the chosen button's value, null where it was closed. */
export function ask(title, body, buttons) {
  const dialog = byId("dialog");
  byId("dialog-title").textContent = title;
  const row = el("div", { class: "buttons" });
  byId("dialog-body").replaceChildren(...[body].flat(), row);
  return new Promise((resolve) => {
    let chosen = null;
    for (const { text, value, main } of buttons) {
      row.append(el("button", { type: "button", class: main ? "main" : "", onclick: () => { chosen = value; dialog.close(); } }, text));
    }
    dialog.addEventListener("close", () => resolve(chosen), { once: true });
    if (!dialog.open) dialog.showModal();
  });
}

let pressed = false;
const due = new Map();
addEventListener("pointerdown", (e) => { pressed = e.target.id !== "photo"; }, true);
function free() {
  pressed = false;
  const now = [...due.values()];
  due.clear();
  now.forEach((render) => render());
}
// A click comes right after the press ends, where there is one.
addEventListener("click", free);
for (const up of ["pointerup", "pointercancel"]) addEventListener(up, () => setTimeout(free), true);

/** Renders a part of the page, but not while something is pressed: a button that is made anew under the finger is never clicked. */
export function whenFree(part, render) {
  if (pressed) due.set(part, render);
  else render();
}

/** Renders anew what is in a container, and leaves the focus on what stands for what had it. */
export function keepFocus(container, render) {
  const active = document.activeElement;
  const had = container.contains(active) ? { id: active.id, text: active.textContent, key: active.dataset.key } : null;
  render();
  if (!had || (container.contains(document.activeElement) && document.activeElement.isConnected)) return;
  const all = [...container.querySelectorAll("button:not(:disabled), input:not(:disabled), select:not(:disabled), summary")];
  const found = all.find((e) => had.id && e.id === had.id) ?? all.find((e) => had.key && e.dataset.key === had.key) ?? all.find((e) => e.textContent === had.text) ?? all[0];
  found?.focus({ preventScroll: true });
}
