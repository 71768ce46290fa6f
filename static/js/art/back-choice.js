/**
 * The dialog in which a card is given another back.
 */

import { el, need } from "../common/dom.js";
import { blank, face } from "./card-grid.js";

/** @typedef {import("../common/api.js").CardRecord} CardRecord */
/** @typedef {import("../common/api.js").DeckRecord} DeckRecord */

/**
 * Every picture that can serve as a back: those in use first, then the rest of the backs folder.
 *
 * @param {DeckRecord} record
 * @returns {{file: string, key: string}[]}
 */
export function backsOf(record) {
  /** @type {Map<string, {file: string, key: string}>} */
  const found = new Map();
  for (const card of record.cards) if (card.back && !found.has(card.back.file)) found.set(card.back.file, card.back);
  for (const file of record.files) {
    const usable = file.path.startsWith("backs/") && file.key && file.problem?.severity !== "error";
    // A PDF of several pages is known by its pages, which the cards name; the whole file is no back.
    const paged = [...found.keys()].some((label) => label.startsWith(`${file.path}#`));
    if (usable && !paged && !found.has(file.path)) found.set(file.path, { file: file.path, key: file.key });
  }
  return [...found.values()];
}

/**
 * Ask for a back. Resolves with the file's label, "" for none, or null where nothing was chosen.
 *
 * @param {CardRecord} card
 * @param {DeckRecord} record
 * @returns {Promise<string|null>}
 */
export function chooseBack(card, record) {
  const dialog = /** @type {HTMLDialogElement} */ (need("[data-backs-dialog]"));
  need("[data-backs-title]").textContent = `A back for ${card.name}`;
  return new Promise((resolve) => {
    /** @type {string|null} */
    let chosen = null;
    const choice = (/** @type {string} */ file, /** @type {Node} */ picture, /** @type {string} */ label) => el("li", {},
      el("button", { class: "back-choice", type: "button", "aria-pressed": String((card.back?.file ?? "") === file),
        on: { click: () => { chosen = file; dialog.close(); } } }, picture, el("span", { text: label })));
    need("[data-back-choices]").replaceChildren(
      ...backsOf(record).map((back) => choice(back.file, face(back, ""), back.file.replace(/^backs\//, ""))),
      choice("", blank(""), "No back"));
    dialog.addEventListener("close", () => resolve(chosen), { once: true });
    dialog.showModal();
  });
}
