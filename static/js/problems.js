/**
 * Problems in words with an icon; grouped by how grave they are.
 */

import { counted, el, icon } from "./dom.js";

/** @typedef {import("./api.js").Problem} Problem */

const GRAVITY = /** @type {const} */ (["error", "warning", "note"]);
const HEADS = {
  error: ["thing that keeps a file out", "things that keep files out"],
  warning: ["thing that will print, but look at it", "things that will print, but look at them"],
  note: ["note, nothing to do", "notes, nothing to do"],
};

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
      el("ul", {}, ...some.map((problem) => line(problem, anchor))))];
  });
}

/**
 * @param {Problem} problem
 * @param {(file: string) => string|null} anchor
 */
function line(problem, anchor) {
  const target = problem.file ? anchor(problem.file) : null;
  return el("li", {},
    problem.file && el("span", { class: "problem-file" },
      target ? el("a", { href: `#${target}`, text: problem.file }) : problem.file),
    el("span", { text: problem.message }),
    problem.fix && el("span", { class: "soft", text: problem.fix }));
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
