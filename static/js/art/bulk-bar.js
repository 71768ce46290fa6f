/**
 * The bar over the selected cards: back, copies, order, sides, out; each in one step.
 */

import { counted, el, icon, need } from "../common/dom.js";
import { say } from "../common/messages.js";
import { allArt, backsOf, chooseBack } from "./back-choice.js";
import { face } from "./card-tile.js";

/** @typedef {import("../common/open-deck.js").OpenDeck} OpenDeck */
/** @typedef {import("./selection.js").Selection} Selection */

const MOST_BACKS = 4;
const MOST_COPIES = 999;

/**
 * @param {OpenDeck} deck
 * @param {Selection} selection
 * @param {() => void} bleed looks at the bleed of the selected
 */
export function bindBulkBar(deck, selection, bleed) {
  const bar = need("[data-bulk]");
  const copies = /** @type {HTMLInputElement} */ (need("[data-bulk-copies]"));
  const change = (/** @type {Record<string, any>} */ values, /** @type {string} */ says) => {
    const { labels } = selection;
    say(`${counted(labels.length, "card")}: ${says}.`);
    return deck.save({ cards: Object.fromEntries(labels.map((label) => [label, values])) });
  };
  const show = () => {
    bar.hidden = !selection.chosen.size;
    document.body.toggleAttribute("data-selecting", !bar.hidden);
    need("[data-bulk-count]").textContent = counted(selection.chosen.size, "card selected", "cards selected");
  };
  const showBacks = () => need("[data-bulk-backs]").replaceChildren(
    ...backsOf(deck.record).slice(0, MOST_BACKS).map((back) => el("button", { class: "bulk-back", type: "button",
      "aria-label": `Set the back to ${back.file}`, title: back.file,
      on: { click: () => change({ back: back.file }, `the back is ${back.file}`) } }, face(back, ""))));
  selection.addEventListener("change", show);
  deck.addEventListener("record", showBacks);
  need("[data-bulk-other-back]").addEventListener("click", async () => {
    const back = await chooseBack({ name: counted(selection.chosen.size, "card"), back: null }, deck.record);
    if (back !== null) await change({ back }, back ? `the back is ${back}` : "no back");
  });
  const set = () => {
    const number = Math.round(Number(copies.value));
    if (copies.value.trim() && number >= 0 && number <= MOST_COPIES) change({ copies: number }, counted(number, "copy", "copies"));
  };
  copies.addEventListener("change", set);
  need("[data-bulk-swap]").addEventListener("click", () => {
    const cards = selection.labels.map((label) => [label, { swapped: !isSwapped(deck, label) }]);
    say(`${counted(cards.length, "card")}: sides swapped.`);
    deck.save({ cards: Object.fromEntries(cards) });
  });
  need("[data-bulk-bleed]").addEventListener("click", bleed);
  need("[data-bulk-out]").addEventListener("click", () => {
    takeOut(deck, selection.labels);
    selection.clear();
  });
  for (const button of bar.querySelectorAll("[data-move]")) {
    button.addEventListener("click", () => moveCards(deck, selection.labels, button.dataset.move));
  }
  need("[data-bulk-clear]").addEventListener("click", () => selection.clear());
  show();
  showBacks();
}

/** A card whose front is another than the one it goes by. @param {OpenDeck} deck @param {string} label */
const isSwapped = (deck, label) => deck.record.cards.some((card) => card.file === label && card.front.file !== label);

/** @param {OpenDeck} deck @param {string[]} labels */
export function takeOut(deck, labels) {
  say(`${counted(labels.length, "card")} taken out. Undo brings it back.`);
  return deck.save({ cards: Object.fromEntries(labels.map((label) => [label, { out: true }])) });
}

/**
 * Move cards among the others, keeping their own order.
 *
 * @param {OpenDeck} deck
 * @param {string[]} labels
 * @param {string|undefined} where "first", "earlier", "later", "last", or the label of the card to stand before
 */
export function moveCards(deck, labels, where) {
  const moved = new Set(labels);
  const all = deck.record.cards.map((card) => card.file);
  const rest = all.filter((label) => !moved.has(label));
  const before = (/** @type {string} */ label) => rest.findIndex((one) => all.indexOf(one) > all.indexOf(label));
  /** @type {Record<string, () => number>} */
  const ways = { first: () => 0, last: () => rest.length,
    earlier: () => Math.max(0, all.indexOf(labels[0]) - 1),
    later: () => {
      const next = before(labels[labels.length - 1]);
      return next < 0 ? rest.length : next + 1;
    } };
  const at = ways[where ?? ""]?.() ?? (rest.includes(where ?? "") ? rest.indexOf(where ?? "") : rest.findIndex(
    (label) => all.indexOf(label) > all.indexOf(where ?? "")));
  if (at < 0) return moveCards(deck, labels, "last");
  const order = [...rest.slice(0, at), ...labels, ...rest.slice(at)];
  if (order.every((label, place) => label === all[place])) return undefined;
  say(`${counted(labels.length, "card")} moved to place ${order.indexOf(labels[0]) + 1}.`);
  return deck.save({ order });
}

/**
 * Cards that were taken out, each with its picture and the way back in.
 *
 * @param {OpenDeck} deck
 */
export function showOut(deck) {
  const { out } = deck.record;
  const section = need("[data-out-section]");
  section.hidden = !out.length;
  need("[data-out-title]").textContent = `${counted(out.length, "card")} taken out`;
  const arts = new Map(allArt(deck.record).map((art) => [art.file, art]));
  need("[data-out]").replaceChildren(...out.slice(0, 200).map((file) => el("li", {},
    arts.has(file) ? face(/** @type {any} */ (arts.get(file)), "") : null, el("span", { class: "problem-file", text: file }),
    el("button", { class: "button button-small", type: "button", "aria-label": `Put ${file} in again`,
      on: { click: () => deck.save({ cards: { [file]: { out: null } } }) } }, icon("undo"), "Put in again"))));
}
