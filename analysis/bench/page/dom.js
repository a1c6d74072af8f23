// Making elements. Text is always set as text, never as markup: a product may be called <script>.

/** element("button", {class: "chip", "aria-label": "…", onclick: f, text: "…"}, ...children) */
export function element(tag, properties = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) setProperty(made, name, value);
  made.append(...children.filter(Boolean)); // so that a child may be left out by a condition
  return made;
}

function setProperty(made, name, value) {
  if (value === null || value === undefined || value === false) return;
  if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
  else if (name === "text") made.textContent = value;
  else if (name === "value" || name === "checked") made[name] = value;
  else made.setAttribute(name, value === true ? "" : value);
}

export const byId = (id) => document.getElementById(id);

/** Set a text only where it changed: a screen reader and the layout are left in peace. */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/**
 * Show `items` [{key, label, count, chosen, name}] as buttons, reusing those already there, so that
 * neither focus nor a press under way is lost.
 */
export function showChips(box, items, onPick) {
  const known = new Map([...box.children].map((chip) => [chip.dataset.key, chip]));
  const chips = items.map((item) =>
    fillChip(known.get(item.key) || newChip(item.key, onPick), item),
  );
  const same = chips.length === box.children.length && chips.every((c, k) => c === box.children[k]);
  if (!same) box.replaceChildren(...chips);
}

function newChip(key, onPick) {
  const chip = element(
    "button",
    { class: "chip", type: "button" },
    element("span", { class: "chip-label" }),
    element("span", { class: "chip-count" }),
  );
  chip.dataset.key = key;
  chip.addEventListener("click", () => onPick(key));
  return chip;
}

function fillChip(chip, { label, count = "", chosen = false, done = false }) {
  setText(chip.firstChild, label);
  setText(chip.lastChild, count);
  chip.setAttribute("aria-pressed", String(chosen));
  chip.classList.toggle("done", done);
  return chip;
}
