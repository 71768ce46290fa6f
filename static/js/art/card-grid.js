/**
 * The grid of cards: front and back side by side, with name, copies, and what is to say about them.
 */

import { thumbUrl } from "../common/api.js";
import { el, icon } from "../common/dom.js";
import { besideCard, gravest } from "../common/problems.js";

/** @typedef {import("../common/api.js").CardRecord} CardRecord */
/** @typedef {import("../common/api.js").Problem} Problem */
/** @typedef {{copies: (file: string, copies: number) => void, name: (file: string, name: string) => void,
 *   back: (card: CardRecord) => void}} Handlers */

const THUMB_PX = 256;
const MOST_COPIES = 999;

/**
 * @param {{key: string}} art
 * @param {string} alt
 */
export const face = (art, alt) => el("span", { class: "card-face" },
  el("img", { src: thumbUrl(art.key, THUMB_PX), alt, loading: "lazy", decoding: "async", width: 126, height: 176 }));

/** @param {string} text */
export const blank = (text) => el("span", { class: "card-face card-blank", text });

/** Keeps one element for each front, and touches only those whose card has changed. */
export class CardGrid {
  /**
   * @param {HTMLElement} list
   * @param {Handlers} handlers
   */
  constructor(list, handlers) {
    this.list = list;
    this.handlers = handlers;
    /** @type {Map<string, {node: HTMLElement, seen: string, card: CardRecord}>} */
    this.kept = new Map();
    this.ids = new Map();
  }

  /** @param {string} file @returns {string|null} the id of the element that shows this file */
  anchor(file) {
    return this.ids.get(file) ?? null;
  }

  /**
   * @param {CardRecord[]} cards
   * @param {Problem[]} problems
   */
  show(cards, problems) {
    const byFile = grouped(problems);
    const gone = new Set(this.kept.keys());
    this.ids.clear();
    const nodes = cards.map((card, index) => {
      gone.delete(card.file);
      const about = [...(byFile.get(card.file) ?? []), ...(card.back ? byFile.get(card.back.file) ?? [] : [])];
      const node = this.#node(card, about, index);
      this.ids.set(card.file, node.id);
      if (card.back && !this.ids.has(card.back.file)) this.ids.set(card.back.file, node.id);
      return node;
    });
    for (const file of gone) this.kept.delete(file);
    const inPlace = nodes.length === this.list.children.length
      && nodes.every((node, place) => this.list.children[place] === node);
    if (!inPlace) this.list.replaceChildren(...nodes);
  }

  /** Show only cards whose name or file holds `text`. @param {string} text @returns {number} how many are shown */
  find(text) {
    const wanted = text.trim().toLowerCase();
    let shown = 0;
    for (const { node, card } of this.kept.values()) {
      node.hidden = !!wanted && !`${card.name} ${card.file}`.toLowerCase().includes(wanted);
      if (!node.hidden) shown += 1;
    }
    return shown;
  }

  /**
   * @param {CardRecord} card
   * @param {Problem[]} problems
   * @param {number} index
   */
  #node(card, problems, index) {
    const seen = JSON.stringify([card, problems]);
    const old = this.kept.get(card.file);
    if (old?.seen === seen) return old.node;
    const typing = old?.node.contains(document.activeElement);
    if (old && typing && sameShape(old.card, card)) {
      // Somebody is typing in this card: keep the element, so that nothing typed is lost.
      old.seen = seen;
      old.card = card;
      this.#refresh(old.node, card);
      return old.node;
    }
    const node = this.#make(card, problems, index);
    if (old) {
      node.id = old.node.id;
      node.hidden = old.node.hidden;
      old.node.replaceWith(node);
    }
    this.kept.set(card.file, { node, seen, card });
    return node;
  }

  /**
   * @param {HTMLElement} node
   * @param {CardRecord} card
   */
  #refresh(node, card) {
    for (const [selector, value] of [["[data-name]", card.name], ["[data-copies]", String(card.copies)]]) {
      const field = /** @type {HTMLInputElement} */ (node.querySelector(selector));
      if (field !== document.activeElement) field.value = value;
    }
  }

  /**
   * @param {CardRecord} card
   * @param {Problem[]} problems
   * @param {number} index
   */
  #make(card, problems, index) {
    const tone = gravest(problems.filter((one) => one.severity !== "note"));
    return el("li", { class: "pair", id: `card-${index + 1}-${hash(card.file)}`, data: tone ? { tone } : {} },
      el("div", { class: "pair-faces" },
        el("figure", {}, face(card.front, `Front of ${card.name}`), el("figcaption", { text: "Front" })),
        this.#back(card)),
      el("div", { class: "pair-line" }, this.#name(card), this.#says(card, problems), this.#copies(card)),
      el("ul", { class: "pair-problems" }, ...besideCard(problems)));
  }

  /** @param {CardRecord} card */
  #back(card) {
    const label = card.back ? `Back of ${card.name}: ${card.back.file}. Choose another` : `No back: prints blank. Choose one for ${card.name}`;
    return el("figure", {},
      el("button", { class: "back-button", type: "button", "aria-label": label, title: "Choose a back",
        on: { click: () => this.handlers.back(card) } },
      card.back ? face(card.back, "") : blank("No back: prints blank"),
      el("span", { class: "back-change" }, icon("swap"))),
      el("figcaption", { text: "Back" }));
  }

  /** @param {CardRecord} card */
  #name(card) {
    const field = /** @type {HTMLInputElement} */ (el("input", { class: "input pair-name", value: card.name,
      maxLength: 255, autocomplete: "off", data: { name: "" }, "aria-label": `Name of ${card.name}`, title: card.file }));
    field.addEventListener("change", () => {
      const name = field.value.trim();
      if (name) this.handlers.name(card.file, name);
      else field.value = card.name;
    });
    return field;
  }

  /** @param {CardRecord} card */
  #copies(card) {
    const field = /** @type {HTMLInputElement} */ (el("input", { class: "input", value: String(card.copies),
      inputMode: "numeric", autocomplete: "off", data: { copies: "" }, "aria-label": `Copies of ${card.name}` }));
    const set = (/** @type {number} */ copies) => {
      const now = this.kept.get(card.file)?.card.copies ?? card.copies;
      if (!Number.isFinite(copies)) copies = now;
      copies = Math.min(Math.max(Math.round(copies), 0), MOST_COPIES);
      field.value = String(copies);
      if (copies !== now) this.handlers.copies(card.file, copies);
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

  /**
   * How the art was read, unless a problem below says it already.
   *
   * @param {CardRecord} card
   * @param {Problem[]} problems
   */
  #says(card, problems) {
    const odd = new Set(problems.filter((one) => one.code === "odd-aspect").map((one) => one.file));
    const line = (/** @type {string} */ who, /** @type {string} */ fit) => el("span", {}, el("b", { text: `${who} ` }), fit);
    const front = !odd.has(card.file);
    const back = card.back && !odd.has(card.back.file);
    return el("p", { class: "pair-says" }, ...(front && back && card.front_fit === card.back_fit
      ? [line("Each", card.front_fit)]
      : [front && line("Front", card.front_fit), back && line("Back", card.back_fit)]
    ).filter((one) => one !== false && one !== null));
  }
}

/** Nothing but name and copies differs. @param {CardRecord} one @param {CardRecord} other */
const sameShape = (one, other) => one.front.key === other.front.key && one.back?.key === other.back?.key;

/** @param {Problem[]} problems @returns {Map<string, Problem[]>} */
function grouped(problems) {
  const found = new Map();
  for (const problem of problems) found.set(problem.file ?? "", [...(found.get(problem.file ?? "") ?? []), problem]);
  return found;
}

/** A short stable word from a file's label, for ids. @param {string} text */
function hash(text) {
  let value = 7;
  for (const letter of text) value = (value * 31 + /** @type {number} */ (letter.codePointAt(0))) >>> 0;
  return value.toString(36);
}
