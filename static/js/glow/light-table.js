/**
 * The lit panel: front and back of one sheet as against a light, to zoom and pan down to single pixels.
 *
 * The back is multiplied onto the front as far as the stock lets light through: front x (1 - s (1 - back)), which is
 * what a canvas does when it draws with "multiply" at the alpha s. Nothing is asked of the server while it moves.
 */

import { after, apply, boundsOf, corners, IDENTITY, inverse, scaling, shift } from "./geometry.js";

/** @typedef {import("./geometry.js").Matrix} Matrix */
/** @typedef {import("./faces.js").Sheet} Sheet */
/** @typedef {"front"|"back"|"together"} Side */
/** @typedef {"good"|"warning"|"error"|"note"} Tone */
/** @typedef {{card: any, tone: Tone, text: string}} Note */

const ZOOM_STEP = 1.25;
const MOST_PX_MM = 400; // a pixel of 300 ppi is then some 34 px wide
const FIT = 0.94;
const TONES = { good: "#2E6B3A", warning: "#7A5200", error: "#A33A1E", note: "#5E564A" };
const DASHES = { good: [], warning: [6, 4], error: [2, 3], note: [] };
const PLAIN = new Set(["good", "note"]);

/** Fires "zoom" when its scale has changed. */
export class LightTable extends EventTarget {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    super();
    this.canvas = canvas;
    this.context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { alpha: false }));
    /** @type {Sheet|null} */
    this.sheet = null;
    /** @type {Side} */
    this.side = "together";
    /** @type {(card: any) => Matrix} a card's back behind its front */
    this.landsOf = () => IDENTITY;
    /** @type {Matrix} what the front is printed through */
    this.front = IDENTITY;
    /** @type {Note[]} */
    this.notes = [];
    this.overlay = true;
    this.show_through = 0.6;
    /** @type {Matrix} mm of the front to px of the canvas */
    this.view = IDENTITY;
    this.fitted = true;
    this.asked = 0;
    new ResizeObserver(() => this.#resize()).observe(canvas);
    this.#bindPointer();
    this.#bindKeys();
  }

  /** Draw soon, once however often it is asked for. */
  draw() {
    this.asked ||= requestAnimationFrame(() => { this.asked = 0; this.paint(); });
  }

  /** Draw now. */
  paint() {
    const { context, sheet, canvas } = this;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalCompositeOperation = "source-over";
    context.globalAlpha = 1;
    context.fillStyle = "#ffffff";
    context.fillRect(0, 0, canvas.width, canvas.height);
    if (!sheet) return;
    const view = this.frontView();
    canvas.dataset.view = view.join(" ");
    for (const { area, card } of sheet.lit) {
      context.save();
      if (sheet.folds.length) this.#clip(area, view);
      if (this.side !== "back") sheet.front.draw(context, after(view, this.front));
      if (this.side === "together") {
        context.globalCompositeOperation = "multiply";
        context.globalAlpha = this.show_through;
      }
      if (this.side !== "front" && card.through) sheet.back.draw(context, after(view, this.landsOf(card)));
      context.restore();
      context.setTransform(1, 0, 0, 1, 0, 0);
      this.#edge(area, view);
    }
    if (this.overlay) this.#notes(view);
  }

  /** Where a point of the front, in mm, lies on the canvas, in its own px. @param {[number, number]} point */
  at(point) {
    return apply(this.frontView(), point);
  }

  /** The front's frame onto the canvas: the back is seen as when the sheet is turned like a page of a book. @returns {Matrix} */
  frontView() {
    return this.side === "back" && this.sheet ? after(this.view, this.sheet.turnedOver) : this.view;
  }

  /** Only what lies within the paper once it is folded. @param {import("./geometry.js").Rect} area @param {Matrix} view */
  #clip(area, view) {
    const { context } = this;
    context.setTransform(...view);
    context.beginPath();
    context.rect(area.x, area.y, area.width, area.height);
    context.clip();
  }

  /** The paper's own edge. @param {import("./geometry.js").Rect} area @param {Matrix} view */
  #edge(area, view) {
    const { context } = this;
    const box = boundsOf(area, view);
    context.setLineDash([]);
    context.lineWidth = Math.max(1, devicePixelRatio);
    context.strokeStyle = "#857B6B";
    context.strokeRect(box.x, box.y, box.width, box.height);
  }

  /** Cut lines with what each card shows; the worst ones stand out by colour, dash and words. @param {Matrix} view */
  #notes(view) {
    const { context } = this;
    const unit = Math.max(1, devicePixelRatio);
    for (const { card, tone, text } of this.notes) {
      const [first, ...rest] = corners(card.front).map((point) => apply(view, point));
      context.beginPath();
      context.moveTo(...first);
      for (const point of rest) context.lineTo(...point);
      context.closePath();
      const wide = (PLAIN.has(tone) ? 1 : 2.5) * unit;
      // Light under dark, so that the line shows on whatever is printed.
      for (const [width, colour, dash] of /** @type {[number, string, number[]][]} */ (
        [[wide + 1.5 * unit, "rgb(255 255 255 / .75)", []], [wide, TONES[tone], DASHES[tone]]])) {
        context.lineWidth = width;
        context.strokeStyle = colour;
        context.setLineDash(dash.map((length) => length * unit));
        context.stroke();
      }
      if (!PLAIN.has(tone)) this.#label(card, view, tone, text, unit);
    }
    context.setLineDash([]);
  }

  /** @param {any} card @param {Matrix} view @param {Tone} tone @param {string} text @param {number} unit */
  #label(card, view, tone, text, unit) {
    const { context } = this;
    const box = boundsOf(card.front, view);
    context.font = `600 ${12 * unit}px system-ui, sans-serif`;
    const width = context.measureText(text).width + 12 * unit;
    if (width > box.width) return;
    const [x, y] = [box.x + (box.width - width) / 2, box.y + 6 * unit];
    context.fillStyle = TONES[tone];
    context.beginPath();
    context.roundRect(x, y, width, 20 * unit, 4 * unit);
    context.fill();
    context.fillStyle = "#ffffff";
    context.textAlign = "left";
    context.textBaseline = "middle";
    context.fillText(text, x + 6 * unit, y + 10.5 * unit);
    context.textBaseline = "alphabetic";
  }

  /** Pixels of the canvas to the millimetre. */
  get px_mm() {
    return this.view[0];
  }

  /** Show all of the sheet. */
  fit() {
    if (!this.sheet || !this.canvas.width) return;
    const { area } = this.sheet;
    const scale = Math.min(this.canvas.width / area.width, this.canvas.height / area.height) * FIT;
    this.view = after(shift(this.canvas.width / 2, this.canvas.height / 2),
      after(scaling(scale), shift(-area.x - area.width / 2, -area.y - area.height / 2)));
    this.fitted = true;
    this.#changed();
  }

  /** @param {number} factor @param {[number, number]} [about] px of the canvas; its middle otherwise */
  zoom(factor, about = [this.canvas.width / 2, this.canvas.height / 2]) {
    const least = Math.min(this.canvas.width / 400, 1);
    const scale = Math.min(Math.max(this.px_mm * factor, least), MOST_PX_MM);
    const [x, y] = apply(inverse(this.view), about);
    this.view = [scale, 0, 0, scale, about[0] - scale * x, about[1] - scale * y];
    this.fitted = false;
    this.#changed();
  }

  /** @param {number} dx px of the canvas @param {number} dy */
  pan(dx, dy) {
    this.view = after(shift(dx, dy), this.view);
    this.fitted = false;
    this.#changed();
  }

  /** Bring a place of the front to the middle, closely. @param {import("./geometry.js").Rect} rect mm, front's frame */
  show(rect) {
    const box = this.side === "back" && this.sheet ? boundsOf(rect, this.sheet.turnedOver) : rect;
    const scale = Math.min(this.canvas.width / box.width, this.canvas.height / box.height) * 0.8;
    this.view = after(shift(this.canvas.width / 2, this.canvas.height / 2),
      after(scaling(scale), shift(-box.x - box.width / 2, -box.y - box.height / 2)));
    this.fitted = false;
    this.#changed();
  }

  #changed() {
    // While all of the sheet is in view a finger may scroll the page; once it is zoomed, it moves the view.
    this.canvas.style.touchAction = this.fitted ? "pan-y" : "none";
    this.dispatchEvent(new Event("zoom"));
    this.draw();
  }

  #resize() {
    const width = Math.round(this.canvas.clientWidth * devicePixelRatio);
    const height = Math.round(this.canvas.clientHeight * devicePixelRatio);
    if (!width || !height || (width === this.canvas.width && height === this.canvas.height)) return;
    const [dx, dy] = [(width - this.canvas.width) / 2, (height - this.canvas.height) / 2];
    this.canvas.width = width;
    this.canvas.height = height;
    if (this.fitted) this.fit();
    else this.pan(dx, dy);
  }

  #bindPointer() {
    const { canvas } = this;
    /** @type {Map<number, [number, number]>} */
    const held = new Map();
    const place = (/** @type {MouseEvent} */ event) => {
      const box = canvas.getBoundingClientRect();
      const ratio = canvas.width / box.width;
      return /** @type {[number, number]} */ ([(event.clientX - box.left) * ratio, (event.clientY - box.top) * ratio]);
    };
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      held.set(event.pointerId, place(event));
    });
    canvas.addEventListener("pointermove", (event) => {
      const before = held.get(event.pointerId);
      if (!before) return;
      const now = place(event);
      const other = [...held].find(([id]) => id !== event.pointerId)?.[1];
      if (other) this.zoom(Math.hypot(now[0] - other[0], now[1] - other[1])
        / Math.max(1, Math.hypot(before[0] - other[0], before[1] - other[1])), other);
      else this.pan(now[0] - before[0], now[1] - before[1]);
      held.set(event.pointerId, now);
    });
    for (const end of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(end, (event) => held.delete(/** @type {PointerEvent} */ (event).pointerId));
    }
    canvas.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.metaKey) return; // a plain wheel scrolls the page
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY / 300), place(event));
    }, { passive: false });
    canvas.addEventListener("dblclick", (event) => this.zoom(ZOOM_STEP ** 3, place(event)));
  }

  #bindKeys() {
    const by = 40;
    /** @type {Record<string, () => void>} */
    const keys = {
      "+": () => this.zoom(ZOOM_STEP), "=": () => this.zoom(ZOOM_STEP), "-": () => this.zoom(1 / ZOOM_STEP),
      0: () => this.fit(), ArrowLeft: () => this.pan(by, 0), ArrowRight: () => this.pan(-by, 0),
      ArrowUp: () => this.pan(0, by), ArrowDown: () => this.pan(0, -by),
    };
    this.canvas.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || !keys[event.key]) return;
      event.preventDefault();
      keys[event.key]();
    });
  }
}
