/**
 * Lengths as people type them. Everything is millimetres inside; 1 in = 25.4 mm exactly.
 */

/** @typedef {"mm"|"in"} Unit */

export const MM_PER_INCH = 25.4;
const FACTORS = { mm: 1, cm: 10, in: MM_PER_INCH, inch: MM_PER_INCH, inches: MM_PER_INCH, '"': MM_PER_INCH, pt: MM_PER_INCH / 72 };
const LENGTH = /^([+-]?)(?:([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)|(?:([0-9]+)[ -])?([0-9]+) ?\/ ?([0-9]+)) ?(mm|cm|in|inch|inches|"|pt)?$/i;
const LENGTHS_ARE_WRITTEN = "Write it as 3, 3mm, 0.125in or 1/8in.";
const SIZES_ARE_WRITTEN = "Write width x height, such as 63x88 or 2.5x3.5in.";

/** @typedef {{mm: number, message: ""}|{mm: null, message: string, fix: string}} ReadLength */
/** @typedef {{width_mm: number, height_mm: number, message: ""}|{width_mm: null, message: string, fix: string}} ReadSize */

/** What is put in a message: short, and as it was typed. @param {string} text */
const quoted = (text) => (text.length > 58 ? `'${text.slice(0, 56)}...` : `'${text}'`);

/**
 * The signs that keyboards and spreadsheets put in ("½", "″", "−") as plain ones, and single spaces.
 *
 * @param {string} text
 */
const plainLength = (text) => text
  .replace(/[¼-¾⅐-⅞]/g, (sign) => ` ${sign.normalize("NFKD")}`)
  .replace(/['′’]{2}|[″”“]/g, '"').replace(/⁄/g, "/").replace(/−/g, "-").replace(/\s+/g, " ").trim();

/**
 * Millimetres from text, or why it is no length. A bare number or fraction is in `unit`, a bare fraction never in mm; a
 * unit that is typed wins. What is read and what is refused, with which words, stands in tests/lengths.json: the
 * server's `parse_length` reads the same.
 *
 * @param {string} text
 * @param {Unit} unit
 * @returns {ReadLength}
 */
export function readLength(text, unit) {
  const refused = { mm: null, message: `${quoted(text)} is no length.`, fix: LENGTHS_ARE_WRITTEN };
  const found = LENGTH.exec(plainLength(text));
  if (!found) return refused;
  const [, sign, number, whole, over, under, named] = found;
  if (number === undefined && named === undefined && unit === "mm") {
    return { mm: null, message: `${quoted(text)} has no unit.`, fix: "Write a fraction with its unit, such as 1/8in." };
  }
  const size = number === undefined ? Number(whole ?? 0) + Number(over) / Number(under) : Number(number.replace(",", "."));
  const mm = size * FACTORS[/** @type {keyof typeof FACTORS} */ ((named ?? unit).toLowerCase())];
  return Number.isFinite(mm) ? { mm: sign === "-" ? -mm : mm, message: "" } : refused;
}

/** The same where the reason doesn't matter. @param {string} text @param {Unit} unit @returns {number|null} */
export const toMm = (text, unit) => readLength(text, unit).mm;

/**
 * Both sides of "63x88" or "2 1/2 x 3 1/2 in", in mm, or why it is no size; a unit at the end serves both.
 *
 * @param {string} text
 * @returns {ReadSize}
 */
export function readSize(text) {
  const refused = (/** @type {string} */ why) => ({ width_mm: null, message: `${quoted(text)} ${why}`, fix: SIZES_ARE_WRITTEN });
  const sides = plainLength(text).split(/[x×*]/i).map((side) => side.trim());
  if (sides.length !== 2) return refused("is no size.");
  const unit = /(?:[a-z]+|")$/i.exec(sides[1])?.[0] ?? "";
  const [width, height] = [/(?:[a-z]+|")$/i.test(sides[0]) ? sides[0] : sides[0] + unit, sides[1]].map((side) => readLength(side, "mm"));
  if (width.mm === null) return { width_mm: null, message: width.message, fix: width.fix };
  if (height.mm === null) return { width_mm: null, message: height.message, fix: height.fix };
  return width.mm > 0 && height.mm > 0 ? { width_mm: width.mm, height_mm: height.mm, message: "" } : refused("has a side that isn't above zero.");
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
