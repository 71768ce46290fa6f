/**
 * The cards after cutting: each with its front and its back, the worst one large, and all of it as a table.
 */

import { counted, el, icon, need } from "../common/dom.js";
import { after } from "./geometry.js";
import { worstOf } from "./laid-sheet.js";
import { makeABack } from "./leeways.js";
import { inShort, saysFault } from "./verdicts.js";

/** @typedef {import("./laid-sheet.js").LaidSheet} LaidSheet */
/** @typedef {import("./laid-sheet.js").CutCard} CutCard */
/** @typedef {import("./faces.js").Sheet} Sheet */

const SMALL_PX_MM = 2.2;
const LARGE_PX_MM = 5;
const TRIMMED = "#a79f90";
const WORDS_AFTER_MS = 150;

/** @typedef {"good"|"warning"|"error"|"note"} Tone "note" where there is no back to judge */

/** @param {CutCard} one @returns {Tone} */
export function toneOf({ card, faults }) {
  if (!card.look) return "note";
  return !faults.length ? "good" : faults.every(({ rule }) => rule === "uneven") ? "warning" : "error";
}

const VERDICTS = { good: "Clean", warning: "Lopsided", error: "Shows", note: "No back" };

/** @param {CutCard} one @returns {string} */
export function saysCard({ card, faults }) {
  if (!card.through) return "One printed side.";
  if (!card.back_key) return "No back.";
  if (!card.look) return "The back can't be read.";
  return faults.length ? `${faults.map(saysFault).join("; ")}.` : "Clean.";
}

/**
 * Draw one side of one cut card.
 *
 * @param {HTMLCanvasElement} canvas
 * @param {Sheet} sheet
 * @param {any} card
 * @param {"front"|"back"} side
 * @param {number} px_mm pixels of the canvas to the millimetre
 * @param {LaidSheet} laid
 */
export function drawCut(canvas, sheet, card, side, px_mm, laid) {
  const { width, height } = sheet.data.card;
  const [w, h] = [Math.round(width * px_mm), Math.round(height * px_mm)];
  if (canvas.width !== w || canvas.height !== h) Object.assign(canvas, { width: w, height: h });
  const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { alpha: false }));
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.fillStyle = "#ffffff";
  context.fillRect(0, 0, w, h);
  const view = sheet.cardView(card, side, px_mm);
  if (side === "front") {
    sheet.front.draw(context, view);
    return;
  }
  const onto = after(view, laid.landsOf(card));
  context.save();
  const fold = sheet.data.in_pairs && sheet.folds.find(({ slots }) => slots[0] === card.slot);
  if (fold) {
    // It ends where the pair is cut out; what its front then stands over is trimmed off.
    context.fillStyle = TRIMMED;
    context.fillRect(0, 0, w, h);
    context.setTransform(...onto);
    context.beginPath();
    context.rect(fold.paper.x, fold.paper.y, fold.paper.width, fold.paper.height);
    context.clip();
  }
  sheet.back.draw(context, onto);
  context.restore();
}

/** The part of the page about cut cards. Fires "look" (`detail`: a card) when a person wants to see one on the sheet. */
export class CutCards extends EventTarget {
  /** @param {LaidSheet} laid */
  constructor(laid) {
    super();
    this.laid = laid;
    this.grid = need("[data-cut-grid]");
    this.rows = need("[data-cut-rows]");
    this.large = need("[data-worst]");
    /** @type {{card: any, front: HTMLCanvasElement, back: HTMLCanvasElement, said: HTMLElement, box: HTMLElement}[]} */
    this.small = [];
    this.timer = 0;
    this.worst = -1;
  }

  /** A new sheet: make a place for each of its cards. */
  lay() {
    const sheet = /** @type {Sheet} */ (this.laid.sheet);
    this.small = sheet.data.cards.map((/** @type {any} */ card) => {
      const canvas = () => /** @type {HTMLCanvasElement} */ (el("canvas", { class: "cut-face", "aria-hidden": "true" }));
      const [front, back] = [canvas(), canvas()];
      const said = el("span", { class: "tag cut-tag" });
      const box = el("li", { class: "cut-card" },
        el("button", { class: "cut-button", type: "button", on: { click: () => this.#look(card) } },
          el("span", { class: "cut-pair" }, front, sheet.data.has_backs && back),
          el("span", { class: "cut-name" }, el("span", { text: `${card.slot + 1}. ${card.name}` }), said)));
      return { card, front, back, said, box };
    });
    this.grid.replaceChildren(...this.small.map(({ box }) => box));
    for (const { card, front } of this.small) drawCut(front, sheet, card, "front", this.#fine(SMALL_PX_MM), this.laid);
    this.worst = -1;
  }

  /** @param {number} px_mm */
  #fine(px_mm) {
    return px_mm * Math.min(2, Math.max(1, devicePixelRatio));
  }

  /** @param {any} card */
  #look(card) {
    this.dispatchEvent(new CustomEvent("look", { detail: card }));
  }

  /** Show the cards at the move as it is now; words follow once it rests. @param {CutCard[]} cut */
  show(cut) {
    const sheet = /** @type {Sheet} */ (this.laid.sheet);
    for (const [at, { card, back }] of this.small.entries()) {
      if (card.through) drawCut(back, sheet, card, "back", this.#fine(SMALL_PX_MM), this.laid);
      this.small[at].box.dataset.tone = toneOf(cut[at]);
    }
    this.#drawWorst(cut);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.words(cut), WORDS_AFTER_MS);
  }

  /** @param {CutCard[]} cut */
  words(cut) {
    for (const [at, { said }] of this.small.entries()) {
      const tone = toneOf(cut[at]);
      said.dataset.tone = tone;
      said.replaceChildren(icon(tone), document.createTextNode(!cut[at].card.through ? "front" : cut[at].card.look ? inShort(cut[at].faults) : "no back"));
    }
    this.rows.replaceChildren(...cut.map((one) => el("tr", {},
      el("td", { class: "measure", text: String(one.card.slot + 1) }),
      el("th", { scope: "row", text: one.card.name }),
      el("td", {}, el("span", { class: "tag", data: { tone: toneOf(one) } }, icon(toneOf(one)),
        one.card.through ? VERDICTS[toneOf(one)] : "Front only")),
      el("td", { text: saysCard(one) }))));
    const bad = cut.filter(({ faults }) => faults.length).length;
    const worst = worstOf(cut);
    const judged = cut.filter(({ card }) => card.look).length;
    need("[data-cut-summary]").replaceChildren(...(bad
      ? [`${bad} of ${cut.length} cards show it. Worst is ${worst?.card.slot + 1}, ${worst?.card.name}.`]
      : !cut[0]?.card.through ? [`${counted(cut.length, "card")} with one printed side: only the cut can be off.`]
        : judged === cut.length ? [`All ${cut.length} cards come out clean.`]
          : [judged ? `${counted(judged, "card comes", "cards come")} out clean; ${cut.length - judged} without a back can't be judged. `
            : "No card of this sheet has a back to judge. ", ...makeABack()]));
  }

  /** @param {CutCard[]} cut */
  #drawWorst(cut) {
    const sheet = /** @type {Sheet} */ (this.laid.sheet);
    // Where nothing shows, the card that was worst before stays, so that the page doesn't jump.
    const found = worstOf(cut) ?? cut.find(({ card }) => card.slot === this.worst) ?? cut[0];
    if (!found) return;
    const [front, back] = this.large.querySelectorAll("canvas");
    if (found.card.slot !== this.worst) {
      drawCut(front, sheet, found.card, "front", this.#fine(LARGE_PX_MM), this.laid);
      this.worst = found.card.slot;
    }
    need("[data-worst-back]").hidden = !found.card.through;
    if (found.card.through) drawCut(back, sheet, found.card, "back", this.#fine(LARGE_PX_MM), this.laid);
    need("[data-worst-name]").textContent = `${found.card.slot + 1}. ${found.card.name}`;
    const tone = toneOf(found);
    need("[data-worst-says]").replaceChildren(icon(tone), document.createTextNode(saysCard(found)));
    need("[data-worst-says]").dataset.tone = tone;
  }
}
