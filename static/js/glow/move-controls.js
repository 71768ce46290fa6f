/**
 * The sliders, their numbers and their buttons: what the back is moved by.
 */

import { need } from "../common/dom.js";
import { say } from "../common/messages.js";
import { STILL } from "./geometry.js";

/** @typedef {import("./laid-sheet.js").LaidSheet} LaidSheet */
/** @typedef {import("./geometry.js").Move} Move */

/** @type {(keyof Move)[]} */
const NAMES = ["dx", "dy", "turn", "scale"];
const DIGITS = { dx: 2, dy: 2, turn: 3, scale: 3 };

/** A minus that reads as one. @param {string} text */
const typed = (text) => Number(text.trim().replace(",", ".").replace("−", "-"));

/** Binds one slider, one number and two buttons for each part of the move. */
export class MoveControls {
  /** @param {LaidSheet} laid */
  constructor(laid) {
    this.laid = laid;
    for (const name of NAMES) this.#bind(name);
    need("[data-still]").addEventListener("click", () => { laid.shift(STILL); say("The back lies as it lands."); });
    laid.addEventListener("move", () => this.show());
    this.show();
  }

  /** @param {keyof Move} name */
  #bind(name) {
    const { range, number } = this.#fields(name);
    const step = Number(range.dataset.step);
    const set = (/** @type {number} */ value) => {
      const [low, high] = [Number(range.min), Number(range.max)];
      this.laid.shift({ [name]: Math.min(Math.max(Number(value.toFixed(DIGITS[name])), low), high) });
    };
    range.addEventListener("input", () => set(Number(range.value)));
    number.addEventListener("change", () => {
      const value = typed(number.value);
      if (Number.isFinite(value) && number.value.trim()) set(value);
      else this.show();
    });
    number.addEventListener("blur", () => this.show());
    number.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
      const way = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (!way) return;
      event.preventDefault();
      set((Number.isFinite(typed(number.value)) ? typed(number.value) : this.laid.move[name]) + way * step);
    });
    for (const button of need(`[data-move="${name}"]`).querySelectorAll("[data-by]")) {
      button.addEventListener("click", () => set(this.laid.move[name] + Number(button.dataset.by) * step));
    }
  }

  /** @param {keyof Move} name */
  #fields(name) {
    const field = need(`[data-move="${name}"]`);
    return { range: need("input[type=range]", field), number: need("input[type=text]", field) };
  }

  /** Show where things stand. */
  show() {
    for (const name of NAMES) {
      const { range, number } = this.#fields(name);
      const value = this.laid.move[name];
      if (Number(range.value) !== value) range.value = String(value);
      const text = String(Number(value.toFixed(DIGITS[name]))).replace("-", "−");
      if (document.activeElement !== number || typed(number.value) !== value) number.value = text;
    }
  }
}
