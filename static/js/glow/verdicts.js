/**
 * What a cut card shows of a moved back: the rules of `server/core/leeway.py`, applied to one card at one move.
 */

import { apply, corners, inverse } from "./geometry.js";

/** @typedef {import("./geometry.js").Side} Side */
/** @typedef {import("./geometry.js").Matrix} Matrix */
/** @typedef {Record<Side, number|null>} Sides */
/** @typedef {{reach_mm: Sides, next_mm: Sides, art_mm: Sides, border_mm: Sides, fold_side?: Side|null}} Look */
/** @typedef {"paper_shows"|"neighbour_shows"|"art_cut"|"uneven"} Rule */
/** @typedef {{rule: Rule, side: Side, mm: number, ratio?: number}} Fault `mm` is what shows or is lost */

/** @type {Side[]} */
export const SIDES = ["left", "right", "top", "bottom"];
const UNEVEN_RATIO = 2;
// What can be seen at all: a twentieth of a millimetre.
const SEEN_MM = 0.05;
const SLACK_MM = 1e-6;

/**
 * How far the cut reaches beyond the art's own trim on each side (below zero: stays inside), in the art's frame.
 *
 * @param {Matrix} art_on_cut
 * @param {number} width
 * @param {number} height
 * @returns {Record<Side, number>}
 */
function cutBeyond(art_on_cut, width, height) {
  const back = inverse(art_on_cut);
  const points = corners({ x: 0, y: 0, width, height }).map((point) => apply(back, point));
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  return { left: -Math.min(...xs), right: Math.max(...xs) - width, top: -Math.min(...ys), bottom: Math.max(...ys) - height };
}

/**
 * How far inside the cut a line of the art lies that stands `inset` mm inside the art's trim: at both of its ends.
 *
 * @param {Matrix} art_on_cut
 * @param {Side} side
 * @param {number} inset
 * @param {number} width
 * @param {number} height
 * @returns {[number, number]}
 */
function insideCut(art_on_cut, side, inset, width, height) {
  const level = side === "top" || side === "bottom";
  const at = side === "left" || side === "top" ? inset : (level ? height : width) - inset;
  const ends = /** @type {[number, number]} */ ([0, level ? width : height]).map((end) =>
    apply(art_on_cut, level ? [end, at] : [at, end]));
  return /** @type {[number, number]} */ (ends.map(([x, y]) =>
    ({ left: x, right: width - x, top: y, bottom: height - y })[side]));
}

/**
 * Everything that a cut card shows.
 *
 * @param {Look} look
 * @param {Matrix} art_on_cut
 * @param {number} width of the card, mm
 * @param {number} height
 * @returns {Fault[]} the gravest first
 */
export function faultsOf(look, art_on_cut, width, height) {
  const beyond = cutBeyond(art_on_cut, width, height);
  /** @type {Fault[]} */
  const found = [];
  for (const side of SIDES) {
    for (const [rule, limit] of /** @type {[Rule, number|null][]} */ (
      [["paper_shows", look.reach_mm[side]], ["neighbour_shows", look.next_mm[side]]])) {
      const mm = limit === null ? 0 : beyond[side] - limit;
      if (mm > SEEN_MM) found.push({ rule, side, mm });
    }
    const inset = look.art_mm[side];
    const lost = inset === null ? 0 : -Math.min(...insideCut(art_on_cut, side, inset, width, height));
    if (lost > SEEN_MM) found.push({ rule: "art_cut", side, mm: lost });
  }
  found.push(...lopsided(look, art_on_cut, width, height));
  return found.sort((first, second) => gravity(second) - gravity(first));
}

/** @param {Look} look @param {Matrix} art_on_cut @param {number} width @param {number} height @returns {Fault[]} */
function lopsided(look, art_on_cut, width, height) {
  /** @type {Fault[]} */
  const found = [];
  for (const [one, other] of /** @type {[Side, Side][]} */ ([["left", "right"], ["top", "bottom"]])) {
    const [first, second] = [look.border_mm[one], look.border_mm[other]];
    if (first === null || second === null || Math.min(first, second) <= 0) continue;
    if (Math.max(first, second) >= UNEVEN_RATIO * Math.min(first, second) - 1e-9) continue;
    // At a fold only the border there changes: the one opposite is cut with the back and moves along.
    const near = look.fold_side === other ? [first, first] : insideCut(art_on_cut, one, first, width, height);
    const far = look.fold_side === one ? [second, second] : insideCut(art_on_cut, other, second, width, height);
    for (const end of [0, 1]) {
      const [narrow, wide] = [Math.min(near[end], far[end]), Math.max(near[end], far[end])];
      if (wide < UNEVEN_RATIO * narrow - SLACK_MM) continue;
      const side = near[end] <= far[end] ? one : other;
      const ratio = narrow > 0 ? wide / narrow : Infinity;
      const known = found.find((fault) => fault.side === side);
      if (!known) found.push({ rule: "uneven", side, mm: Math.max(0, narrow), ratio });
      else if (ratio > (known.ratio ?? 0)) Object.assign(known, { mm: Math.max(0, narrow), ratio });
    }
  }
  return found;
}

/** How bad a fault looks: a sliver of paper before lost art before a stranger's edge before a lopsided border. @param {Fault} fault */
function gravity({ rule, mm, ratio = 0 }) {
  return { paper_shows: 10, art_cut: 8, neighbour_shows: 5, uneven: 0 }[rule] * mm
    + (rule === "uneven" ? 0.1 + 0.02 * Math.min(ratio, 20) : 0.5);
}

/** @param {Fault[]} faults @returns {number} for finding the worst card */
export const badness = (faults) => faults.reduce((sum, fault) => sum + gravity(fault), 0);

const EDGES = { left: "left edge", right: "right edge", top: "top edge", bottom: "bottom edge" };

/** @param {Fault} fault @returns {string} in words, as the cut card is held with its back up */
export function saysFault({ rule, side, mm, ratio = 0 }) {
  const much = `${mm.toFixed(mm < 0.995 ? 2 : 1)} mm`;
  if (rule === "paper_shows") return `${much} of bare paper at the ${EDGES[side]}`;
  if (rule === "neighbour_shows") return `${much} of the print beside it at the ${EDGES[side]}`;
  if (rule === "art_cut") return `${much} of art lost at the ${EDGES[side]}`;
  return Number.isFinite(ratio) ? `border ${ratio.toFixed(1)} to 1, narrow at the ${EDGES[side]}`
    : `border gone at the ${EDGES[side]}`;
}

/** A word or two for the overlay. @param {Fault[]} faults */
export function inShort(faults) {
  if (!faults.length) return "clean";
  const [{ rule, mm }] = faults;
  const words = { paper_shows: "bare paper", neighbour_shows: "next back", art_cut: "art lost", uneven: "lopsided" };
  return rule === "uneven" ? words[rule] : `${words[rule]} ${mm.toFixed(1)} mm`;
}
