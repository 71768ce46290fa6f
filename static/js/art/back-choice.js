/**
 * The dialog in which cards are given another back: any art of the deck, any page of a PDF, by its picture.
 */

import { el, need } from "../common/dom.js";
import { makeBackUrl } from "../common/problems.js";
import { blank, face } from "./card-tile.js";

/** @typedef {import("../common/api.js").DeckRecord} DeckRecord */
/** @typedef {{file: string, key: string}} ArtName */

const MOST_SHOWN = 120;
const NAMES = new Intl.Collator(undefined, { numeric: true });
/** @type {(one: ArtName, other: ArtName) => number} */
const byName = (one, other) => NAMES.compare(one.file, other.file);

/** Every art of the deck, pages of PDFs one by one. @param {DeckRecord} record @returns {ArtName[]} */
export function allArt(record) {
  return record.files.flatMap((file) => file.pages > 1
    ? Array.from({ length: file.pages }, (_, page) => ({ file: `${file.path}#${page + 1}`, key: `${file.key}#${page}` }))
    : file.pages === 1 ? [{ file: file.path, key: file.kind === "pdf" || file.kind === "svg" ? `${file.key}#0` : file.key }] : []);
}

/**
 * What will most likely be a back: those in use, the most used first; then art that is no front.
 *
 * @param {DeckRecord} record
 * @returns {ArtName[]}
 */
export function backsOf(record) {
  /** @type {Map<string, {art: ArtName, count: number}>} */
  const used = new Map();
  for (const { back } of record.cards) if (back) used.set(back.file, { art: back, count: (used.get(back.file)?.count ?? 0) + 1 });
  const fronts = new Set(record.cards.map((card) => card.front.file));
  const rest = allArt(record).filter(({ file }) => !used.has(file) && !fronts.has(file) && !record.out.includes(file)).sort(byName);
  return [...[...used.values()].sort((one, other) => other.count - one.count).map(({ art }) => art), ...rest];
}

/**
 * Ask for a back. Resolves with the art's label, "" for none, or null where nothing was chosen.
 *
 * @param {{name: string, back: {file: string}|null}} card
 * @param {DeckRecord} record
 * @returns {Promise<string|null>}
 */
export function chooseBack(card, record) {
  const dialog = /** @type {HTMLDialogElement} */ (need("[data-backs-dialog]"));
  const find = /** @type {HTMLInputElement} */ (need("[data-backs-find]"));
  const likely = backsOf(record);
  const known = new Set(likely.map(({ file }) => file));
  const all = [...likely, ...allArt(record).filter(({ file }) => !known.has(file)).sort(byName)];
  need("[data-backs-title]").textContent = `A back for ${card.name}`;
  find.value = "";
  return new Promise((resolve) => {
    /** @type {string|null} */
    let chosen = null;
    const choice = (/** @type {string} */ file, /** @type {Node} */ picture, /** @type {string} */ label) => el("li", {},
      el("button", { class: "back-choice", type: "button", "aria-pressed": String((card.back?.file ?? "") === file),
        on: { click: () => { chosen = file; dialog.close(); } } }, picture, el("span", { text: label })));
    const show = () => {
      const wanted = find.value.trim().toLowerCase();
      const found = all.filter(({ file }) => file.toLowerCase().includes(wanted));
      need("[data-back-choices]").replaceChildren(
        ...(wanted ? [] : [choice("", blank(""), "No back")]),
        ...found.slice(0, MOST_SHOWN).map((back) => choice(back.file, face(back, ""), back.file.replace(/^backs\//, ""))));
      need("[data-backs-more]").textContent = found.length > MOST_SHOWN
        ? `${found.length - MOST_SHOWN} more; type a part of the name to find one.` : "";
    };
    /** @type {HTMLAnchorElement} */ (need("[data-make-back]")).href = makeBackUrl(record.id);
    find.oninput = show;
    show();
    dialog.addEventListener("close", () => resolve(chosen), { once: true });
    dialog.showModal();
  });
}
