/**
 * Lengths as people type them. Everything is millimetres inside; 1 in = 25.4 mm exactly.
 */

/** @typedef {"mm"|"in"} Unit */

export const MM_PER_INCH = 25.4;
const FACTORS = { mm: 1, cm: 10, in: MM_PER_INCH, inch: MM_PER_INCH, inches: MM_PER_INCH, '"': MM_PER_INCH, pt: MM_PER_INCH / 72 };
const LENGTH = /^\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mm|cm|in|inch|inches|"|pt)?\s*$/i;
const FRACTION = /^\s*(?:(\d+)\s+)?(\d+)\s*\/\s*(\d+)\s*(in|inch|inches|")?\s*$/i;

/**
 * Millimetres from text; a bare number is in `unit`, and a unit that is typed wins. Fractions of an inch ("1/8") are
 * read as well. `null` where it is no length.
 *
 * @param {string} text
 * @param {Unit} unit
 * @returns {number|null}
 */
export function toMm(text, unit) {
  const fraction = FRACTION.exec(text);
  if (fraction && (fraction[4] || unit === "in") && Number(fraction[3]) > 0) {
    return (Number(fraction[1] ?? 0) + Number(fraction[2]) / Number(fraction[3])) * MM_PER_INCH;
  }
  const found = LENGTH.exec(text);
  if (!found) return null;
  const named = (found[2] ?? unit).toLowerCase();
  const value = Number(found[1].replace(",", ".")) * FACTORS[/** @type {keyof typeof FACTORS} */ (named)];
  return Number.isFinite(value) ? value : null;
}

/**
 * A length as it is shown: mm to three decimals, inches to four, without trailing zeros.
 *
 * @param {number} mm
 * @param {Unit} unit
 */
export function shown(mm, unit) {
  const text = unit === "in" ? (mm / MM_PER_INCH).toFixed(4) : mm.toFixed(3);
  const bare = text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
  return bare === "-0" ? "0" : bare;
}

/**
 * The same, with its unit.
 *
 * @param {number} mm
 * @param {Unit} unit
 */
export const shownWithUnit = (mm, unit) => `${shown(mm, unit)} ${unit}`;

/** Whether two lengths are the same for any printer: a tenth of a micrometre. @param {number} a @param {number} b */
export const sameLength = (a, b) => Math.abs(a - b) < 1e-4;
