/**
 * Sizes as settings keep them: a name from the tables, or "WxH" with an optional unit.
 */

import { readSize } from "./units.js";

/** @typedef {{name: string, label: string, width_mm: number, height_mm: number}} Size */

/**
 * @param {string} text
 * @returns {{width_mm: number, height_mm: number}|null}
 */
export function parseSize(text) {
  const size = readSize(text);
  return size.width_mm === null ? null : size;
}

/**
 * @param {string} text
 * @param {{card_sizes: Size[]}} tables
 * @returns {{width_mm: number, height_mm: number}}
 */
export function cardSizeOf(text, tables) {
  return tables.card_sizes.find((size) => size.name === text) ?? parseSize(text) ?? tables.card_sizes[0];
}
