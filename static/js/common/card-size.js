/**
 * Sizes as settings keep them: a name from the tables, or "WxH" with an optional unit.
 */

import { toMm } from "./units.js";

/** @typedef {{name: string, label: string, width_mm: number, height_mm: number}} Size */

const PAIR = /^\s*(.+?)\s*[x×*]\s*(.+?)\s*$/i;

/**
 * Both sides of "63x88" or "2.5x3.5in", in mm; null where it is no size.
 *
 * @param {string} text
 * @returns {{width_mm: number, height_mm: number}|null}
 */
export function parseSize(text) {
  const found = PAIR.exec(text);
  if (!found) return null;
  const unit = /[a-z"]+$/i.exec(found[2])?.[0] ?? "";
  const first = /[a-z"]$/i.test(found[1]) ? found[1] : `${found[1]}${unit}`;
  const [width_mm, height_mm] = [toMm(first, "mm"), toMm(found[2], "mm")];
  return width_mm && height_mm ? { width_mm, height_mm } : null;
}

/**
 * @param {string} text
 * @param {{card_sizes: Size[]}} tables
 * @returns {{width_mm: number, height_mm: number}}
 */
export function cardSizeOf(text, tables) {
  return tables.card_sizes.find((size) => size.name === text) ?? parseSize(text) ?? tables.card_sizes[0];
}
