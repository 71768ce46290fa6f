/**
 * The geometry of the Glow page, pure: the same frames and signs as the server's.
 *
 * Millimetres, x right, y down, a positive angle clockwise. A matrix is [a, b, c, d, e, f]: x' = a x + c y + e,
 * y' = b x + d y + f. What the printer does to the back is told behind the front, as it is seen against a light.
 */

/** @typedef {[number, number, number, number, number, number]} Matrix */
/** @typedef {[number, number]} Point */
/** @typedef {{x: number, y: number, width: number, height: number}} Rect */
/** @typedef {{axis: "vertical"|"horizontal", at: number}} Through */
/** @typedef {{dx: number, dy: number, turn: number, scale: number}} Move mm, mm, degrees, per cent */
/** @typedef {"left"|"right"|"top"|"bottom"} Side */

export const IDENTITY = /** @type {Matrix} */ ([1, 0, 0, 1, 0, 0]);
/** @type {Move} */
export const STILL = Object.freeze({ dx: 0, dy: 0, turn: 0, scale: 100 });

/**
 * The matrix that applies `first`, then `second`.
 *
 * @param {Matrix} second
 * @param {Matrix} first
 * @returns {Matrix}
 */
export function after([a, b, c, d, e, f], [p, q, r, s, t, u]) {
  return [a * p + c * q, b * p + d * q, a * r + c * s, b * r + d * s, a * t + c * u + e, b * t + d * u + f];
}

/** @param {...Matrix} several the last is applied first @returns {Matrix} */
export const chain = (...several) => several.reduce((all, next) => after(all, next));

/** @param {Matrix} matrix @param {Point} point @returns {Point} */
export const apply = ([a, b, c, d, e, f], [x, y]) => [a * x + c * y + e, b * x + d * y + f];

/** @param {Matrix} matrix @returns {Matrix} */
export function inverse([a, b, c, d, e, f]) {
  const det = a * d - b * c;
  return [d / det, -b / det, -c / det, a / det, (c * f - d * e) / det, (b * e - a * f) / det];
}

/** @param {number} dx @param {number} dy @returns {Matrix} */
export const shift = (dx, dy) => [1, 0, 0, 1, dx, dy];

/** @param {number} factor @returns {Matrix} */
export const scaling = (factor) => [factor, 0, 0, factor, 0, 0];

/**
 * A clockwise turn about the origin; quarter turns are exact.
 *
 * @param {number} degrees
 * @returns {Matrix}
 */
export function turning(degrees) {
  const exact = /** @type {Record<number, Point>} */ ({ 0: [1, 0], 90: [0, 1], 180: [-1, 0], 270: [0, -1] });
  const radians = degrees * Math.PI / 180;
  const [cos, sin] = exact[((degrees % 360) + 360) % 360] ?? [Math.cos(radians), Math.sin(radians)];
  return [cos, sin, -sin, cos, 0, 0];
}

/** @param {Through} through @returns {Matrix} */
export const throughFront = ({ axis, at }) => axis === "vertical" ? [-1, 0, 0, 1, 2 * at, 0] : [1, 0, 0, -1, 0, 2 * at];

/**
 * Where a back that was meant for a place lands, behind the front: turned and scaled about the page's centre, which
 * itself lands `dx` to the right and `dy` lower.
 *
 * @param {Move} move
 * @param {Rect} page
 * @returns {Matrix}
 */
export function moved({ dx, dy, turn, scale }, page) {
  const x = page.x + page.width / 2;
  const y = page.y + page.height / 2;
  return chain(shift(x + dx, y + dy), turning(turn), scaling(scale / 100), shift(-x, -y));
}

/**
 * The shift, turn and scale of a matrix, told at the page's centre; what is out of square or unevenly scaled is
 * shared out evenly, so that the sliders can show it.
 *
 * @param {Matrix} matrix
 * @param {Rect} page
 * @returns {Move}
 */
export function moveOf(matrix, page) {
  const centre = /** @type {Point} */ ([page.x + page.width / 2, page.y + page.height / 2]);
  const [x, y] = apply(matrix, centre);
  const [a, b, c, d] = matrix;
  return {
    dx: x - centre[0], dy: y - centre[1], turn: Math.atan2(b - c, a + d) * 180 / Math.PI,
    scale: Math.sqrt(Math.abs(a * d - b * c)) * 100,
  };
}

/**
 * A card's own frame, upright with its origin at the trim's top-left corner, onto its page.
 *
 * @param {Rect} trim on the page
 * @param {number} rotation clockwise, quarter turns
 * @returns {Matrix}
 */
export function cardOnPage(trim, rotation) {
  const { x, y, width, height } = trim;
  const corner = /** @type {Record<number, Point>} */ ({
    0: [x, y], 90: [x + width, y], 180: [x + width, y + height], 270: [x, y + height],
  })[rotation];
  return after(shift(...corner), turning(rotation));
}

/**
 * What carries a back page, as it is drawn without correction, to where it lies behind the front.
 *
 * @param {{through: Through}} card any whose back is carried so
 * @param {Matrix} drift
 * @param {Matrix} correction what the back page is printed through
 * @returns {Matrix}
 */
export const landing = (card, drift, correction = IDENTITY) => chain(drift, throughFront(card.through), correction);

/**
 * What a cut card's back shows of its art: from the art's card frame to the frame of the cut card, seen from the back.
 * The identity where the back lands as it was meant.
 *
 * @param {{through: Through, back: Rect, back_rotation: number}} card
 * @param {Matrix} lands as `landing` gives it
 * @returns {Matrix}
 */
export function artOnCut(card, lands) {
  const placed = cardOnPage(card.back, card.back_rotation);
  const meant = after(throughFront(card.through), placed);
  return chain(inverse(meant), lands, placed);
}

/** @param {Rect} rect @returns {[Point, Point, Point, Point]} */
export const corners = ({ x, y, width, height }) =>
  [[x, y], [x + width, y], [x + width, y + height], [x, y + height]];

/** @param {Rect} rect @param {Matrix} matrix @returns {Rect} the smallest upright rectangle around the image */
export function boundsOf(rect, matrix) {
  const points = corners(rect).map((point) => apply(matrix, point));
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  const [left, top] = [Math.min(...xs), Math.min(...ys)];
  return { x: left, y: top, width: Math.max(...xs) - left, height: Math.max(...ys) - top };
}

/** @typedef {{slots: number[], paper: Rect, panel: Rect, through: Through, creases: {start: Point, end: Point}[],
 *   says: string, says_wrong: string}} Fold */

/**
 * Where the parts of a folded piece of paper lie: the fronts' panel, what lies between its creases, the backs' panel.
 *
 * @param {Fold} fold its creases in order, from the fronts to the backs
 * @returns {{level: boolean, ats: number[], way: 1|-1, rects: Rect[]}} `ats` are the creases' places across; `way` is 1
 *   where the backs lie to the right or below; `rects` begin with the fronts and end with the backs
 */
export function partsOf({ paper, panel, through, creases }) {
  const level = through.axis === "horizontal";
  const ats = creases.map(({ start }) => start[level ? 1 : 0]);
  const way = (level ? panel.y : panel.x) < through.at - 1e-9 ? 1 : -1;
  const strip = (/** @type {number} */ from, /** @type {number} */ to) => level
    ? { x: paper.x, y: Math.min(from, to), width: paper.width, height: Math.abs(to - from) }
    : { x: Math.min(from, to), y: paper.y, width: Math.abs(to - from), height: paper.height };
  const end = way > 0 ? (level ? paper.y + paper.height : paper.x + paper.width) : (level ? paper.y : paper.x);
  return { level, ats, way, rects: [panel, ...ats.map((at, number) => strip(at, ats[number + 1] ?? end))] };
}

/**
 * How a part lies in space when all is folded by `degrees` (0 flat, 180 folded), each crease taking its share: a 4 x 4
 * matrix by columns, as CSS's matrix3d takes it. x right, y down, z towards the eye; the fronts stay where they are, the
 * backs go behind.
 *
 * @param {Fold} fold
 * @param {number} part 0 is the fronts, the last the backs
 * @param {number} degrees
 * @returns {number[]}
 */
export function foldMatrix(fold, part, degrees) {
  const { level, ats, way } = partsOf(fold);
  const share = degrees / ats.length * Math.PI / 180;
  let [along, deep] = [ats[0], 0];
  for (let number = 1; number < part; number++) {
    const wide = ats[number] - ats[number - 1]; // signed, from the fronts to the backs
    along += wide * Math.cos(share * number);
    deep -= Math.abs(wide) * Math.sin(share * number);
  }
  const from = ats[Math.max(0, part - 1)];
  const [cos, sin] = [Math.cos(share * part), way * Math.sin(share * part)];
  [along, deep] = [along - from * cos, deep + from * sin];
  return level
    ? [1, 0, 0, 0, 0, cos, -sin, 0, 0, sin, cos, 0, 0, along, deep, 1]
    : [cos, 0, -sin, 0, 0, 1, 0, 0, sin, 0, cos, 0, along, 0, deep, 1];
}

/**
 * Where a point of the paper lies in space.
 *
 * @param {Fold} fold
 * @param {number} part
 * @param {number} degrees
 * @param {Point} point
 * @returns {[number, number, number]}
 */
export function foldPoint(fold, part, degrees, [x, y]) {
  const m = foldMatrix(fold, part, degrees);
  return [m[0] * x + m[4] * y + m[12], m[1] * x + m[5] * y + m[13], m[2] * x + m[6] * y + m[14]];
}
