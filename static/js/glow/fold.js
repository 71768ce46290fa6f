/**
 * The sheet as it folds on its creases, in perspective: both faces, the core slipped in, the back coming upright.
 *
 * Each part is a real picture of the sheet, laid in space by `geometry.foldMatrix`; the browser does the projection.
 */

import { el, need } from "../common/dom.js";
import { say } from "../common/messages.js";
import { after, chain, foldMatrix, partsOf, shift, throughFront, turning } from "./geometry.js";

/** @typedef {import("./faces.js").Sheet} Sheet */
/** @typedef {import("./geometry.js").Fold} Folded */

const PX_MM = 5; // of the pictures; the scene scales them to the room there is
const MOVE_MS = 700;
const CORE_FROM_DEG = 60;
const THICK_MM = 0.3;

const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

/** The fold's part of the page. */
export class Fold {
  /** @param {import("./laid-sheet.js").LaidSheet} laid */
  constructor(laid) {
    this.laid = laid;
    this.section = need("[data-fold]");
    this.stage = need("[data-fold-stage]");
    this.paper = need("[data-fold-paper]");
    this.angle = 0;
    this.look = 0;
    this.running = 0;
    this.number = 0;
    for (const button of this.section.querySelectorAll("[data-fold-by]")) {
      button.addEventListener("click", () => this.choose(this.number + Number(button.dataset.foldBy)));
    }
    for (const [name, set] of /** @type {["angle"|"look", (value: number) => void][]} */ (
      [["angle", (value) => { this.angle = value; }], ["look", (value) => { this.look = value; }]])) {
      const field = need(`[data-turn="${name}"]`);
      const [range, number] = [need("input[type=range]", field), need("input[type=text]", field)];
      const take = (/** @type {number} */ value) => {
        cancelAnimationFrame(this.running);
        set(Math.min(180, Math.max(0, value)));
        this.show();
      };
      range.addEventListener("input", () => take(Number(range.value)));
      number.addEventListener("change", () => {
        const value = Number(number.value.replace(",", ".").replace("°", ""));
        if (Number.isFinite(value) && number.value.trim()) take(value);
        else this.show();
      });
      for (const button of field.querySelectorAll("[data-by]")) {
        button.addEventListener("click", () => take(this[name] + Number(button.dataset.by)));
      }
    }
    for (const button of this.section.querySelectorAll("[data-fold-to]")) {
      button.addEventListener("click", () => this.go(Number(button.dataset.foldTo), Number(button.dataset.lookTo)));
    }
    new ResizeObserver(() => this.show()).observe(this.stage);
  }

  /** A new sheet. */
  lay() {
    const { folds, data } = /** @type {Sheet} */ (this.laid.sheet);
    this.section.hidden = !folds.length;
    need("[data-no-fold]").hidden = folds.length > 0 || !data.has_backs;
    need("[data-fold-choice]").hidden = folds.length < 2;
    const core = data.core_mm > 0 ? "the core slipped in, " : "";
    need("[data-fold-what]").textContent = data.in_pairs ? `One card on its own crease, ${core}the back coming upright behind its front.`
      : `The sheet on its crease${core && "s"}, ${core}the back coming upright behind its front.`;
    this.choose(0);
  }

  /** Which of the pieces that are folded by themselves. @param {number} number */
  choose(number) {
    const sheet = /** @type {Sheet} */ (this.laid.sheet);
    const count = sheet.folds.length;
    this.number = Math.min(Math.max(0, number), Math.max(0, count - 1));
    for (const button of this.section.querySelectorAll("[data-fold-by]")) {
      button.disabled = this.number + Number(button.dataset.foldBy) !== Math.min(Math.max(0, this.number + Number(button.dataset.foldBy)), count - 1);
    }
    this.#paint(sheet);
  }

  /** What is folded, and the first of its cards. @param {Sheet} sheet */
  #chosen(sheet) {
    const fold = sheet.folds[this.number];
    return { fold, card: /** @type {import("../common/types.js").GlowCard} */ (sheet.data.cards.find(({ slot }) => slot === fold.slots[0])) };
  }

  /** @param {Sheet} sheet */
  #paint(sheet) {
    this.paper.replaceChildren();
    this.parts = undefined;
    if (!sheet.folds.length) return;
    const { fold, card } = this.#chosen(sheet);
    need("[data-fold-name]").textContent = sheet.data.in_pairs ? `${card.slot + 1}. ${card.name}` : "";
    this.parts = partsOf(fold).rects.map((rect, part) => {
      const picture = /** @type {HTMLCanvasElement} */ (el("canvas", { class: "fold-outside" }));
      Object.assign(picture, { width: Math.round(rect.width * PX_MM), height: Math.round(rect.height * PX_MM) });
      const context = /** @type {CanvasRenderingContext2D} */ (picture.getContext("2d", { alpha: false }));
      sheet.front.draw(context, after([PX_MM, 0, 0, PX_MM, 0, 0], shift(-rect.x, -rect.y)));
      const box = el("div", { class: "fold-part", data: { part } }, picture, el("div", { class: "fold-inside" }));
      box.style.width = `${rect.width}px`;
      box.style.height = `${rect.height}px`;
      return { part, rect, box };
    });
    this.core = sheet.data.core_mm > 0 ? el("div", { class: "fold-core" }, el("span"), el("span"), el("span")) : null;
    this.paper.replaceChildren(...this.parts.map(({ box }) => box), ...(this.core ? [this.core] : []));
    this.#warn(sheet);
    this.show();
  }

  /** Fold and look there, moving unless motion is not wanted. @param {number} angle @param {number} look */
  go(angle, look) {
    cancelAnimationFrame(this.running);
    const [from, seen, start] = [this.angle, this.look, performance.now()];
    const step = (/** @type {number} */ now) => {
      const share = still() ? 1 : Math.min(1, Math.max(0, (now - start) / MOVE_MS));
      const eased = share * share * (3 - 2 * share);
      this.angle = from + (angle - from) * eased;
      this.look = seen + (look - seen) * eased;
      this.show();
      if (share < 1) this.running = requestAnimationFrame(step);
      else say(this.#says());
    };
    step(start);
  }

  #says() {
    const what = this.laid.sheet?.data.in_pairs ? "The card" : "The sheet";
    const folded = this.angle < 1 ? `${what} lies flat` : this.angle > 179 ? `${what} is folded`
      : `${what} is folded by ${Math.round(this.angle)} degrees`;
    return `${folded}, seen from the ${this.look < 45 ? "front" : this.look > 135 ? "back" : "side"}.`;
  }

  /** Lay every part in space. */
  show() {
    const sheet = this.laid.sheet;
    for (const name of /** @type {const} */ (["angle", "look"])) {
      const field = need(`[data-turn="${name}"]`);
      need("input[type=range]", field).value = String(Math.round(this[name]));
      const number = need("input[type=text]", field);
      if (document.activeElement !== number) number.value = String(Math.round(this[name]));
    }
    if (!sheet || !this.parts) return;
    const { fold, card } = this.#chosen(sheet);
    const { paper: page, panel } = fold;
    const share = this.angle / 180;
    const middle = (/** @type {"x"|"y"} */ axis, /** @type {"width"|"height"} */ size) =>
      (page[axis] + page[size] / 2) * (1 - share) + (panel[axis] + panel[size] / 2) * share;
    const [x, y] = [middle("x", "width"), middle("y", "height")];
    // However the cards lie on the page, here the sheet is held so that they are upright.
    const held = card.front_rotation;
    const between = (/** @type {"width"|"height"} */ size) => page[size] * (1 - share) + panel[size] * share;
    const [wide, high] = held % 180 ? [between("height"), between("width")] : [between("width"), between("height")];
    const open = Math.sin(Math.PI * share);
    const room = Math.min(this.stage.clientWidth / wide, this.stage.clientHeight / high) * (0.88 - 0.3 * open);
    const tilt = 14 * open;
    this.paper.style.transform = `scale(${room}) rotateX(${-tilt}deg) rotateY(${-this.look}deg) `
      + `rotateZ(${-held}deg) translate3d(${-x}px, ${-y}px, ${sheet.data.spine_mm * share / 2}px)`;
    for (const { part, rect, box } of this.parts) {
      // Paper has a thickness: without it the browser could not tell which of two sheets lies in front.
      const apart = part === 0 ? 0 : -THICK_MM * share;
      box.style.transform = `translateZ(${apart}px) matrix3d(${foldMatrix(fold, part, this.angle).map((n) => n.toFixed(9)).join(",")}) `
        + `translate(${rect.x}px, ${rect.y}px)`;
    }
    this.#slipIn(sheet, fold);
    this.stage.setAttribute("aria-label", this.#says());
  }

  /** The core comes in from the open side while the sheet closes. @param {Sheet} sheet @param {Folded} fold */
  #slipIn(sheet, fold) {
    if (!this.core) return;
    const { level, way, rects: [front] } = partsOf(fold);
    const depth = sheet.data.core_mm;
    const gone = 1 - Math.min(1, Math.max(0, (this.angle - CORE_FROM_DEG) / (165 - CORE_FROM_DEG)));
    const away = -way * gone * (level ? front.height : front.width) * 1.1;
    this.core.hidden = gone >= 1;
    Object.assign(this.core.style, { width: `${front.width}px`, height: `${front.height}px` });
    this.core.style.transform = `translate3d(${front.x + (level ? 0 : away)}px, ${front.y + (level ? away : 0)}px, -0.05px)`;
    const [near, far, edge] = /** @type {HTMLElement[]} */ ([...this.core.children]);
    near.style.transform = "translateZ(-0.02px)";
    far.style.transform = `translateZ(${-depth}px)`;
    edge.style.cssText = "";
    Object.assign(edge.style, level ? { height: `${depth}px` } : { width: `${depth}px` });
    edge.style.transformOrigin = "0 0";
    const open = way > 0 ? 0 : level ? front.height : front.width; // the edge away from the crease
    edge.style.transform = level ? `translateY(${open}px) rotateX(-90deg)` : `translateX(${open}px) rotateY(90deg)`;
  }

  /** What becomes of the first card here whose back isn't turned as this fold needs it. @param {Sheet} sheet */
  #warn(sheet) {
    const { fold } = this.#chosen(sheet);
    const card = sheet.data.cards.find((one) => one.back_key && fold.slots.includes(one.slot));
    need("[data-fold-warning]").hidden = !card;
    if (!card?.back || !card.through) return;
    need("[data-fold-rule]").textContent = fold.says;
    need("[data-fold-wrong]").textContent = fold.says_wrong;
    const { x, y, width, height } = card.back;
    const centre = shift(x + width / 2, y + height / 2);
    const turned = chain(centre, turning(180), shift(-x - width / 2, -y - height / 2));
    for (const [name, extra] of /** @type {[string, import("./geometry.js").Matrix][]} */ (
      [["front", [1, 0, 0, 1, 0, 0]], ["right", [1, 0, 0, 1, 0, 0]], ["wrong", turned]])) {
      const canvas = need(`[data-fold-card="${name}"]`);
      const px_mm = 3;
      Object.assign(canvas, { width: Math.round(sheet.data.card.width * px_mm), height: Math.round(sheet.data.card.height * px_mm) });
      const context = canvas.getContext("2d", { alpha: false });
      const view = sheet.cardView(card, name === "front" ? "front" : "back", px_mm);
      sheet.front.draw(context, name === "front" ? view : chain(view, throughFront(card.through), extra));
    }
  }
}
