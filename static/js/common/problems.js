/**
 * Problems in words with an icon; grouped by how grave they are.
 */

import { counted, el, icon } from "./dom.js";

/** @typedef {import("./api.js").Problem} Problem */

const GRAVITY = /** @type {const} */ (["error", "warning", "note"]);
/** @type {Record<Problem["severity"], [string, string]>} */
const HEADS = {
  error: ["thing to put right", "things to put right"],
  warning: ["thing to check (it will print)", "things to check (they will print)"],
  note: ["note, nothing to do", "notes, nothing to do"],
};

/** How the art was read; the Art page says it beside each card, so it needs no line of its own. */
const READINGS = ["carries-bleed", "trim-size"];

/** Without what is said elsewhere. @param {Problem[]} problems */
export const worthALine = (problems) => problems.filter((one) => one.severity !== "note" || !READINGS.includes(one.code));

/**
 * The gravest severity in a list, or "" for an empty one.
 *
 * @param {Problem[]} problems
 */
export const gravest = (problems) => GRAVITY.find((severity) => problems.some((one) => one.severity === severity)) ?? "";

/** @typedef {Record<string, () => HTMLElement>} Ways by a problem's code: what leads out of it, in place of its words */

/**
 * The ways out that a page can offer with one click.
 *
 * @param {import("./api.js").DeckRecord} record
 * @param {(card: string) => any} useCard takes the size that the art was drawn for
 * @returns {Ways}
 */
export const waysOut = ({ id, likely_card: card }, useCard) => ({
  ...(card ? { "other-size": () => el("button", { class: "button button-small button-main", type: "button", text: `Use ${card}`,
    on: { click: () => useCard(card) } }) } : {}),
  "missing-back": () => el("span", { class: "row" }, "Add a back of the same name, or a single back for all; or",
    el("a", { class: "button button-small", href: makeBackUrl(id) }, icon("glow"), "Make a back")),
});

/** Where a back that forgives is made. @param {string} id of the deck */
export const makeBackUrl = (id) => `/decks/${encodeURIComponent(id)}/glow#g-forgive`;

/** So many causes, or files of one cause, are told at once; more are folded away behind their number. */
const AT_ONCE = 3;

/**
 * All problems as groups that open and close, by how grave they are, and in each by their cause: a cause that concerns
 * many files is one line with their number. Errors and warnings start open while their causes are few.
 *
 * @param {Problem[]} problems
 * @param {(file: string) => string|null} [anchor] the id of an element that shows this file
 * @param {Ways} [ways]
 * @returns {HTMLElement[]}
 */
export function groups(problems, anchor = () => null, ways = {}) {
  return GRAVITY.flatMap((severity) => {
    const some = problems.filter((problem) => problem.severity === severity);
    if (!some.length) return [];
    const causes = by(some, ({ code }) => code).flatMap((alike) => (alike.length > AT_ONCE ? [alike] : by(alike, words)));
    return [el("details", { class: "problem-group", open: severity !== "note" && causes.length <= AT_ONCE, data: { tone: severity } },
      el("summary", {}, icon(severity), counted(some.length, ...HEADS[severity])),
      el("ul", {}, ...causes.map((alike) => line(alike, anchor, ways))))];
  });
}

/** @param {Problem} problem */
const words = ({ message, fix }) => `${message}\n${fix}`;

/** Those of one mark stand together. @param {Problem[]} problems @param {(problem: Problem) => string} mark @returns {Problem[][]} */
function by(problems, mark) {
  /** @type {Map<string, Problem[]>} */
  const found = new Map();
  for (const problem of problems) {
    const key = mark(problem);
    const some = found.get(key);
    if (some) some.push(problem);
    else found.set(key, [problem]);
  }
  return [...found.values()];
}

/**
 * @param {Problem[]} alike at least one, all of one cause; few in the same words
 * @param {(file: string) => string|null} anchor
 * @param {Ways} ways
 */
function line(alike, anchor, ways) {
  const [{ code, message, fix }] = alike;
  const way = ways[code]?.();
  const files = alike.filter(({ file }) => file);
  const same = alike.every((problem) => words(problem) === words(alike[0]));
  const names = () => files.map((problem) => el("span", { class: "problem-file-line" }, fileName(problem.file ?? "", anchor),
    !same && el("span", { class: "soft", text: problem.message })));
  return el("li", {},
    files.length > AT_ONCE ? folded(counted(files.length, "file"), names)
      : files.length > 0 && el("span", { class: "problem-files" }, ...files.map(({ file }) => fileName(file ?? "", anchor))),
    el("span", { text: same ? message : `${message} The others are alike.` }),
    way ? el("span", { class: "problem-way soft" }, way) : fix && el("span", { class: "soft", text: fix }));
}

/** Drawn when it is opened, since there may be thousands. @param {string} head @param {() => HTMLElement[]} rows */
function folded(head, rows) {
  const list = el("div", { class: "problem-files-all", tabindex: "0", role: "group", "aria-label": head });
  const box = el("details", { class: "problem-many" }, el("summary", {}, head), list);
  box.addEventListener("toggle", () => { if (!list.childElementCount) list.replaceChildren(...rows()); }, { once: true });
  return box;
}

/**
 * @param {string} file
 * @param {(file: string) => string|null} anchor
 */
function fileName(file, anchor) {
  const target = anchor(file);
  return el("span", { class: "problem-file" }, target ? el("a", { href: `#${target}`, text: file }) : file);
}

/**
 * The problems of one card, short, for beside it; what holds of its front and its back alike is said once.
 *
 * @param {Problem[]} problems
 * @returns {HTMLElement[]}
 */
export const besideCard = (problems) => by(problems, words).map(([problem]) => el("li", { data: { tone: problem.severity } },
  icon(problem.severity),
  el("span", {}, el("span", { class: "unseen", text: `${problem.severity}: ` }), problem.message),
  problem.fix && el("span", { class: "soft", text: problem.fix })));
