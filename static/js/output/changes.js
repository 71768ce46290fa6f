/**
 * What changed between two versions, card by card, in pictures and words.
 */

import { thumbUrl } from "../common/api.js";
import { counted, el, need } from "../common/dom.js";

/** @typedef {import("../common/types.js").ChangesOut} Changes */
/** @typedef {import("../common/types.js").CountedCard} Card */
/** @typedef {import("../common/types.js").ChangedCard} Changed */

/** @param {string|null} key */
const picture = (key) => key && el("img", { src: thumbUrl(key), alt: "", loading: "lazy", decoding: "async" });

/**
 * @param {string|null} key
 * @param {string} says
 * @param {boolean} [differs]
 */
function face(key, says, differs = false) {
  return el("div", { class: "change-face", data: differs ? { differs: "" } : {} },
    el("span", { class: key ? "card-face" : "card-face card-blank" }, picture(key) || "blank"), el("span", { text: says }));
}

/** One picture over the other. @param {string|null} old @param {string|null} now */
function both(old, now) {
  if (!old || !now) return null;
  return el("div", { class: "change-face" }, el("span", { class: "card-face change-both" }, picture(old), picture(now)),
    el("span", { text: "What differs" }));
}

/** @param {Card} card @param {boolean} copies */
const alone = (card, copies) => el("li", {},
  el("div", { class: "change-faces" }, face(card.front, "Front"), card.back && face(card.back, "Back")),
  el("span", { class: "change-name", text: copies ? `${card.copies} × ${card.name}` : card.name }));

/** @param {Changed} change */
function changed({ old, new: now, what, differs_percent: percent }) {
  const says = what.map((one) => one === "copies" ? `${counted(old.copies, "copy", "copies")} before, ${now.copies} now`
    : one === "front" ? "front changed" : "back changed");
  const name = old.name === now.name ? now.name : `${old.name}, now ${now.name}`;
  const sides = what.filter((one) => one !== "copies");
  const row = (/** @type {"front"|"back"} */ side) => el("div", { class: "change-faces" },
    face(old[side], "Before", true), face(now[side], "Now", true), both(old[side], now[side]));
  return el("li", {},
    ...(sides.length ? sides.map((side) => row(/** @type {"front"|"back"} */ (side))) : [el("div", { class: "change-faces" }, face(now.front, "Front"))]),
    el("span", { class: "change-name", text: name }),
    el("span", { class: "soft measure", text: says.join(", ") + (percent === null ? "" : `; pictures differ by ${percent < .01 ? "less than 0.01" : percent} %`) }));
}

/** @param {string} title @param {HTMLElement[]} cards */
const part = (title, cards) => (cards.length
  ? [el("div", { class: "change-part" }, el("h3", { text: title }), el("ul", { class: "change-cards" }, ...cards))] : []);

/**
 * Have all pictures looked at that a comparison needs, and say how far that is: for a large deck it takes a while, once.
 *
 * @param {() => Promise<import("../common/types.js").Looked>} ask looks at some more
 * @param {(shown: HTMLElement[]) => boolean} show false where nobody waits for it any more
 */
export async function lookAll(ask, show) {
  show([el("p", { class: "soft", text: "Looking at the pictures" })]);
  for (let before = -1; ;) {
    const { looked, pictures } = await ask();
    if (looked >= pictures || looked <= before) return;
    before = looked;
    const going = show([el("p", { class: "soft measure", text: `Looked at ${looked} of ${counted(pictures, "picture")}` }),
      el("progress", { max: pictures, value: looked, "aria-label": "Pictures looked at" })]);
    if (!going) return;
  }
}

/** @param {Changes} changes @returns {HTMLElement[]} */
export function comparison(changes) {
  const parts = [
    ...part(`Changed, ${counted(changes.changed.length, "card")}`, changes.changed.map(changed)),
    ...part(`New, ${counted(changes.added.length, "card")}`, changes.added.map((card) => alone(card, true))),
    ...part(`Gone, ${counted(changes.gone.length, "card")}`, changes.gone.map((card) => alone(card, true))),
  ];
  return parts.length ? parts : [el("p", { text: "No card differs: the same pictures, the same number of each." })];
}

/** @param {Card[]} cards */
const total = (cards) => cards.reduce((sum, { copies }) => sum + copies, 0);

/** What to do with a deck that is built already, beside its change sheets. @param {Changes} changes @returns {HTMLElement[]} */
export function swap({ take_out: out, printed, since }) {
  return [
    ...(out.length ? part(`Take ${counted(total(out), "card")} out of ${since}`, out.map((card) => alone(card, true)))
      : [el("p", { text: `No card has to leave ${since}.` })]),
    ...part(`Put ${counted(total(printed), "printed card")} in`, printed.map((card) => alone(card, true))),
  ];
}

/** @param {Changes} changes */
export function showSwap(changes) {
  const place = need("[data-swap]");
  place.hidden = !changes.take_out.length && !changes.printed.length;
  place.replaceChildren(...swap(changes));
}
