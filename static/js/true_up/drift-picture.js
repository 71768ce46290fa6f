/**
 * The drift drawn: the paper, where the back lands on it, and an arrow at each station; all exaggerated by one factor.
 */

import { svg } from "./station.js";

/** @typedef {import("./server.js").Fit} Fit */
/** @typedef {[number, number]} Point */

const FACTORS = [1, 2, 5, 10, 20, 50, 100, 200];
const LONGEST = 0.16; // of the paper's shorter side, for the longest way that anything is off
const ROOM_MM = 4;

/**
 * How many times larger everything is drawn, so that the worst of several drifts still fits.
 *
 * @param {Pick<Fit, "width_mm"|"height_mm"|"drift"|"residuals">[]} fits
 */
export function factorFor(fits) {
  const worst = Math.max(0.02, ...fits.map((fit) => Math.max(fit.drift.greatest_mm,
    ...fit.residuals.filter((one) => !one.suspect).map((one) => Math.hypot(one.dx_mm ?? 0, one.dy_mm ?? 0)))));
  const room = Math.min(...fits.map((fit) => Math.min(fit.width_mm, fit.height_mm))) * LONGEST;
  return [...FACTORS].reverse().find((factor) => worst * factor <= room) ?? 1;
}

/** @param {Point} from @param {Point} to */
function arrow([x0, y0], [x1, y1]) {
  const length = Math.hypot(x1 - x0, y1 - y0);
  if (length < 0.6) return "";
  const head = Math.min(4, length * 0.6);
  const [u, v] = [(x1 - x0) / length, (y1 - y0) / length];
  const at = (/** @type {number} */ back, /** @type {number} */ side) => `${x1 - back * u - side * v} ${y1 - back * v + side * u}`;
  return `M${x0} ${y0}L${at(head * 0.8, 0)}M${x1} ${y1}L${at(head, head * 0.42)}L${at(head, -head * 0.42)}z`;
}

/** Where a point of the back is drawn. @param {Fit} fit @param {number} factor @param {Point} point @returns {Point} */
function landing({ drift }, factor, [x, y]) {
  const [a, b, c, d, e, f] = drift.matrix;
  return [x + factor * (a * x + c * y + e - x), y + factor * (b * x + d * y + f - y)];
}

/**
 * @param {Fit} fit
 * @param {number} factor
 * @param {string} label for those who can't see it
 * @param {Fit} [beside] another that is drawn beside it and takes the same room
 */
export function driftPicture(fit, factor, label, beside = fit) {
  const { width_mm: width, height_mm: height, residuals } = fit;
  const lands = (/** @type {Point} */ point) => landing(fit, factor, point);
  const outline = /** @type {Point[]} */ ([[0, 0], [width, 0], [width, height], [0, height]]);
  const corners = outline.map(lands);
  const all = [...outline, ...corners, ...outline.map((point) => landing(beside, factor, point))];
  const [xs, ys] = [all.map(([x]) => x), all.map(([, y]) => y)];
  const [left, top] = [Math.min(...xs) - ROOM_MM, Math.min(...ys) - ROOM_MM];
  const picture = svg("svg", { class: "drift", role: "img", "aria-label": label,
    viewBox: `${left} ${top} ${Math.max(...xs) + ROOM_MM - left} ${Math.max(...ys) + ROOM_MM - top}` });
  picture.append(svg("rect", { class: "dr-front", x: 0, y: 0, width, height }),
    svg("polygon", { class: "dr-back", points: corners.join(" ") }));
  const places = new Map();
  for (const one of residuals) {
    const key = one.station ?? `${one.x_mm}, ${one.y_mm}`;
    if (!places.has(key)) places.set(key, { name: one.station ?? "", point: [one.x_mm, one.y_mm], read: [] });
    places.get(key).read.push(one);
  }
  if (!places.size) places.set("", { name: "", point: [width / 2, height / 2], read: [] });
  for (const { name, point, read } of places.values()) picture.append(...place(fit, factor, name, point, lands(point), read));
  return picture;
}

/**
 * One station: the arrow of the fit, and a dot where each sheet was read, tied to the arrow's tip by what is left.
 *
 * @param {Fit} fit
 * @param {number} factor
 * @param {number|string} name
 * @param {Point} from
 * @param {Point} tip
 * @param {Fit["residuals"]} read
 */
function place(fit, factor, name, from, tip, read) {
  const parts = [svg("circle", { class: "dr-station", cx: from[0], cy: from[1], r: 1.6 }),
    svg("path", { class: "dr-arrow", d: arrow(from, tip) })];
  for (const one of read) {
    const [x, y] = [tip[0] + factor * one.left_dx_mm, tip[1] + factor * one.left_dy_mm];
    if (one.suspect) {
      const [cx, cy] = [Math.min(Math.max(x, 3), fit.width_mm - 3), Math.min(Math.max(y, 3), fit.height_mm - 3)];
      parts.push(svg("path", { class: "dr-left dr-suspect", d: `M${tip[0]} ${tip[1]}L${cx} ${cy}` }),
        svg("path", { class: "dr-cross", d: `M${cx - 2.2} ${cy - 2.2}l4.4 4.4m0 -4.4l-4.4 4.4` }));
    } else {
      parts.push(svg("path", { class: "dr-left", d: `M${tip[0]} ${tip[1]}L${x} ${y}` }), svg("circle", { class: "dr-read", cx: x, cy: y, r: 1.1 }));
    }
  }
  const low = tip[1] < from[1];
  if (name !== "") parts.push(svg("text", { class: "dr-name", x: from[0] - 5, y: from[1] + (low ? 9 : -4), "font-size": 7 }, String(name)));
  return parts;
}
