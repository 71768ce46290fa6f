/**
 * The grid of cards: front and back side by side, with name, copies, and what is to say about them.
 */

import { thumbUrl } from "../common/api.js";
import { el, icon } from "../common/dom.js";
import { bindDrag, labelOf } from "./card-drag.js";
import { besideCard, gravest } from "../common/problems.js";

/** @typedef {import("../common/api.js").CardRecord} CardRecord */
/** @typedef {import("../common/api.js").Problem} Problem */
/** @typedef {import("./selection.js").Selection} Selection */
/** @typedef {{node: HTMLElement, seen: string, card: CardRecord, problems: Problem[]}} Kept */
/** @typedef {{copies: (file: string, copies: number) => void, name: (file: string, name: string) => void,
 *   back: (card: CardRecord) => void, out: (files: string[]) => void,
 *   move: (files: string[], where: string) => void}} Handlers */

const THUMB_PX = 256;
const MOST_COPIES = 999;
const FIRST = 24;
const NEAR = "900px";

/**
 * @param {{key: string}} art
 * @param {string} alt
 */
export const face = (art, alt) => el("span", { class: "card-face" },
  el("img", { src: thumbUrl(art.key, THUMB_PX), alt, loading: "lazy", decoding: "async", width: 126, height: 176 }));

/** @param {string} text */
export const blank = (text) => el("span", { class: "card-face card-blank", text });

/**
 * Keeps one element for each card, and touches only those whose card has changed. An element is filled while it is
 * near the window, so that a deck of thousands costs no more than what is looked at.
 */
export class CardGrid {
  /**
   * @param {HTMLElement} list
   * @param {Selection} selection
   * @param {Handlers} handlers
   */
  constructor(list, selection, handlers) {
    this.list = list;
    this.selection = selection;
    this.handlers = handlers;
    /** @type {Map<string, Kept>} */
    this.kept = new Map();
    /** @type {Map<string, string>} */
    this.ids = new Map();
    this.wanted = "";
    this.observer = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting } of entries) this.#near(/** @type {HTMLElement} */ (target), isIntersecting);
    }, { rootMargin: NEAR });
    selection.addEventListener("change", () => this.#showSelected());
    bindDrag(list, selection, (labels, before) => handlers.move(labels, before));
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
      const about = [...(byFile.get(card.front.file) ?? []), ...(card.back ? byFile.get(card.back.file) ?? [] : [])];
      const node = this.#node(card, about, index);
      this.ids.set(card.file, node.id);
      if (card.back && !this.ids.has(card.back.file)) this.ids.set(card.back.file, node.id);
      return node;
    });
    for (const file of gone) {
      const kept = this.kept.get(file);
      if (kept) this.observer.unobserve(kept.node);
      this.kept.delete(file);
    }
    if (nodes.length !== this.list.children.length || nodes.some((node, place) => this.list.children[place] !== node)) {
      const focused = document.activeElement;
      this.list.replaceChildren(...nodes);
      if (focused instanceof HTMLElement && this.list.contains(focused)) focused.focus({ preventScroll: true });
    }
    this.find(this.wanted);
  }

  /** Show only cards whose name or file holds `text`. @param {string} text @returns {number} how many are shown */
  find(text) {
    this.wanted = text;
    const wanted = text.trim().toLowerCase();
    const shown = [];
    for (const node of this.list.children) {
      const { card } = /** @type {Kept} */ (this.kept.get(labelOf(node)));
      /** @type {HTMLElement} */ (node).hidden = !!wanted && !`${card.name} ${card.file}`.toLowerCase().includes(wanted);
      if (!/** @type {HTMLElement} */ (node).hidden) shown.push(card.file);
    }
    this.selection.offer(shown, new Set(this.kept.keys()));
    return shown.length;
  }

  #showSelected() {
    for (const [label, { node }] of this.kept) this.#mark(node, this.selection.chosen.has(label));
  }

  /** @param {HTMLElement} node @param {boolean} chosen */
  #mark(node, chosen) {
    node.toggleAttribute("data-chosen", chosen);
    const box = /** @type {HTMLInputElement|null} */ (node.querySelector(".pair-select"));
    if (box) box.checked = chosen;
  }

  /** Fill what comes near, empty what is far off and not in use. @param {HTMLElement} node @param {boolean} near */
  #near(node, near) {
    const kept = this.kept.get(labelOf(node));
    if (!kept || kept.node !== node) return;
    if (near && !node.childElementCount) this.#fill(kept);
    else if (!near && node.childElementCount && !node.contains(document.activeElement)) {
      node.style.minHeight = `${node.offsetHeight}px`;
      node.replaceChildren();
    }
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
    const tone = gravest(problems.filter((one) => one.severity !== "note"));
    const node = old?.node ?? el("li", { class: "pair", id: `card-${index + 1}-${hash(card.file)}`, data: { label: card.file } });
    if (tone) node.dataset.tone = tone;
    else delete node.dataset.tone;
    const kept = { node, seen, card, problems };
    this.kept.set(card.file, kept);
    if (!old) {
      this.observer.observe(node);
      if (index < FIRST) this.#fill(kept);
    } else if (node.contains(document.activeElement) && sameShape(old.card, card)) {
      this.#refresh(node, card);  // somebody is typing in this card: keep its fields, so that nothing typed is lost
    } else if (node.childElementCount) {
      const held = /** @type {HTMLElement|null} */ (node.contains(document.activeElement) ? document.activeElement : null);
      this.#fill(kept);
      if (held) /** @type {HTMLElement|null} */ (node.querySelector(`.${held.classList[0]}`))?.focus({ preventScroll: true });
    }
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

  /** @param {Kept} kept */
  #fill({ node, card, problems }) {
    node.style.minHeight = "";
    node.replaceChildren(
      el("div", { class: "pair-head" }, this.#select(card),
        el("button", { class: "pair-out button button-quiet button-icon button-small", type: "button", title: "Take this card out",
          "aria-label": `Take ${card.name} out`, on: { click: () => this.handlers.out([card.file]) } }, icon("close"))),
      el("div", { class: "pair-faces", draggable: true, on: { click: (/** @type {any} */ event) => {
        if (!event.target.closest("button")) this.selection.pick(card.file, event);
      } } },
      el("figure", {}, face(card.front, `Front of ${card.name}`), el("figcaption", { text: "Front" })), this.#back(card)),
      el("div", { class: "pair-line" }, this.#name(card), this.#says(card, problems), this.#copies(card)),
      el("ul", { class: "pair-problems" }, ...besideCard(problems)));
    this.#mark(node, this.selection.chosen.has(card.file));
  }

  /** A box to select the card by; arrows go from card to card. @param {CardRecord} card */
  #select(card) {
    const box = el("input", { class: "pair-select", type: "checkbox", "aria-label": `Select ${card.name}` });
    box.addEventListener("click", (event) => {
      if (event.shiftKey) this.selection.pick(card.file, event);
      else this.selection.toggle(card.file);
    });
    box.addEventListener("keydown", (event) => this.#keys(event, card));
    return box;
  }

  /** @param {KeyboardEvent} event @param {CardRecord} card */
  #keys(event, card) {
    const { shown } = this.selection;
    const columns = getComputedStyle(this.list).gridTemplateColumns.split(" ").length;
    const step = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -columns, ArrowDown: columns }[event.key];
    const chosen = this.selection.chosen.has(card.file) ? this.selection.labels : [card.file];
    if (step && event.altKey) this.handlers.move(chosen, step < 0 ? "earlier" : "later");
    else if (step || event.key === "Home" || event.key === "End") {
      const at = event.key === "Home" ? 0 : event.key === "End" ? shown.length - 1 : shown.indexOf(card.file) + (step ?? 0);
      const next = shown[at];
      if (next === undefined) return;
      this.focus(next);
      if (event.shiftKey) this.selection.pick(next, event);
    } else if (event.key === "Delete") this.handlers.out(chosen);
    else return;
    event.preventDefault();
  }

  /** @param {string} label */
  focus(label) {
    const kept = this.kept.get(label);
    if (!kept) return;
    if (!kept.node.childElementCount) this.#fill(kept);
    /** @type {HTMLElement} */ (kept.node.querySelector(".pair-select")).focus();
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
