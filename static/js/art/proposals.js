/**
 * What pairing stands on, and pairs that are only proposed: both pictures, taken or declined as a whole.
 */

import { counted, el, need } from "../common/dom.js";
import { say } from "../common/messages.js";
import { allArt } from "./back-choice.js";
import { face } from "./card-tile.js";

/** @typedef {import("../common/open-deck.js").OpenDeck} OpenDeck */
/** @typedef {import("../common/api.js").DeckRecord} DeckRecord */

const SAMPLES = 3;

/** @param {OpenDeck} deck */
export function bindProposals(deck) {
  const show = () => {
    const { proposals, pairs } = deck.record;
    /** @type {Map<string, DeckRecord["proposals"]>} */
    const groups = new Map();
    for (const one of proposals) groups.set(one.group, [...(groups.get(one.group) ?? []), one]);
    need("[data-proposals]").replaceChildren(...[...groups.values()].map((group) => panel(deck, group)));
    need("[data-evidence]").textContent = evidence(pairs);
  };
  deck.addEventListener("record", show);
  show();
}

/** @param {DeckRecord["pairs"]} pairs */
function evidence(pairs) {
  /** @type {Map<string, number>} */
  const counts = new Map();
  for (const { why } of pairs) counts.set(why, (counts.get(why) ?? 0) + 1);
  const said = [...counts].map(([why, count]) => `${counted(count, "pair")} by ${why}`);
  return said.length > 4 ? `${said.slice(0, 4).join(" · ")} and ${said.length - 4} more` : said.join(" · ");
}

/** @param {OpenDeck} deck @param {DeckRecord["proposals"]} group */
function panel(deck, group) {
  const arts = new Map(allArt(deck.record).map((art) => [art.file, art]));
  const decline = () => {
    say("Left as they are. Undo asks again.");
    deck.save({ proposals: Object.fromEntries(group.map(({ id }) => [id, false])) });
  };
  return el("section", { class: "panel proposal", "aria-label": "Pairs that may be meant" },
    el("div", { class: "proposal-head" },
      el("h3", { text: group.length > 1 ? "How do these pair?" : "Are these pairs?" }),
      el("button", { class: "button button-small", type: "button", text: group.length > 1 ? "None of these" : "They aren't pairs",
        on: { click: decline } })),
    ...group.map((one) => el("div", { class: "proposal-way" },
      el("ul", { class: "proposal-pairs" }, ...one.pairs.slice(0, SAMPLES).map((pair) => el("li", { title: `${pair.front} with ${pair.back}` },
        ...[pair.front, pair.back].map((file, side) => {
          const art = arts.get(file);
          return art ? face(art, `${side ? "Back" : "Front"}: ${file}`) : null;
        })))),
      el("p", {}, `${counted(one.pairs.length, "pair")} by ${one.says}`),
      el("button", { class: "button button-small button-main", type: "button",
        text: one.pairs.length > 1 ? `Use these ${one.pairs.length} pairs` : "Use this pair",
        "aria-label": `Use ${counted(one.pairs.length, "pair")} by ${one.says}`,
        on: { click: () => { say("Paired. Undo takes it back."); deck.save({ proposals: { [one.id]: true } }); } } }))));
}
