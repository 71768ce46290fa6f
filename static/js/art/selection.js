/**
 * Which cards are selected: by click, with Shift and Ctrl or Cmd, by keys, by a rubber band.
 */

import { edgeScroll } from "./edge-scroll.js";

/** Fires "change". Cards go by their labels, in the order in which they are shown. */
export class Selection extends EventTarget {
  constructor() {
    super();
    /** @type {string[]} */
    this.shown = [];
    /** @type {Set<string>} */
    this.chosen = new Set();
    this.anchor = "";
  }

  /** Cards that can be selected; what is gone is forgotten. @param {string[]} shown @param {Set<string>} all */
  offer(shown, all) {
    this.shown = shown;
    const kept = [...this.chosen].filter((label) => all.has(label));
    if (kept.length !== this.chosen.size) this.#set(kept);
  }

  /** The chosen in the order of the deck. @returns {string[]} */
  get labels() {
    return this.shown.filter((label) => this.chosen.has(label));
  }

  /**
   * A click or its like.
   *
   * @param {string} label
   * @param {{shiftKey: boolean, ctrlKey: boolean, metaKey: boolean}} keys
   */
  pick(label, { shiftKey, ctrlKey, metaKey }) {
    if (shiftKey && this.shown.includes(this.anchor)) {
      const [from, to] = [this.shown.indexOf(this.anchor), this.shown.indexOf(label)].sort((a, b) => a - b);
      const range = this.shown.slice(from, to + 1);
      this.#set(ctrlKey || metaKey ? [...this.chosen, ...range] : range);
      return;
    }
    this.anchor = label;
    if (ctrlKey || metaKey) this.toggle(label);
    else this.#set(this.chosen.size === 1 && this.chosen.has(label) ? [] : [label]);
  }

  /** @param {string} label */
  toggle(label) {
    this.anchor = label;
    const next = new Set(this.chosen);
    if (!next.delete(label)) next.add(label);
    this.#set(next);
  }

  /** @param {Iterable<string>} labels */
  only(labels) {
    this.#set(labels);
    this.anchor = this.labels[0] ?? "";
  }

  clear() {
    if (this.chosen.size) this.#set([]);
  }

  /** @param {Iterable<string>} labels */
  #set(labels) {
    this.chosen = new Set(labels);
    this.dispatchEvent(new Event("change"));
  }
}

/**
 * A rubber band over the empty ground of `list` selects what it touches; the page scrolls where it is drawn to its edge.
 *
 * @param {HTMLElement} list of parts, each of cards
 * @param {Selection} selection
 * @param {(node: Element) => string} labelOf
 */
export function bindRubberBand(list, selection, labelOf) {
  list.addEventListener("pointerdown", (event) => {
    const ground = /** @type {Element} */ (event.target);
    if ((ground !== list && ground.parentElement !== list) || event.button !== 0 || event.pointerType === "touch") return;
    event.preventDefault();
    const band = document.createElement("div");
    band.className = "rubber-band";
    const before = event.shiftKey || event.ctrlKey || event.metaKey ? [...selection.chosen] : [];
    // By the ground that it began on: what is scrolled to may turn out larger than it was held for.
    const home = ground.getBoundingClientRect();
    const began = { x: event.clientX - home.left, y: event.clientY - home.top };
    let at = { x: event.clientX, y: event.clientY };
    const draw = () => {
      const { left, top } = ground.getBoundingClientRect();
      const from = { x: left + began.x, y: top + began.y };
      const box = { left: Math.min(from.x, at.x), top: Math.min(from.y, at.y), right: Math.max(from.x, at.x), bottom: Math.max(from.y, at.y) };
      Object.assign(band.style, { left: `${box.left + scrollX}px`, top: `${box.top + scrollY}px`, width: `${box.right - box.left}px`,
        height: `${box.bottom - box.top}px` });
      if (!band.isConnected) document.body.append(band);
      const touched = (/** @type {Element} */ node) => {
        const { left: x, top: y, width, height } = node.getBoundingClientRect();
        return width && x < box.right && x + width > box.left && y < box.bottom && y + height > box.top;
      };
      // By parts first, so that what is far is not laid out for it.
      const hit = [...list.children].filter(touched).flatMap((part) => [...part.children].filter(touched));
      selection.only([...before, ...hit.map(labelOf)]);
    };
    const edge = edgeScroll();
    const move = (/** @type {PointerEvent} */ now) => {
      // Not beyond the window, or the page would grow with it.
      const { clientWidth, clientHeight } = document.documentElement;
      at = { x: Math.max(0, Math.min(clientWidth, now.clientX)), y: Math.max(0, Math.min(clientHeight, now.clientY)) };
      edge.at(now.clientY);
      draw();
    };
    const scrolled = () => { if (band.isConnected) draw(); };
    const listening = new AbortController();
    const end = () => {
      edge.stop();
      listening.abort();
      if (!band.isConnected) selection.clear();
      band.remove();
    };
    const { signal } = listening;
    document.addEventListener("pointermove", move, { signal });
    document.addEventListener("scroll", scrolled, { passive: true, signal });
    document.addEventListener("pointerup", end, { signal });
    document.addEventListener("pointercancel", end, { signal });
  });
}
