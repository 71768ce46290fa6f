/**
 * What a plan comes to: its figures, notes, and the other ways to lay the deck out.
 */

import { counted, el, icon, need } from "./dom.js";
import { notice } from "./messages.js";

/** @typedef {import("./types.js").PlanSummary} Summary */
/** @typedef {{arrangement: string, card_turned: boolean, hinge_side: string, papers: number, cards_per_sheet: number,
 *   columns: number, rows: number, cuts: number, waste_percent: number}} Alternative */

/** @param {number} percent */
const percent = (percent) => `${percent.toFixed(percent < 10 ? 1 : 0)} %`;

/** @param {Summary} summary */
export function showFigures(summary) {
  const figure = (/** @type {string|number} */ value, /** @type {string} */ label) =>
    el("div", {}, el("dd", { class: "measure", text: String(value) }), el("dt", { text: label }));
  const { papers, cards_per_sheet: each, cards, cuts, waste_percent: waste } = summary;
  need("[data-figures]").replaceChildren(
    figure(papers, papers === 1 ? "sheet" : "sheets"),
    figure(each, each === 1 ? "card a sheet" : "cards a sheet"),
    figure(cards, cards === 1 ? "card in all" : "cards in all"),
    figure(cuts, "cuts"),
    figure(percent(waste), "waste"));
}

/** @param {{problems: import("./api.js").Problem[], notes: string[]}} answer @param {import("./problems.js").Ways} ways */
export function showNotes({ problems, notes }, ways) {
  // What concerns a file is told on the Art page; here only what concerns the sheet.
  const ours = problems.filter((problem) => !problem.file);
  const said = new Set(ours.map((problem) => problem.message));
  need("[data-notes]").replaceChildren(
    ...ours.map(({ code, severity, message, fix }) => (ways[code]
      ? notice(severity, message, "", ways[code]()) : notice(severity, message, fix))),
    ...notes.filter((note) => !said.has(note)).map((note) => notice("note", note)));
}

/**
 * @param {Alternative[]} alternatives
 * @param {Summary} summary of the plan in use
 * @param {boolean} pinned whether a person has chosen it
 * @param {(alternative: Alternative) => void} choose
 */
export function showAlternatives(alternatives, summary, pinned, choose) {
  const seen = new Set();
  // Two plans that differ only in the hinge's side can't be told apart by what a deck keeps: the better one stands.
  const distinct = alternatives.filter(({ arrangement, card_turned }) => {
    const mark = `${arrangement} ${card_turned}`;
    return !seen.has(mark) && seen.add(mark);
  });
  need("[data-alternatives-section]").hidden = distinct.length < 2 && !pinned;
  need("[data-unpin]").hidden = !pinned;
  need("[data-alternatives]").replaceChildren(...distinct.map((one) => row(one, summary, choose)));
}

/**
 * @param {Alternative} one
 * @param {Summary} summary
 * @param {(alternative: Alternative) => void} choose
 */
function row(one, summary, choose) {
  const used = one.arrangement === summary.arrangement && one.card_turned === summary.card_turned;
  const says = `${one.arrangement === "portrait" ? "Portrait" : "Landscape"} sheet, ${one.card_turned ? "card on its side" : "card upright"}`;
  const cell = (/** @type {string|number} */ text) => el("td", { class: "measure", text: String(text) });
  return el("tr", used ? { class: "used" } : {},
    el("th", { scope: "row" }, says),
    cell(`${one.columns} × ${one.rows}`), cell(one.papers), cell(one.cuts), cell(percent(one.waste_percent)),
    el("td", {}, used
      ? el("span", { class: "tag", data: { tone: "good" } }, icon("good"), "In use")
      : el("button", { class: "button button-small", type: "button", "aria-label": `Use ${says.toLowerCase()}, ${counted(one.papers, "sheet")}`,
        on: { click: () => choose(one) } }, "Use")));
}
