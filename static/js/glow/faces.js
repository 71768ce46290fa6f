/**
 * One sheet's faces as pictures, at several sizes, so that each frame draws from one that is just large enough.
 */

import { after, cardOnPage, inverse, scaling, throughFront } from "./geometry.js";
import { Drawing, Pictures } from "./paint.js";

/** @typedef {import("./geometry.js").Matrix} Matrix */
/** @typedef {import("./geometry.js").Rect} Rect */

// 300 ppi is what a printed page and the eye use; a phone's canvas ends near 16 megapixels.
const FINE_PX_MM = 300 / 25.4;
const MOST_PX = 15e6;
const COARSEST_PX_MM = 1.4;

/** Pictures of one page, each half as fine as the one before. */
export class Levels {
  /** @param {Drawing} drawing */
  constructor(drawing) {
    this.width = drawing.width;
    this.height = drawing.height;
    const finest = Math.min(FINE_PX_MM, Math.sqrt(MOST_PX / (drawing.width * drawing.height)));
    /** @type {{canvas: HTMLCanvasElement, px_mm: number}[]} finest first */
    this.all = [{ canvas: drawing.canvas(finest), px_mm: finest }];
    for (let px_mm = finest / 2; px_mm > COARSEST_PX_MM; px_mm /= 2) {
      this.all.push({ canvas: halved(this.all[this.all.length - 1].canvas), px_mm });
    }
  }

  /**
   * Draw the page through `matrix`, mm to the context's pixels.
   *
   * @param {CanvasRenderingContext2D} context
   * @param {Matrix} matrix
   */
  draw(context, matrix) {
    const wanted = Math.hypot(matrix[0], matrix[1]);
    const level = this.all.findLast(({ px_mm }) => px_mm >= wanted * 0.95) ?? this.all[0];
    context.setTransform(...matrix);
    context.transform(this.width / level.canvas.width, 0, 0, this.height / level.canvas.height, 0, 0);
    // Beyond its own pixels the picture is shown as what it is: pixels.
    context.imageSmoothingEnabled = wanted < 2 * this.all[0].px_mm;
    context.drawImage(level.canvas, 0, 0);
  }
}

/** @param {HTMLCanvasElement} canvas */
function halved(canvas) {
  const made = document.createElement("canvas");
  made.width = Math.max(1, Math.round(canvas.width / 2));
  made.height = Math.max(1, Math.round(canvas.height / 2));
  const context = /** @type {CanvasRenderingContext2D} */ (made.getContext("2d", { alpha: false }));
  context.imageSmoothingQuality = "medium";
  context.drawImage(canvas, 0, 0, made.width, made.height);
  return made;
}

/** A sheet as the server gave it, with its faces painted. */
export class Sheet {
  /**
   * @param {import("../common/types.js").GlowOut} data as GET /api/decks/{id}/glow answers
   * @param {Levels} front
   * @param {Levels} back the same pictures where both sides are printed on one face
   */
  constructor(data, front, back) {
    this.data = data;
    this.front = front;
    this.back = back;
    /** @type {import("./geometry.js").Fold[]} */
    this.folds = data.folds;
    /** How many pictures could not be had. */
    this.missing = 0;
    /** @type {{area: Rect, card: any}[]} what lies against the light: the sheet, its fronts' panel, or each folded card;
     *   `card` is one of those whose backs are carried alike */
    this.lit = data.in_pairs
      ? data.folds.map(({ slots, panel }) => ({ area: panel, card: data.cards.find(({ slot }) => slot === slots[0]) }))
      : [{ area: data.folds[0]?.panel ?? data.page, card: data.cards[0] }];
    const boxes = this.lit.map(({ area }) => area);
    const [left, top] = [Math.min(...boxes.map(({ x }) => x)), Math.min(...boxes.map(({ y }) => y))];
    /** @type {Rect} what lies of the front in the frame of the front */
    this.area = { x: left, y: top, width: Math.max(...boxes.map(({ x, width }) => x + width)) - left,
      height: Math.max(...boxes.map(({ y, height }) => y + height)) - top };
    /** @type {Matrix} the front's frame as it is seen from the back, the sheet turned like a page of a book */
    this.turnedOver = [-1, 0, 0, 1, 2 * this.area.x + this.area.width, 0];
  }

  /** @param {import("../common/types.js").GlowOut} data @returns {Promise<Sheet>} */
  static async load(data) {
    const { spread, front, back } = data.faces;
    const pictures = new Pictures();
    const [first, second] = await Promise.all([spread ?? front, back].filter(Boolean).map((svg) => Drawing.load(svg, pictures)));
    const levels = new Levels(first);
    const sheet = new Sheet(data, levels, second ? new Levels(second) : levels);
    sheet.missing = pictures.missing;
    await pictures.close();
    return sheet;
  }

  /**
   * The frame of one cut card's side onto a canvas, in px: the card upright, at `px_mm`.
   *
   * @param {any} card
   * @param {"front"|"back"} side
   * @param {number} px_mm
   * @returns {Matrix} from the front's frame
   */
  cardView(card, side, px_mm) {
    const placed = side === "front" ? cardOnPage(card.front, card.front_rotation)
      : after(throughFront(card.through), cardOnPage(card.back, card.back_rotation));
    return after(scaling(px_mm), inverse(placed));
  }
}
