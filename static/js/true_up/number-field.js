/**
 * One number of a station: a text field, a slider and two buttons that always say the same. Empty means not read.
 */

import { need } from "../common/dom.js";
import { sameLength, shown, toMm } from "../common/units.js";

/** @typedef {import("../common/units.js").Unit} Unit */

const STEP_MM = 0.1;

/** A minus that reads as one, and the plain one for reading it back. @param {string} text */
export const pretty = (text) => text.replace(/^-(?=0(?:\.0*)?$)/, "").replace("-", "−");
/** @param {string} text */
export const plain = (text) => text.trim().replace(/[−–]/g, "-");

/** @param {number} mm to the vernier's tenth */
export const tenth = (mm) => Math.round(mm * 10) / 10 + 0;

export class NumberField {
  /**
   * @param {HTMLElement} box
   * @param {(mm: number|null) => void} changed by a person
   */
  constructor(box, changed) {
    this.input = need("input[type=text]", box);
    this.range = need("input[type=range]", box);
    this.says = need("[data-says]", box);
    this.changed = changed;
    /** @type {Unit} */
    this.unit = "mm";
    /** @type {number|null} */
    this.mm = null;
    this.input.addEventListener("input", () => this.#typed());
    this.input.addEventListener("blur", () => { if (!this.bad) this.show(); });
    this.input.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
      const way = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (!way || event.altKey) return;
      event.preventDefault();
      this.#step(way);
    });
    this.range.addEventListener("input", () => this.#take(tenth(Number(this.range.value))));
    for (const button of box.querySelectorAll("[data-by]")) {
      button.addEventListener("click", () => this.#step(Number(/** @type {HTMLElement} */ (button).dataset.by)));
    }
  }

  /** Whether the text is no length. */
  get bad() {
    return this.input.getAttribute("aria-invalid") === "true";
  }

  /** @param {number|null} mm */
  set(mm) {
    if (this.mm !== null && mm !== null && sameLength(this.mm, mm) && !this.bad) return;
    this.mm = mm;
    this.show();
  }

  /** @param {Unit} unit */
  turn(unit) {
    this.unit = unit;
    if (!this.bad) this.show();
  }

  show() {
    this.input.removeAttribute("aria-invalid");
    this.input.value = this.mm === null ? "" : pretty(shown(this.mm, this.unit));
    this.range.value = String(this.mm ?? 0);
    this.range.setAttribute("aria-valuetext", this.mm === null ? "not read" : `${shown(this.mm, this.unit)} ${this.unit}`);
  }

  /** @param {number} way */
  #step(way) {
    this.#take(tenth((this.mm ?? 0) + (this.mm === null && this.input.value === "" ? 0 : way * STEP_MM)));
  }

  /** @param {number} mm */
  #take(mm) {
    this.mm = mm;
    this.show();
    this.changed(mm);
  }

  #typed() {
    const text = plain(this.input.value);
    const mm = text === "" ? null : toMm(text, this.unit);
    if (text !== "" && mm === null) {
      this.input.setAttribute("aria-invalid", "true");
      this.says.textContent = `${this.input.value} is no length. Write it as 1.2 or −0.8.`;
      return;
    }
    this.input.removeAttribute("aria-invalid");
    this.mm = mm;
    this.range.value = String(mm ?? 0);
    this.changed(mm);
  }
}
