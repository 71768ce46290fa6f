/**
 * How far each distinct back may move, in words, numbers and a picture, held against the printer's wander.
 */

import { thumbUrl } from "../common/api.js";
import { counted, el, icon, need } from "../common/dom.js";

/** @typedef {{left: number|null, right: number|null, top: number|null, bottom: number|null}} Sides */

const TONES = { holds: "good", "holds barely": "warning", "will show": "error" };
const VERDICTS = { holds: "Holds", "holds barely": "Holds barely", "will show": "Will show" };
const WAYS = /** @type {const} */ (["left", "right", "top", "bottom"]);
const HEADS = { left: "left", right: "right", top: "up", bottom: "down" };

/** @param {number|null} mm */
export const mmOrNever = (mm) => (mm === null ? "never" : mm.toFixed(2));

/** @param {import("../common/types.js").LeewayOut} leeway @param {string} rule @returns {Sides} */
const sidesOf = (leeway, rule) => leeway[/** @type {"paper_shows_mm"} */ (`${rule}_mm`)];

/**
 * The numbers of one back.
 *
 * @param {import("../common/types.js").LeewayOut} leeway
 * @param {{name: string, title: string, says: string}[]} rules
 */
export function leewayTable(leeway, rules) {
  const shown = rules.filter(({ name }) => name !== "neighbour_shows"
    || WAYS.some((way) => leeway.neighbour_shows_mm[way] !== null));
  return el("table", { class: "leeway-table" },
    el("thead", {}, el("tr", {}, el("th", { scope: "col", text: "Moved, mm" }),
      ...WAYS.map((way) => el("th", { scope: "col", class: "measure", text: HEADS[way] })))),
    el("tbody", {}, ...shown.map(({ name, title }) => el("tr", {},
      el("th", { scope: "row", text: title }),
      ...WAYS.map((way) => {
        const mm = sidesOf(leeway, name)[way];
        const first = leeway.first_rule === name && leeway.first_side === way;
        return el("td", { class: `measure${first ? " first" : ""}`, text: mmOrNever(mm) });
      })))));
}

/** @param {import("../common/types.js").LeewayOut} leeway */
export function verdictTag(leeway) {
  if (!leeway.verdict) {
    return el("span", { class: "tag" }, leeway.leeway_mm === null ? "Never shows" : `${leeway.leeway_mm.toFixed(2)} mm`);
  }
  const tone = TONES[/** @type {keyof TONES} */ (leeway.verdict)];
  return el("span", { class: "tag", data: { tone } }, icon(tone), VERDICTS[/** @type {keyof VERDICTS} */ (leeway.verdict)]);
}

/** The way to a back that is drawn here, for whoever may change the deck. @returns {Node[]} */
export function makeABack() {
  const part = document.querySelector("[data-forgive-open]");
  if (!(part instanceof HTMLDetailsElement)) return [];
  return [el("a", { href: "#g-forgive", text: "Make a back", on: { click: () => { part.open = true; } } })];
}

/** @param {import("../common/types.js").LeewaysOut} answer as GET .../glow/leeway gives it */
export function showLeeways(answer) {
  need("[data-leeway-against]").textContent = answer.one_pass
    ? "One pass prints both sides, so no printer's drift or wander counts: how near to its crease you fold does, to half a millimetre with care (common practice)."
    : answer.wander_mm !== null
    ? `Held against ${answer.printer}: 19 sheets of 20 stay within ${answer.wander_mm.toFixed(2)} mm once it is trued up.`
    : answer.printer ? `How far ${answer.printer} wanders from sheet to sheet isn't known yet. True-up measures it.`
      : "No printer is chosen, so the numbers stand for themselves. A home printer drifts by 1 to 2 mm (common practice).";
  need("[data-leeway-list]").replaceChildren(...answer.backs.map((back) => el("li", { class: "leeway" },
    el("span", { class: "card-face leeway-face" }, el("img", { src: thumbUrl(back.key), alt: "", loading: "lazy" })),
    el("div", { class: "leeway-text" },
      el("div", { class: "leeway-head" }, el("h3", { class: "leeway-file", text: back.file }),
        back.leeway && verdictTag(back.leeway)),
      el("p", { class: "soft", text: cardsOf(back.cards) }),
      el("p", { text: back.leeway ? back.leeway.says : "This file can't be decoded, so nothing is known of it." }),
      back.leeway?.corners_differ && el("p", { class: "soft",
        text: "Its corners are drawn round: bare paper shows there unless the corners are cut round too." }),
      back.leeway && leewayTable(back.leeway, answer.rules)))));
  const missing = need("[data-leeway-missing]");
  missing.hidden = answer.missing.length === 0;
  if (answer.missing.length) {
    missing.replaceChildren(`${counted(answer.missing.length, "card has no back and prints", "cards have no back and print")} blank there. `, ...makeABack());
  }
  need("[data-rules]").replaceChildren(...answer.rules.map((rule) =>
    el("div", {}, el("dt", { text: rule.title }), el("dd", { text: rule.says }))));
}

/** @param {string[]} names */
function cardsOf(names) {
  const few = names.slice(0, 4).join(", ");
  return names.length > 4 ? `${counted(names.length, "card")}: ${few} and others` : few;
}
