// The one dialog of the page: a title, and whatever a sheet puts into it.

import { byId, element } from "./dom.js";
import { readNumber, typed } from "./figures.js";

const AFTER_A_TAP_MS = 300; // a tap counts a moment after the finger is lifted

let following = []; // what brings the parts of the open sheet up to date
let isHeld = false; // a finger lies on the sheet: nothing may move under it

/** Opens `title` with the elements that `build(redraw)` returns; redraw() builds them anew. */
export function openSheet(title, build) {
  const dialog = byId("sheet");
  const body = byId("sheet-body");
  const controls = () => [...body.querySelectorAll("button, input, select")];
  const fill = () => {
    following = [];
    body.replaceChildren(...build(redraw).filter(Boolean));
  };
  const redraw = () => {
    const focused = controls().indexOf(document.activeElement);
    fill();
    controls()[focused]?.focus();
  };
  byId("sheet-title").textContent = title;
  fill();
  body.scrollTop = 0;
  if (!dialog.open) dialog.showModal();
  byId("sheet-title").focus();
}

/**
 * A part of a sheet that takes in names which come from the shop while it is open: `build()` gives
 * its buttons and headings. Fields stand outside of it, so nothing typed is touched.
 */
export function fromShop(build) {
  const part = element("div", { class: "from-shop" });
  const fill = () => {
    const made = build().filter(Boolean);
    const shown = [...part.children];
    if (made.length === shown.length && made.every((one, k) => one.isEqualNode(shown[k]))) return;
    const focused = part.contains(document.activeElement) && document.activeElement.textContent;
    part.replaceChildren(...made);
    const again = [...part.querySelectorAll("button")].find((b) => b.textContent === focused);
    again?.focus({ preventScroll: true });
  };
  fill();
  following.push(fill);
  return part;
}

/** The shop's lists have come anew. */
export function listsCame() {
  if (byId("sheet").open && !isHeld) following.forEach((fill) => fill());
}

/** Lists that come while a finger lies on the sheet are taken in once its tap has counted. */
export function heedFinger() {
  let lifting; // of the finger before: it may be back on the sheet sooner than its tap counts
  const down = () => {
    clearTimeout(lifting);
    isHeld = true;
  };
  const up = () => {
    clearTimeout(lifting);
    lifting = setTimeout(lifted, AFTER_A_TAP_MS);
  };
  const lifted = () => {
    isHeld = false;
    listsCame();
  };
  byId("sheet").addEventListener("pointerdown", down);
  for (const kind of ["pointerup", "pointercancel"]) addEventListener(kind, up);
}

export const closeSheet = () => byId("sheet").close();

export const button = (text, onclick, properties = {}) =>
  element("button", { type: "button", text, onclick, ...properties });

export const mainButton = (text, onclick) => button(text, onclick, { class: "main" });

export const chips = (...children) => element("div", { class: "chips" }, ...children);

export const say = (text, look = null) => element("p", { text, class: look });

export const heading = (text) => element("h3", { text });

/** Buttons of which one is chosen. */
export function choices(names, chosen, onPick, words = (name) => name) {
  const one = (name) =>
    button(words(name), () => onPick(name), { "aria-pressed": String(name === chosen) });
  return chips(...names.map(one));
}

/** A labelled input; `read()` gives its trimmed text. */
export function field(label, properties = {}) {
  const input = element("input", { autocomplete: "off", ...properties });
  const box = element("label", { text: label }, input);
  return { box, input, read: () => input.value.normalize("NFC").trim() };
}

/** A labelled number, decimals with a point or a comma; `read()` gives it, NaN where it is none. */
export function numberField(label, value = NaN) {
  const { box, input, read } = field(label, { inputmode: "decimal", value: typed(value) });
  return { box, input, read: () => readNumber(read()) };
}

export function check(label, checked, onchange) {
  const input = element("input", {
    type: "checkbox",
    checked,
    onchange: () => onchange(input.checked),
  });
  return element("label", { class: "check" }, input, label);
}

/** Plus and minus around a number that can be typed too; `read()` gives it. */
export function stepper(label, value, { least = 0, most = 100_000 } = {}) {
  const input = element("input", {
    type: "number",
    inputmode: "numeric",
    "aria-label": label,
    value: String(value),
  });
  const read = () => Math.min(most, Math.max(least, Math.round(Number(input.value)) || 0));
  const step = (by) => () => (input.value = String(Math.min(most, Math.max(least, read() + by))));
  const less = button("−", step(-1), { "aria-label": `${label}: one less` });
  const more = button("+", step(1), { "aria-label": `${label}: one more` });
  return {
    box: element("div", { class: "stepper" }, element("span", { text: label }), less, input, more),
    read,
  };
}

/** A name that is not in the lists yet. */
export function newName(label, onName) {
  const name = field(label, { maxlength: 200 });
  const form = element(
    "form",
    {
      onsubmit: (event) => {
        event.preventDefault();
        if (name.read()) onName(name.read());
      },
    },
    name.box,
    element("button", { type: "submit", text: "Use this name" }),
  );
  form.className = "sheet-form";
  return form;
}
