/**
 * The answer: the drift drawn and in numbers, how far sheets differ, and which reading does not fit.
 */

import { counted, el, icon } from "../common/dom.js";
import { notice } from "../common/messages.js";
import { shown } from "../common/units.js";
import { driftPicture, factorFor } from "./drift-picture.js";
import { pretty } from "./number-field.js";

/** @typedef {import("./server.js").Fit} Fit */
/** @typedef {import("./server.js").Drift} Drift */
/** @typedef {import("../common/units.js").Unit} Unit */

/** @param {number} mm @param {Unit} unit */
const length = (mm, unit) => (unit === "in" ? `${(Math.abs(mm) / 25.4).toFixed(4)} in` : `${Math.abs(mm).toFixed(2)} mm`);

/** @param {number} mm @param {Unit} unit @param {string} ahead @param {string} behind */
export const toward = (mm, unit, ahead, behind) => (Math.abs(mm) < 0.005 ? `0 ${unit}` : `${length(mm, unit)} ${mm > 0 ? ahead : behind}`);

/** @param {number} degrees */
export const turned = (degrees) => (Math.abs(degrees) < 0.005 ? "0°" : `${Math.abs(degrees).toFixed(2)}° ${degrees > 0 ? "clockwise" : "anticlockwise"}`);

/** @param {Drift} drift */
export const sized = ({ scale_x: x, scale_y: y }) => (Math.abs(x - y) < 5e-6 ? `${(x * 100).toFixed(2)} %` : `${(x * 100).toFixed(2)} × ${(y * 100).toFixed(2)} %`);

/** @param {Drift} drift */
const sentence = ({ says }) => `The back ${says}.`;

/** @param {Fit} fit @param {Unit} unit */
function numbers({ drift, rms_mm: rms }, unit) {
  const figure = (/** @type {string} */ value, /** @type {string} */ label) =>
    el("div", {}, el("dt", { text: label }), el("dd", { class: "measure", text: value }));
  return el("dl", { class: "dr-numbers" },
    figure(toward(drift.dx_mm, unit, "right", "left"), "dx, at the centre"),
    figure(toward(drift.dy_mm, unit, "low", "high"), "dy, at the centre"),
    figure(turned(drift.rotation_deg), "Rotation"),
    figure(sized(drift), "Scale, across × down"),
    Math.abs(drift.squareness_deg) >= 0.005 && figure(`${pretty(drift.squareness_deg.toFixed(2))}°`, "Out of square"),
    figure(length(drift.greatest_mm, unit), "Worst corner is off by"),
    rms !== null && figure(length(rms, unit), "Typical misfit of the readings"));
}

/** @param {number} factor @param {boolean} stations */
function legend(factor, stations) {
  const key = (/** @type {string} */ name, /** @type {string} */ text) => el("li", {}, el("span", { class: `dr-key dr-key-${name}`, "aria-hidden": "true" }), text);
  return el("ul", { class: "dr-legend" }, key("front", "the front"), key("back", `the back, drawn ${factor === 1 ? "true" : `${factor} times exaggerated`}`),
    key("arrow", "from where it should be to where it lands"), stations && key("read", "what was read; its line is what is left over"),
    stations && key("cross", "does not fit, left out"));
}

/** @param {Fit} fit @param {Unit} unit */
function table({ residuals }, unit) {
  const mm = (/** @type {number|null} */ value, digits = 2) => el("td", { class: "measure", text: value === null ? "–" : pretty(unit === "in" ? (value / 25.4).toFixed(4) : value.toFixed(digits)) });
  return el("details", {}, el("summary", { text: `Misfit at each station, in ${unit}` }),
    el("div", { class: "table-scroll", tabindex: "0", role: "region", "aria-label": "Misfit at each station" }, el("table", { class: "dr-table" },
      el("thead", {}, el("tr", {}, ...["Sheet", "Station", "dx read", "dy read", "dx left", "dy left"].map((text, at) =>
        el("th", { scope: "col", class: at < 2 ? "" : "measure", text })), el("th", { scope: "col" }, el("span", { class: "unseen", text: "Note" })))),
      el("tbody", {}, ...residuals.map((one) => el("tr", {}, el("th", { scope: "row", text: one.sheet }),
        el("td", { text: one.station === null ? `${shown(one.x_mm, unit)}, ${shown(one.y_mm, unit)}` : String(one.station) }),
        mm(one.dx_mm), mm(one.dy_mm), mm(one.dx_mm === null ? null : one.left_dx_mm), mm(one.dy_mm === null ? null : one.left_dy_mm),
        el("td", {}, one.suspect ? el("span", { class: "tag", data: { tone: "warning" } }, icon("warning"), "left out") : "")))))));
}

/** @param {Fit} fit @param {Unit} unit @param {(suspect: Fit["suspects"][0]) => void} mend */
function suspects({ suspects }, unit, mend) {
  return suspects.map((one) => {
    const text = (/** @type {number|null} */ mm) => (mm === null ? "not read" : pretty(shown(mm, unit)));
    const pair = (/** @type {number|null} */ dx, /** @type {number|null} */ dy) => `${text(dx)}, ${text(dy)}`;
    const fits = pair(one.dx_mm === null ? null : one.fits_dx_mm, one.dy_mm === null ? null : one.fits_dy_mm);
    const button = one.station === null ? undefined : el("button", { class: "button button-small", type: "button",
      on: { click: () => mend(one) } }, `Put in ${fits}`);
    return notice("warning", `Sheet ${one.sheet}, ${one.station === null ? "a point" : `station ${one.station}`}: ${pair(one.dx_mm, one.dy_mm)} ${unit} does not fit the others.`,
      `${fits} would (${one.why}). It is left out until then; look at the sheet once more.`, button);
  });
}

/**
 * @param {Fit} fit
 * @param {Unit} unit
 * @param {(suspect: Fit["suspects"][0]) => void} mend puts in what would fit
 */
export function answer(fit, unit, mend) {
  const factor = factorFor([fit]);
  const says = sentence(fit.drift);
  return el("div", { class: "dr-answer" },
    el("figure", { class: "dr-figure" }, driftPicture(fit, factor, `${says} Drawn ${factor} times exaggerated.`),
      el("figcaption", {}, legend(factor, fit.residuals.length > 0))),
    el("div", { class: "dr-text" },
      el("p", { class: "dr-says", text: says }),
      fit.trouble && notice("error", capital(fit.trouble.message), fit.trouble.fix),
      ...suspects(fit, unit, mend),
      numbers(fit, unit),
      ...fit.notes.map((note) => notice("warning", note)),
      notice(fit.wander.radius_mm === null || fit.wander.sheets < 5 ? "note" : "good", fit.wander.says),
      fit.residuals.length > 0 && table(fit, unit)));
}

/**
 * The drift before and what is left after, drawn to one scale.
 *
 * @param {Fit} before
 * @param {Fit} after
 * @param {Unit} unit
 * @param {(suspect: Fit["suspects"][0]) => void} mend
 */
export function beforeAndAfter(before, after, unit, mend) {
  const factor = factorFor([before]);
  const half = (/** @type {string} */ title, /** @type {Fit} */ fit) => el("figure", { class: "dr-half" },
    el("figcaption", {}, el("strong", { text: title })), driftPicture(fit, factor, `${title}: ${sentence(fit.drift)} Drawn ${factor} times exaggerated.`, before),
    el("p", { class: "dr-worst measure" }, el("span", { class: "dr-large", text: length(fit.drift.greatest_mm, unit) }), " off at the worst corner"),
    el("p", { class: "soft", text: sentence(fit.drift) }));
  const left = after.drift.greatest_mm;
  const verdict = left <= 0.3
    ? notice("good", `True to ${length(left, unit)} anywhere on the sheet.`, "A cut is seldom better than 0.3 mm, so nothing of this will show.")
    : left < before.drift.greatest_mm
      ? notice("note", `${length(left, unit)} are left at the worst corner.`, "Correct what is left as well, or read the sheet again.")
      : notice("warning", "It is no better than before.", "See that the confirming sheet was printed with the same tray and flip, and that signs are right.");
  return el("div", { class: "dr-both" }, half("Before", before), half("After", after),
    el("div", { class: "dr-text" }, verdict, after.trouble && notice("error", capital(after.trouble.message), after.trouble.fix),
      ...suspects(after, unit, mend),
      notice("note", after.wander.says), after.residuals.length > 0 && table(after, unit), el("p", { class: "hint", text: `Both are drawn ${factor} times exaggerated, ${counted(after.sheets, "sheet")} read after.` })));
}

/** @param {string} text */
export const capital = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}`;
