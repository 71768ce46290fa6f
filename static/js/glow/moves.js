/**
 * The sliders, their numbers and their buttons: what the back is moved by.
 */

import { need } from "../dom.js";
import { say } from "../messages.js";
import { STILL } from "./geometry.js";

/** @typedef {import("./held.js").Held} Held */
/** @typedef {import("./geometry.js").Move} Move */

/** @type {(keyof Move)[]} */
const NAMES = ["dx", "dy", "turn", "scale"];
const DIGITS = { dx: 2, dy: 2, turn: 3, scale: 3 };

/** A minus that reads as one. @param {string} text */
const typed = (text) => Number(text.trim().replace(",", ".").replace("−", "-"));

/** Binds one slider, one number and two buttons for each part of the move. */
export class Moves {
  /** @param {Held} held */
  constructor(held) {
    this.held = held;
    for (const name of NAMES) this.#bind(name);
    need("[data-still]").addEventListener("click", () => { held.shift(STILL); say("The back lies as it lands."); });
    held.addEventListener("move", () => this.show());
    this.show();
  }

  /** @param {keyof Move} name */
  #bind(name) {
    const { range, number } = this.#fields(name);
    const step = Number(range.dataset.step);
    const set = (/** @type {number} */ value) => {
      const [low, high] = [Number(range.min), Number(range.max)];
      this.held.shift({ [name]: Math.min(Math.max(Number(value.toFixed(DIGITS[name])), low), high) });
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
      set((Number.isFinite(typed(number.value)) ? typed(number.value) : this.held.move[name]) + way * step);
    });
    for (const button of need(`[data-move="${name}"]`).querySelectorAll("[data-by]")) {
      button.addEventListener("click", () => set(this.held.move[name] + Number(button.dataset.by) * step));
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
      const value = this.held.move[name];
      if (Number(range.value) !== value) range.value = String(value);
      const text = String(Number(value.toFixed(DIGITS[name]))).replace("-", "−");
      if (document.activeElement !== number || typed(number.value) !== value) number.value = text;
    }
  }
}
