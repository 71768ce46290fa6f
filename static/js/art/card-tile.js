/**
 * What stands in one card's place on the Art page: front and back, name, copies, how its art was read, what is wrong.
 */

import { thumbUrl } from "../common/api.js";
import { el, icon } from "../common/dom.js";
import { besideCard } from "../common/problems.js";

/** @typedef {import("../common/api.js").CardRecord} CardRecord */
/** @typedef {import("../common/api.js").Problem} Problem */
/** @typedef {import("./card-grid.js").Handlers & {now: () => CardRecord, pick: (event: MouseEvent) => void,
 *   toggle: () => void, keys: (event: KeyboardEvent) => void}} Doings `now`: the card as it has become meanwhile */

const MOST_COPIES = 999;

/**
 * @param {{key: string}} art
 * @param {string} alt
 * @param {string} [fit] how it was read, where it lies on a card
 */
export const face = (art, alt, fit = "") => el("span", { class: "card-face", data: fit.includes("turned a quarter") ? { turned: "" } : {} },
  el("img", { src: thumbUrl(art.key), alt, loading: "lazy", decoding: "async", width: 126, height: 176 }));

/** @param {string} text */
export const blank = (text) => el("span", { class: "card-face card-blank", text });

/**
 * @param {CardRecord} card
 * @param {Problem[]} problems
 * @param {Doings} does
 * @returns {HTMLElement[]}
 */
export const tile = (card, problems, does) => [
  el("div", { class: "pair-head" }, selectBox(card, does),
    el("button", { class: "pair-out button button-quiet button-icon button-small", type: "button", title: "Take this card out",
      "aria-label": `Take ${card.name} out`, on: { click: () => does.out([card.file]) } }, icon("close"))),
  el("div", { class: "pair-faces", draggable: true, on: { click: (/** @type {any} */ event) => {
    if (!event.target.closest("button")) does.pick(event);
  } } },
  el("figure", {}, face(card.front, `Front of ${card.name}`, card.front_fit), el("figcaption", { text: "Front" })), back(card, does)),
  el("div", { class: "pair-line" }, nameField(card, does), copies(card, does),
    el("button", { class: "pair-bleed button button-small", type: "button", "aria-label": `Bleed of ${card.name}`,
      on: { click: () => does.bleed(card) } }, icon("bleed"), "Bleed")),
  says(card, problems),
  el("ul", { class: "pair-problems" }, ...besideCard(problems)),
];

/** A box to select the card by; arrows go from card to card. @param {CardRecord} card @param {Doings} does */
function selectBox(card, does) {
  const box = el("input", { class: "pair-select", type: "checkbox", "aria-label": `Select ${card.name}` });
  box.addEventListener("click", (event) => {
    if (event.shiftKey) does.pick(event);
    else does.toggle();
  });
  box.addEventListener("keydown", does.keys);
  return box;
}

/** @param {CardRecord} card @param {Doings} does */
function back(card, does) {
  const label = card.back ? `Back of ${card.name}: ${card.back.file}. Choose another` : `No back: prints blank. Choose one for ${card.name}`;
  return el("figure", {},
    el("button", { class: "back-button", type: "button", "aria-label": label, title: "Choose a back",
      on: { click: () => does.back(card) } },
    card.back ? face(card.back, "", card.back_fit) : blank("No back: prints blank"),
    el("span", { class: "back-change" }, icon("swap"))),
    el("figcaption", { text: "Back" }));
}

/** @param {CardRecord} card @param {Doings} does */
function nameField(card, does) {
  const field = /** @type {HTMLInputElement} */ (el("input", { class: "input pair-name", value: card.name,
    maxLength: 255, autocomplete: "off", data: { name: "" }, "aria-label": `Name of ${card.name}`, title: card.file }));
  field.addEventListener("change", () => {
    const name = field.value.trim();
    if (name) does.name(card.file, name);
    else field.value = card.name;
  });
  return field;
}

/** @param {CardRecord} card @param {Doings} does */
function copies(card, does) {
  const field = /** @type {HTMLInputElement} */ (el("input", { class: "input", value: String(card.copies),
    inputMode: "numeric", autocomplete: "off", data: { copies: "" }, "aria-label": `Copies of ${card.name}` }));
  const set = (/** @type {number} */ wanted) => {
    const now = does.now().copies;
    const number = Number.isFinite(wanted) ? Math.min(Math.max(Math.round(wanted), 0), MOST_COPIES) : now;
    field.value = String(number);
    if (number !== now) does.copies(card.file, number);
  };
  field.addEventListener("change", () => set(Number(field.value)));
  field.addEventListener("keydown", (event) => {
    const step = { ArrowUp: 1, ArrowDown: -1 }[event.key];
    if (step) { event.preventDefault(); set(Number(field.value) + step); }
  });
  const button = (/** @type {string} */ name, /** @type {number} */ step, /** @type {string} */ says) => el("button", {
    class: "button", type: "button", "aria-label": `${says} of ${card.name}`,
    on: { click: () => set(Number(field.value) + step) } }, icon(name));
  return el("div", { class: "stepper copies" }, button("minus", -1, "One copy less"), field,
    button("plus", 1, "One copy more"));
}

/** How one reads, and how two do. */
const PLURAL = /** @type {const} */ ([["is ", "are "], ["carries ", "carry "], ["states its ", "state their "], ["fits ", "fit "]]);

/**
 * How the art was read, where something was made or wants a look: not where it simply brings its bleed, nor where a
 * problem below says it already.
 *
 * @param {CardRecord} card
 * @param {Problem[]} problems
 */
export function says(card, problems) {
  const odd = new Set(problems.filter((one) => one.code === "odd-aspect").map((one) => one.file));
  const worth = (/** @type {string} */ file, /** @type {string} */ fit) => !odd.has(file) && (fit.includes(";") || !fit.includes(" of bleed"));
  const line = (/** @type {string} */ who, /** @type {string} */ fit) => el("span", {}, el("b", { text: `${who} ` }), fit);
  const front = worth(card.front.file, card.front_fit);
  const back = card.back && worth(card.back.file, card.back_fit);
  const verb = PLURAL.find(([one]) => card.front_fit.startsWith(one));
  return el("p", { class: "pair-says" }, ...(front && back && verb && card.front_fit === card.back_fit
    ? [line("Both", card.front_fit.replace(verb[0], verb[1]))]
    : [front && line("Front", card.front_fit), back && line("Back", card.back_fit)]
  ).filter((one) => one !== false && one !== null));
}
