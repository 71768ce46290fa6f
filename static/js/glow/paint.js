/**
 * Paint one of the server's drawings onto a canvas: the same faces that go into the PDF, at any resolution.
 *
 * The drawing uses a few kinds of element only (see `server/drawing/svg_surface.py`), so it is walked and painted
 * directly; a browser's own way of drawing SVG as a picture would not fetch the art in it.
 */

import { drawing } from "../common/dom.js";

/** @typedef {import("./geometry.js").Matrix} Matrix */
/** @typedef {CanvasRenderingContext2D} Context */

/** The pictures of one sheet, each fetched and decoded once, and let go of when the sheet is painted. */
export class Pictures {
  constructor() {
    /** @type {Map<string, Promise<ImageBitmap|null>>} */
    this.asked = new Map();
    /** How many could not be had; their places stay as the paper is. */
    this.missing = 0;
  }

  /** @param {string} href @returns {Promise<ImageBitmap|null>} */
  get(href) {
    const known = this.asked.get(href);
    if (known) return known;
    const found = fetch(href, { credentials: "same-origin" })
      .then(async (answer) => (answer.ok ? createImageBitmap(await answer.blob()) : Promise.reject()))
      .catch(() => { this.missing += 1; return null; });
    this.asked.set(href, found);
    return found;
  }

  async close() {
    for (const picture of await Promise.all(this.asked.values())) picture?.close();
  }
}

/** A drawing with its pictures at hand. */
export class Drawing {
  /**
   * @param {SVGSVGElement} root
   * @param {Map<string, ImageBitmap|null>} pictures
   */
  constructor(root, pictures) {
    this.root = root;
    this.pictures = pictures;
    const box = root.viewBox.baseVal;
    /** mm */
    this.width = box.width;
    this.height = box.height;
  }

  /** @param {string} svg @param {Pictures} pictures @returns {Promise<Drawing>} */
  static async load(svg, pictures) {
    const root = drawing(svg);
    const hrefs = new Set(Array.from(root.querySelectorAll("image"), (image) => image.getAttribute("href") ?? ""));
    const found = await Promise.all(Array.from(hrefs, async (href) =>
      /** @type {[string, ImageBitmap|null]} */ ([href, await pictures.get(href)])));
    return new Drawing(root, new Map(found));
  }

  /**
   * The whole drawing on a canvas of its own.
   *
   * @param {number} px_mm pixels to the millimetre
   * @returns {HTMLCanvasElement}
   */
  canvas(px_mm) {
    const made = document.createElement("canvas");
    made.width = Math.round(this.width * px_mm);
    made.height = Math.round(this.height * px_mm);
    const context = /** @type {Context} */ (made.getContext("2d", { alpha: false }));
    context.imageSmoothingQuality = "high";
    context.scale(made.width / this.width, made.height / this.height);
    this.paint(context);
    return made;
  }

  /** Paint everything in the context's own frame, mm. @param {Context} context */
  paint(context) {
    for (const child of this.root.children) this.#element(context, child);
  }

  /** @param {Context} context @param {Element} element */
  #element(context, element) {
    const kind = element.localName;
    if (kind === "defs") return;
    context.save();
    const matrix = matrixOf(element.getAttribute("transform"));
    if (matrix) context.transform(...matrix);
    const clip = /url\(#(.+)\)/.exec(element.getAttribute("clip-path") ?? "");
    if (clip) this.#clip(context, clip[1]);
    if (kind === "g") for (const child of element.children) this.#element(context, child);
    else PAINTERS[kind]?.(context, element, this.pictures);
    context.restore();
  }

  /** @param {Context} context @param {string} id */
  #clip(context, id) {
    const rect = this.root.querySelector(`clipPath[id="${id}"] > rect`);
    if (!rect) return;
    context.beginPath();
    const [x, y, width, height] = numbers(rect, "x", "y", "width", "height");
    context.rect(x, y, width, height);
    context.clip();
  }
}

/** @param {Element} element @param {...string} names @returns {number[]} */
const numbers = (element, ...names) => names.map((name) => Number(element.getAttribute(name) ?? 0));

/** @param {string|null} text @returns {Matrix|null} */
function matrixOf(text) {
  if (!text) return null;
  const values = text.slice(text.indexOf("(") + 1, -1).trim().split(/[\s,]+/).map(Number);
  if (text.startsWith("matrix")) return /** @type {Matrix} */ (values);
  const [degrees, x = 0, y = 0] = values; // rotate(degrees x y)
  const [cos, sin] = [Math.cos(degrees * Math.PI / 180), Math.sin(degrees * Math.PI / 180)];
  return [cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y];
}

/** @param {Context} context @param {Element} element @param {Path2D} [path] */
function ink(context, element, path) {
  const [fill, stroke] = [element.getAttribute("fill"), element.getAttribute("stroke")];
  if (fill && fill !== "none") {
    context.fillStyle = fill;
    path ? context.fill(path) : context.fill();
  }
  if (stroke && stroke !== "none") {
    context.strokeStyle = stroke;
    context.lineWidth = Number(element.getAttribute("stroke-width"));
    context.setLineDash((element.getAttribute("stroke-dasharray") ?? "").split(/\s+/).filter(Boolean).map(Number));
    path ? context.stroke(path) : context.stroke();
  }
}

/** @type {Record<string, CanvasTextAlign>} */
const ANCHORS = { start: "left", middle: "center", end: "right" };

/** @type {Record<string, (context: Context, element: Element, pictures: Map<string, ImageBitmap|null>) => void>} */
const PAINTERS = {
  image(context, element, pictures) {
    const bitmap = pictures.get(element.getAttribute("href") ?? "");
    if (bitmap) context.drawImage(bitmap, 0, 0, 1, 1);
  },
  polygon(context, element) {
    const points = (element.getAttribute("points") ?? "").trim().split(/\s+/).map((pair) => pair.split(",").map(Number));
    context.beginPath();
    for (const [x, y] of points) context.lineTo(x, y);
    context.closePath();
    ink(context, element);
  },
  path(context, element) {
    ink(context, element, new Path2D(element.getAttribute("d") ?? ""));
  },
  rect(context, element) {
    const [x, y, width, height, rx] = numbers(element, "x", "y", "width", "height", "rx");
    context.beginPath();
    if (rx) context.roundRect(x, y, width, height, rx);
    else context.rect(x, y, width, height);
    ink(context, element);
  },
  circle(context, element) {
    const [x, y, r] = numbers(element, "cx", "cy", "r");
    context.beginPath();
    context.arc(x, y, r, 0, 2 * Math.PI);
    ink(context, element);
  },
  text(context, element) {
    const [x, y, size] = numbers(element, "x", "y", "font-size");
    context.font = `${size}px ${element.getAttribute("font-family")}`;
    context.textAlign = ANCHORS[element.getAttribute("text-anchor") ?? "start"] ?? "left";
    context.fillStyle = element.getAttribute("fill") ?? "#000000";
    context.fillText(element.textContent ?? "", x, y);
  },
};
