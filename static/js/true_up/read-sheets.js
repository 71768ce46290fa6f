/**
 * What has been read so far: any number of sheets, each station of which may have two numbers, one or none.
 */

/** @typedef {import("./server.js").Reading} Reading */
/** @typedef {{dx: number|null, dy: number|null}} Pair millimetres; null where nothing was read */
/** @typedef {{name: string, pairs: Record<number, Pair>}} Sheet */

/** What would fit, in the axes that were read. @param {Reading & {fits_dx_mm: number, fits_dy_mm: number}} one @returns {Pair} */
export const fitting = (one) => ({ dx: one.dx_mm === null ? null : one.fits_dx_mm, dy: one.dy_mm === null ? null : one.fits_dy_mm });

/** @returns {Pair} */
const unread = () => ({ dx: null, dy: null });

/** Fires "change" after each change, "look" when only another sheet or station is looked at. */
export class ReadSheets extends EventTarget {
  constructor() {
    super();
    /** @type {Sheet[]} */
    this.sheets = [{ name: "1", pairs: {} }];
    /** @type {Reading[]} read at places that aren't stations; kept as they are */
    this.elsewhere = [];
    this.at = 0;
    this.station = 1;
  }

  get sheet() {
    return this.sheets[this.at];
  }

  /** @param {number} [station] @param {Sheet} [sheet] @returns {Pair} */
  pair(station = this.station, sheet = this.sheet) {
    return sheet.pairs[station] ?? unread();
  }

  /** @param {Partial<Pair>} values @param {number} [station] @param {Sheet} [sheet] */
  set(values, station = this.station, sheet = this.sheet) {
    sheet.pairs[station] = { ...this.pair(station, sheet), ...values };
    this.dispatchEvent(new Event("change"));
  }

  /** Put a value in by the sheet's name, as a suspect names it. @param {string} name @param {number} station @param {Pair} pair */
  correct(name, station, pair) {
    const at = this.sheets.findIndex((sheet) => sheet.name === name);
    if (at < 0) return;
    this.at = at;
    this.station = station;
    this.set(pair);
  }

  /** @param {number} at @param {number} station */
  look(at, station) {
    this.at = at;
    this.station = station;
    this.dispatchEvent(new Event("look"));
  }

  add() {
    const numbers = this.sheets.map(({ name }) => Number(name)).filter(Number.isFinite);
    this.sheets.push({ name: String(Math.max(0, ...numbers) + 1), pairs: {} });
    this.at = this.sheets.length - 1;
    this.dispatchEvent(new Event("change"));
  }

  /** Take the sheet that is looked at away. @returns {() => void} brings it back */
  remove() {
    const [at, gone] = [this.at, this.sheet];
    this.sheets.splice(at, 1);
    if (!this.sheets.length) this.sheets.push({ name: "1", pairs: {} });
    this.at = Math.min(at, this.sheets.length - 1);
    this.dispatchEvent(new Event("change"));
    return () => {
      this.sheets.splice(at, 0, gone);
      this.at = at;
      this.dispatchEvent(new Event("change"));
    };
  }

  /** How many stations of a sheet are read, in one axis at least. @param {Sheet} [sheet] */
  count(sheet = this.sheet) {
    return Object.values(sheet.pairs).filter(({ dx, dy }) => dx !== null || dy !== null).length;
  }

  /** Stations with one number of two, which count for that axis alone. @returns {{sheet: string, station: number}[]} */
  get halves() {
    return this.sheets.flatMap((sheet) => Object.entries(sheet.pairs)
      .filter(([, { dx, dy }]) => (dx === null) !== (dy === null))
      .map(([station]) => ({ sheet: sheet.name, station: Number(station) })));
  }

  /** @returns {Partial<Reading>[]} as the server takes them */
  readings() {
    const read = this.sheets.flatMap((sheet) => Object.entries(sheet.pairs)
      .filter(([, { dx, dy }]) => dx !== null || dy !== null)
      .map(([station, { dx, dy }]) => ({ sheet: sheet.name, station: Number(station), dx_mm: dx, dy_mm: dy })));
    return [...read, ...this.elsewhere.map(({ sheet, x_mm, y_mm, dx_mm, dy_mm }) => ({ sheet, x_mm, y_mm, dx_mm, dy_mm }))];
  }

  /** @param {Reading[]} readings as the server keeps them */
  load(readings) {
    this.elsewhere = readings.filter(({ station }) => station === null);
    this.sheets = [];
    for (const { sheet: name, station, dx_mm: dx, dy_mm: dy } of readings) {
      if (station === null) continue;
      let sheet = this.sheets.find((one) => one.name === name);
      if (!sheet) this.sheets.push(sheet = { name, pairs: {} });
      sheet.pairs[station] = { dx, dy };
    }
    if (!this.sheets.length) this.sheets.push({ name: "1", pairs: {} });
    this.at = 0;
    this.station = 1;
    this.dispatchEvent(new Event("look"));
  }
}
