/**
 * How one sheet lies against the light just now: which printer's landing, what the sliders add, and what each cut card shows of it.
 */

import { after, artOnCut, chain, IDENTITY, landing, moved, moveOf, STILL, throughFront } from "./geometry.js";
import { badness, faultsOf } from "./verdicts.js";

/** @typedef {import("./geometry.js").Matrix} Matrix */
/** @typedef {import("./geometry.js").Move} Move */
/** @typedef {import("./faces.js").Sheet} Sheet */
/** @typedef {import("./verdicts.js").Fault} Fault */
/** @typedef {"drawn"|"before"|"after"} Print as drawn; as the printer lands it, without and with its correction */
/** @typedef {{card: any, faults: Fault[], badness: number}} CutCard */

/** Fires "move" when anything about the landing has changed. */
export class LaidSheet extends EventTarget {
  constructor() {
    super();
    /** @type {Sheet|null} */
    this.sheet = null;
    /** @type {Move} */
    this.move = { ...STILL };
    /** @type {Print} */
    this.print = "drawn";
  }

  /** @param {Partial<Move>} change */
  shift(change) {
    this.move = { ...this.move, ...change };
    this.dispatchEvent(new Event("move"));
  }

  /** @param {Print} print */
  printed(print) {
    this.print = print;
    this.dispatchEvent(new Event("move"));
  }

  /** The printer's own drift; nothing where none is known or one pass prints everything. @returns {Matrix|null} */
  get drift() {
    return this.sheet && !this.sheet.data.one_pass ? this.sheet.data.printer?.drift ?? null : null;
  }

  /**
   * Everything that moves a card's back behind its front. A card that is folded by itself can only be folded beside its
   * crease: across it, or askew about its middle.
   *
   * @param {any} card
   * @returns {Matrix}
   */
  #motion({ through, front }) {
    const { page, in_pairs: inPairs } = /** @type {Sheet} */ (this.sheet).data;
    if (inPairs) {
      const [x, y] = [front.x + front.width / 2, front.y + front.height / 2];
      const upright = through.axis === "vertical";
      const crease = { x: upright ? through.at : x, y: upright ? y : through.at, width: 0, height: 0 };
      return moved({ ...this.move, [upright ? "dy" : "dx"]: 0, scale: 100 }, crease);
    }
    return after(moved(this.move, page), this.print === "drawn" ? IDENTITY : this.drift ?? IDENTITY);
  }

  /** The page of a card's back, as it is drawn, to where it lies behind the front. @param {any} card @returns {Matrix} */
  landsOf(card) {
    const { data } = /** @type {Sheet} */ (this.sheet);
    return landing(card, this.#motion(card), this.print === "after" && this.drift ? data.back_correction : IDENTITY);
  }

  /** What the front is printed through. @returns {Matrix} */
  get front() {
    return this.print === "after" && this.drift ? /** @type {Sheet} */ (this.sheet).data.front_correction : IDENTITY;
  }

  /**
   * What True-up would read of this sheet: shift, turn and scale of the back behind the front, at the paper's centre.
   * A corrected sheet's reading is what is left of the drift. Nothing where one pass prints everything.
   *
   * @returns {Move|null}
   */
  get reading() {
    const { data } = /** @type {Sheet} */ (this.sheet);
    const [card] = data.cards;
    if (data.one_pass || !card.through) return null;
    // Where it lands, over where it was meant to: lands x through, since through undoes itself.
    return moveOf(chain(this.landsOf(card), throughFront(card.through)), data.page);
  }

  /** @returns {CutCard[]} in slot order; cards without a back, or with one that can't be read, show nothing */
  cut() {
    const { data } = /** @type {Sheet} */ (this.sheet);
    return data.cards.map((/** @type {any} */ card) => {
      const faults = card.look
        ? faultsOf(card.look, artOnCut(card, this.landsOf(card)), data.card.width, data.card.height) : [];
      return { card, faults, badness: badness(faults) };
    });
  }

  /**
   * The way that shows first, for a bad sheet: a unit vector behind the front.
   *
   * @param {number} mm how far
   * @returns {[number, number]} dx and dy
   */
  worstWay(mm) {
    const tried = Array.from({ length: 16 }, (_, step) => {
      const angle = step * Math.PI / 8;
      /** @type {[number, number]} */
      const way = [mm * Math.cos(angle), mm * Math.sin(angle)];
      const there = new LaidSheet();
      there.sheet = this.sheet;
      there.print = this.print;
      there.move = { ...STILL, dx: way[0], dy: way[1] };
      return { way, sum: there.cut().reduce((sum, card) => sum + card.badness, 0) };
    });
    return tried.reduce((worst, one) => (one.sum > worst.sum + 1e-9 ? one : worst)).way;
  }
}

/** The card that looks worst, if any shows something. @param {CutCard[]} cut @returns {CutCard|null} */
export function worstOf(cut) {
  const worst = cut.reduce((/** @type {CutCard|null} */ found, one) =>
    (one.badness > (found?.badness ?? 0) ? one : found), null);
  return worst;
}
