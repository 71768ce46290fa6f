/**
 * How one sheet lies against the light just now: which printer's landing, what the sliders add, and what each cut card shows of it.
 */

import { after, artOnCut, chain, IDENTITY, landing, moved, moveOf, STILL } from "./geometry.js";
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

  /** The printer's own drift; nothing where none is known or one pass prints both sides. @returns {Matrix|null} */
  get drift() {
    return this.sheet && !this.sheet.folds ? this.sheet.data.printer?.drift ?? null : null;
  }

  /** Everything that moves the back behind the front. @returns {Matrix} */
  get motion() {
    const { page } = /** @type {Sheet} */ (this.sheet).data;
    const own = this.print === "drawn" ? IDENTITY : this.drift ?? IDENTITY;
    return after(moved(this.move, page), own);
  }

  /** The back page, as it is drawn, to where it lies behind the front. @returns {Matrix} */
  get lands() {
    const { data } = /** @type {Sheet} */ (this.sheet);
    return landing(data, this.motion, this.print === "after" && this.drift ? data.back_correction : IDENTITY);
  }

  /** What the front is printed through. @returns {Matrix} */
  get front() {
    return this.print === "after" && this.drift ? /** @type {Sheet} */ (this.sheet).data.front_correction : IDENTITY;
  }

  /**
   * What True-up would read of this sheet: shift, turn and scale of the back behind the front, at the paper's centre.
   * A corrected sheet's reading is what is left of the drift.
   *
   * @returns {Move}
   */
  get reading() {
    const { data, through } = /** @type {Sheet} */ (this.sheet);
    // Where it lands, over where it was meant to: lands x through, since through undoes itself.
    return moveOf(chain(this.lands, through), data.page);
  }

  /** @returns {CutCard[]} in slot order; cards without a back, or with one that can't be read, show nothing */
  cut() {
    const { data } = /** @type {Sheet} */ (this.sheet);
    const lands = this.lands;
    return data.cards.map((/** @type {any} */ card) => {
      const faults = card.look
        ? faultsOf(card.look, artOnCut(data, card, lands), data.card.width, data.card.height) : [];
      return { card, faults, badness: badness(faults) };
    });
  }

  /**
   * The way that shows first, for a typical worst sheet: a unit vector behind the front.
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
