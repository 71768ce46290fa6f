/**
 * Fields for lengths and sizes. What was typed stays as it was typed: turning mm into inch and back shows the same
 * text again, and a value that comes back from the server replaces it only where it means something else.
 */

import { parseSize } from "./card-size.js";
import { sameLength, shown, toMm } from "./units.js";

/** @typedef {import("./units.js").Unit} Unit */

/** @typedef {{minimum: number|null, maximum: number|null, step: number|null}} Limits */
/** @type {Limits} */
const ANY = { minimum: 0, maximum: Infinity, step: 1 };
const INCH_STEP = { fine: 1 / 32, coarse: 1 / 16 };

/** One text field that holds a length. */
export class LengthField {
  /**
   * @param {HTMLInputElement} input
   * @param {Unit} unit
   * @param {() => void} changed called after each change by a person
   * @param {Limits} limits in mm, and what the buttons change it by
   */
  constructor(input, unit, changed, limits = ANY) {
    this.input = input;
    this.limits = limits;
    this.unit = unit;
    this.changed = changed;
    /** @type {number|null} */
    this.mm = null;
    /** @type {Partial<Record<Unit, string>>} what was typed or shown for this value, in each unit */
    this.texts = {};
    input.addEventListener("input", () => this.#typed());
    input.addEventListener("keydown", (event) => {
      const steps = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (steps && !event.altKey) { event.preventDefault(); this.step(steps); }
    });
    for (const button of input.parentElement?.querySelectorAll("[data-step]") ?? []) {
      button.addEventListener("click", () => this.step(Number(/** @type {HTMLElement} */ (button).dataset.step)));
    }
  }

  /** What to send: mm as a number, or the text itself where it is no length, so that the server says what is wrong. */
  get value() {
    return this.mm ?? this.input.value;
  }

  /** @param {number} mm */
  set(mm) {
    if (this.mm !== null && sameLength(this.mm, mm)) return;
    this.mm = mm;
    this.texts = {};
    this.#show();
  }

  /** @param {Unit} unit */
  turn(unit) {
    if (unit === this.unit) return;
    this.texts[this.unit] = this.input.value;
    this.unit = unit;
    this.#show();
  }

  /** @param {number} steps */
  step(steps) {
    const { minimum, maximum } = this.limits;
    const step = this.limits.step ?? 1;
    const size = this.unit === "mm" ? step : step < 1 ? INCH_STEP.fine : INCH_STEP.coarse;
    const now = Number(shown(this.mm ?? 0, this.unit));
    const next = /** @type {number} */ (toMm(String(Number((now + steps * size).toFixed(6))), this.unit));
    this.input.value = shown(Math.min(maximum ?? Infinity, Math.max(minimum ?? 0, next)), this.unit);
    this.#typed();
  }

  #typed() {
    this.mm = toMm(this.input.value, this.unit);
    this.texts = { [this.unit]: this.input.value };
    this.changed();
  }

  #show() {
    const kept = this.texts[this.unit];
    if (kept !== undefined) this.input.value = kept;
    else if (this.mm !== null) this.input.value = shown(this.mm, this.unit);
    // Where the text is no length there is nothing to turn: it stays as it was typed.
  }
}

const CUSTOM = "custom";

/** A list of named sizes, with two fields of one's own behind "Custom". */
export class SizeField {
  /**
   * @param {HTMLSelectElement} select
   * @param {HTMLElement} custom holds the two inputs
   * @param {import("./card-size.js").Size[]} sizes
   * @param {Unit} unit
   * @param {() => void} changed
   */
  constructor(select, custom, sizes, unit, changed) {
    this.select = select;
    this.custom = custom;
    this.sizes = sizes;
    this.unit = unit;
    const field = (/** @type {string} */ side) => new LengthField(
      /** @type {HTMLInputElement} */ (custom.querySelector(`[data-side="${side}"]`)), unit, changed);
    this.width = field("w");
    this.height = field("h");
    this.text = "";
    select.replaceChildren(...sizes.map((size) => new Option("", size.name)), new Option("Custom", CUSTOM));
    this.#label();
    select.addEventListener("change", () => {
      if (select.value === CUSTOM && this.width.mm === null) this.#fill(this.text);
      this.#open();
      changed();
    });
    // A whole size, such as "2 1/2 x 3 1/2 in", goes into both fields, whichever it was written into.
    custom.addEventListener("change", ({ target }) => {
      const { value } = /** @type {HTMLInputElement} */ (target);
      const size = parseSize(/\d\s*$/.test(value) ? value + this.unit : value);
      if (!size) return;
      this.width.set(size.width_mm);
      this.height.set(size.height_mm);
      changed();
    });
  }

  /** The name, or "WxH" in mm; unreadable sides go out as they were typed. */
  get value() {
    if (this.select.value !== CUSTOM) {
      this.text = this.select.value;
      return this.text;
    }
    const was = parseSize(this.text);
    const same = was && this.width.mm !== null && this.height.mm !== null
      && sameLength(was.width_mm, this.width.mm) && sameLength(was.height_mm, this.height.mm);
    if (same) return this.text;
    const side = (/** @type {LengthField} */ field) => (field.mm === null ? field.input.value || "?" : shown(field.mm, "mm"));
    return `${side(this.width)}x${side(this.height)}`;
  }

  /** @param {string} text */
  set(text) {
    if (this.value === text) return;
    this.text = text;
    const named = this.sizes.some((size) => size.name === text);
    this.select.value = named ? text : CUSTOM;
    if (!named) this.#fill(text);
    this.#open();
  }

  /** @param {Unit} unit */
  turn(unit) {
    this.unit = unit;
    this.width.turn(unit);
    this.height.turn(unit);
    this.#label();
  }

  /** @param {string} text */
  #fill(text) {
    const size = this.sizes.find((one) => one.name === text) ?? parseSize(text);
    if (!size) return;
    this.width.set(size.width_mm);
    this.height.set(size.height_mm);
  }

  #open() {
    this.custom.hidden = this.select.value !== CUSTOM;
  }

  #label() {
    for (const [place, size] of this.sizes.entries()) {
      this.select.options[place].text =
        `${size.label}, ${shown(size.width_mm, this.unit)} × ${shown(size.height_mm, this.unit)} ${this.unit}`;
    }
  }
}
