/**
 * The grid of cards: front and back side by side, with name, copies, and what is to say about them.
 */

import { el } from "../common/dom.js";
import { bindDrag, labelOf } from "./card-drag.js";
import { says, tile } from "./card-tile.js";
import { besideCard, gravest } from "../common/problems.js";

/** @typedef {import("../common/api.js").CardRecord} CardRecord */
/** @typedef {import("../common/api.js").Problem} Problem */
/** @typedef {import("./selection.js").Selection} Selection */
/** @typedef {{node: HTMLElement, seen: string, card: CardRecord, problems: Problem[], filled: boolean}} Kept */
/** @typedef {{copies: (file: string, copies: number) => void, name: (file: string, name: string) => void,
 *   back: (card: CardRecord) => void, bleed: (card: CardRecord) => void, out: (files: string[]) => void,
 *   move: (files: string[], where: string) => void}} Handlers */

const FIRST = 12;
// Whole rows, whether two, three, four, five or six cards stand side by side.
const PART = 60;
const NEAR = "900px";

/**
 * Keeps one element for each card, and touches only those whose card has changed. Cards stand in parts, which a browser
 * lays out and paints by themselves and skips while they are far from the window; a card is filled while it is near, and
 * far from it stands its name alone, which also tells those who have the page read out. So a deck of thousands costs no more than what
 * is looked at.
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
    /** @type {Map<string, Kept>} in the order of the deck */
    this.kept = new Map();
    /** @type {Map<string, string>} */
    this.ids = new Map();
    this.wanted = "";
    this.cards = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting, boundingClientRect: { height } } of entries) {
        if (isIntersecting) this.#near(/** @type {HTMLElement} */ (target));
        else this.#far(/** @type {HTMLElement} */ (target), height);
      }
    }, { rootMargin: NEAR });
    this.parts = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting } of entries) this.#partNear(/** @type {HTMLElement} */ (target), isIntersecting);
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
    const before = this.kept;
    this.kept = new Map();
    this.ids.clear();
    cards.forEach((card, index) => {
      const about = [...(byFile.get(card.front.file) ?? []), ...(card.back ? byFile.get(card.back.file) ?? [] : [])];
      const { node } = this.#keep(card, about, index, before.get(card.file));
      this.ids.set(card.file, node.id);
      if (card.back && !this.ids.has(card.back.file)) this.ids.set(card.back.file, node.id);
    });
    for (const [file, { node }] of before) if (!this.kept.has(file)) this.cards.unobserve(node);
    this.find(this.wanted);
  }

  /** Show only cards whose name or file holds `text`. @param {string} text @returns {number} how many are shown */
  find(text) {
    this.wanted = text;
    const wanted = text.trim().toLowerCase();
    const shown = [...this.kept.values()].filter(({ card }) => !wanted || `${card.name} ${card.file}`.toLowerCase().includes(wanted));
    const focused = document.activeElement;
    this.#lay(shown.map(({ node }) => node));
    if (focused instanceof HTMLElement && this.list.contains(focused)) focused.focus({ preventScroll: true });
    this.selection.offer(shown.map(({ card }) => card.file), new Set(this.kept.keys()));
    return shown.length;
  }

  /** Put these elements into parts, moving only what stands elsewhere. @param {HTMLElement[]} nodes */
  #lay(nodes) {
    for (let first = 0, place = 0; first < nodes.length; first += PART, place += 1) {
      const some = nodes.slice(first, first + PART);
      let part = /** @type {HTMLElement|null} */ (this.list.children[place] ?? null);
      if (!part) {
        part = el("div", { class: "pairs-part" });
        this.list.append(part);
        this.parts.observe(part);
      }
      if (some.length === part.childElementCount && some.every((node, at) => part?.children[at] === node)) continue;
      part.style.setProperty("--cards", String(some.length));
      part.replaceChildren(...some);
      this.#partNear(part, place === 0 || "near" in part.dataset);
    }
    while (this.list.childElementCount * PART >= nodes.length + PART) {
      const part = /** @type {HTMLElement} */ (this.list.lastElementChild);
      this.parts.unobserve(part);
      part.remove();
    }
    for (const node of nodes.slice(0, this.#few ? PART : FIRST)) this.#near(node);
  }

  /** Follow the cards of a part one by one while it is near, and none of them while it is far. @param {HTMLElement} part @param {boolean} near */
  #partNear(part, near) {
    part.toggleAttribute("data-near", near);
    for (const node of part.children) this.cards[near ? "observe" : "unobserve"](node);
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

  /** So few cards that all of them are kept filled. */
  get #few() {
    return this.kept.size <= PART;
  }

  /** @param {HTMLElement} node */
  #near(node) {
    const kept = this.kept.get(labelOf(node));
    if (kept?.node === node && !kept.filled) this.#fill(kept);
  }

  /** Empty what is far off and not in use; it keeps its place. @param {HTMLElement} node @param {number} height in px */
  #far(node, height) {
    const kept = this.kept.get(labelOf(node));
    if (this.#few || kept?.node !== node || !kept.filled || !height || node.contains(document.activeElement)) return;
    node.style.minHeight = `${height}px`;
    this.#empty(kept);
  }

  /**
   * @param {CardRecord} card
   * @param {Problem[]} problems
   * @param {number} index
   * @param {Kept} [old]
   */
  #keep(card, problems, index, old) {
    const seen = JSON.stringify([card, problems]);
    if (old?.seen === seen) {
      this.kept.set(card.file, old);
      return old;
    }
    const tone = gravest(problems.filter((one) => one.severity !== "note"));
    const node = old?.node ?? el("div", { class: "pair", role: "listitem", id: `card-${index + 1}-${hash(card.file)}`, data: { label: card.file } });
    if (tone) node.dataset.tone = tone;
    else delete node.dataset.tone;
    const kept = { node, seen, card, problems, filled: old?.filled ?? false };
    this.kept.set(card.file, kept);
    if (!old) this.#empty(kept);
    else if (node.contains(document.activeElement) && sameShape(old.card, card)) {
      this.#refresh(kept);  // somebody is typing in this card: keep its fields, so that nothing typed is lost
    } else if (!kept.filled) this.#empty(kept);
    else {
      const held = /** @type {HTMLElement|null} */ (node.contains(document.activeElement) ? document.activeElement : null);
      this.#fill(kept);
      if (held) /** @type {HTMLElement|null} */ (node.querySelector(`.${held.classList[0]}`))?.focus({ preventScroll: true });
    }
    return kept;
  }

  /** @param {Kept} kept */
  #refresh({ node, card, problems }) {
    for (const [selector, value] of [["[data-name]", card.name], ["[data-copies]", String(card.copies)]]) {
      const field = /** @type {HTMLInputElement} */ (node.querySelector(selector));
      if (field !== document.activeElement) field.value = value;
    }
    node.querySelector(".pair-says")?.replaceWith(says(card, problems));
    node.querySelector(".pair-problems")?.replaceChildren(...besideCard(problems));
  }

  /** @param {Kept} kept */
  #fill(kept) {
    const { node, card, problems } = kept;
    node.style.minHeight = "";
    node.removeAttribute("data-far");
    kept.filled = true;
    node.replaceChildren(...tile(card, problems, {
      ...this.handlers, now: () => this.kept.get(card.file)?.card ?? card,
      pick: (event) => this.selection.pick(card.file, event), toggle: () => this.selection.toggle(card.file),
      keys: (event) => this.#keys(event, card),
    }));
    this.#mark(node, this.selection.chosen.has(card.file));
  }

  /** @param {Kept} kept */
  #empty(kept) {
    kept.filled = false;
    kept.node.dataset.far = "";
    kept.node.replaceChildren(el("span", { class: "pair-far", text: kept.card.name }));
  }

  /** @param {KeyboardEvent} event @param {CardRecord} card */
  #keys(event, card) {
    const { shown } = this.selection;
    const columns = getComputedStyle(/** @type {Element} */ (this.kept.get(card.file)?.node.parentElement)).gridTemplateColumns.split(" ").length;
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
    if (!kept.filled) this.#fill(kept);
    /** @type {HTMLElement} */ (kept.node.querySelector(".pair-select")).focus();
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
