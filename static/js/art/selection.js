/**
 * Which cards are selected: by click, with Shift and Ctrl or Cmd, by keys, by a rubber band.
 */

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
 * A rubber band over the empty ground of `list` selects what it touches.
 *
 * @param {HTMLElement} list of parts, each of cards
 * @param {Selection} selection
 * @param {(node: Element) => string} labelOf
 */
export function bindRubberBand(list, selection, labelOf) {
  list.addEventListener("pointerdown", (event) => {
    const ground = event.target === list || /** @type {Element} */ (event.target).parentElement === list;
    if (!ground || event.button !== 0 || event.pointerType === "touch") return;
    event.preventDefault();
    const band = document.createElement("div");
    band.className = "rubber-band";
    const from = { x: event.pageX, y: event.pageY };
    const before = event.shiftKey || event.ctrlKey || event.metaKey ? [...selection.chosen] : [];
    const move = (/** @type {PointerEvent} */ now) => {
      const box = { left: Math.min(from.x, now.pageX), top: Math.min(from.y, now.pageY),
        right: Math.max(from.x, now.pageX), bottom: Math.max(from.y, now.pageY) };
      Object.assign(band.style, { left: `${box.left}px`, top: `${box.top}px`, width: `${box.right - box.left}px`,
        height: `${box.bottom - box.top}px` });
      if (!band.isConnected) document.body.append(band);
      const touched = (/** @type {Element} */ node) => {
        const rect = node.getBoundingClientRect();
        const [x, y] = [rect.left + scrollX, rect.top + scrollY];
        return rect.width && x < box.right && x + rect.width > box.left && y < box.bottom && y + rect.height > box.top;
      };
      // By parts first, so that what is far is not laid out for it.
      const hit = [...list.children].filter(touched).flatMap((part) => [...part.children].filter(touched));
      selection.only([...before, ...hit.map(labelOf)]);
    };
    const end = () => {
      document.removeEventListener("pointermove", move);
      if (!band.isConnected) selection.clear();
      band.remove();
    };
    document.addEventListener("pointermove", move);
    document.addEventListener("pointerup", end, { once: true });
    document.addEventListener("pointercancel", end, { once: true });
  });
}
