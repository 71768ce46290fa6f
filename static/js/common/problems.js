/**
 * Problems in words with an icon; grouped by how grave they are.
 */

import { counted, el, icon } from "./dom.js";

/** @typedef {import("./api.js").Problem} Problem */

const GRAVITY = /** @type {const} */ (["error", "warning", "note"]);
/** @type {Record<Problem["severity"], [string, string]>} */
const HEADS = {
  error: ["thing to put right", "things to put right"],
  warning: ["thing that prints, but look at it", "things that print, but look at them"],
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

/**
 * All problems as groups that open and close; errors and warnings start open.
 *
 * @param {Problem[]} problems
 * @param {(file: string) => string|null} [anchor] the id of an element that shows this file
 * @returns {HTMLElement[]}
 */
export function groups(problems, anchor = () => null) {
  return GRAVITY.flatMap((severity) => {
    const some = problems.filter((problem) => problem.severity === severity);
    if (!some.length) return [];
    return [el("details", { class: "problem-group", open: severity !== "note", data: { tone: severity } },
      el("summary", {}, icon(severity), counted(some.length, ...HEADS[severity])),
      el("ul", {}, ...sameWords(some).map((alike) => line(alike, anchor))))];
  });
}

/** Those that say the same stand together. @param {Problem[]} problems @returns {Problem[][]} */
function sameWords(problems) {
  /** @type {Map<string, Problem[]>} */
  const found = new Map();
  for (const problem of problems) {
    const words = `${problem.message}\n${problem.fix}`;
    found.set(words, [...(found.get(words) ?? []), problem]);
  }
  return [...found.values()];
}

/**
 * @param {Problem[]} alike at least one, all in the same words
 * @param {(file: string) => string|null} anchor
 */
function line(alike, anchor) {
  const [{ message, fix }] = alike;
  const files = alike.map((problem) => problem.file).filter((file) => file);
  return el("li", {},
    files.length > 0 && el("span", { class: "problem-files" }, ...files.map((file) => fileName(file ?? "", anchor))),
    el("span", { text: message }),
    fix && el("span", { class: "soft", text: fix }));
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
 * The problems of one card, short, for beside it.
 *
 * @param {Problem[]} problems
 * @returns {HTMLElement[]}
 */
export const besideCard = (problems) => problems.map((problem) => el("li", { data: { tone: problem.severity } },
  icon(problem.severity),
  el("span", {}, el("span", { class: "unseen", text: `${problem.severity}: ` }), problem.message),
  problem.fix && el("span", { class: "soft", text: problem.fix })));
