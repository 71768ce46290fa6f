/**
 * The saved printers: a card for each, two or more side by side, and the deleted ones until they are wanted again.
 */

import { counted, el, icon, need } from "../common/dom.js";
import { shown } from "../common/units.js";
import { sized, toward, turned } from "./answer.js";
import { exportUrl } from "./server.js";

/** @typedef {import("./server.js").Printer} Printer */
/** @typedef {import("../common/units.js").Unit} Unit */

const STATES = { "trued up": ["good", "Trued up"], old: ["warning", "Trued up long ago"], "not trued up": ["warning", "Not trued up"] };
const MOST_BESIDE = 6;

/** @param {string|null} iso */
export const dated = (iso) => (iso ? new Date(`${iso}T12:00:00`).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" }) : "never");

/** @param {Printer} printer */
export function stateTag({ state }) {
  const [tone, text] = STATES[/** @type {keyof typeof STATES} */ (state)];
  return el("span", { class: "tag", data: { tone } }, icon(tone), text);
}

/** @param {Printer} printer */
export const kindOf = ({ paper_label: paper, flip, feed }) => [paper, `${flip.replace("-", " ")} flip`, feed].filter(Boolean).join(" · ");

/** @param {Printer} printer @param {Unit} unit */
const wanderOf = ({ wander }, unit) => (wander.radius_mm === null ? "not known"
  : `${shown(Math.ceil(wander.radius_mm * 100) / 100, unit)} ${unit}`);

/** @param {Printer} printer @param {Unit} unit */
function factsOf(printer, unit) {
  const { drift, sheets, trued_up: on } = printer;
  if (!drift) return "Nobody has read a test sheet of it yet.";
  const from = sheets ? `from ${counted(sheets, "sheet")}` : "entered the plain way";
  return `The back ${drift.says}. ${dated(on)}, ${from}; wander ${wanderOf(printer, unit)}.`;
}

/**
 * @param {Printer[]} printers
 * @param {string|null} open the id of the one that is worked on
 * @param {Unit} unit
 * @param {{may: (printer: Printer) => boolean, open: (printer: Printer) => void, remove: (printer: Printer) => void}} act ``may``: what isn't one's own may only be looked at
 */
export function showPrinters(printers, open, unit, act) {
  const empty = el("li", { class: "tu-none" }, el("p", { text: "No printer is kept yet." }),
    el("p", { class: "soft", text: "Start below: print the test sheet, read it, and save. Five sheets of plain paper and a window are all it takes." }));
  need("[data-printers]").replaceChildren(...(printers.length ? printers.map((printer) => el("li", { class: "tu-printer", ...(printer.id === open ? { "aria-current": "true" } : {}) },
    el("div", { class: "tu-printer-head" }, el("h3", { text: printer.name }), stateTag(printer)),
    el("p", { class: "soft", text: kindOf(printer) }),
    el("p", { text: factsOf(printer, unit) }),
    printer.confirmed && el("p", { class: "soft", text: `Confirmed ${dated(printer.confirmed.on)}: ${shown(Math.round(printer.confirmed.drift.greatest_mm * 100) / 100, unit)} ${unit} left at the worst corner.` }),
    printer.state === "old" && el("p", { class: "soft", text: "Rollers wear and paper changes: read a sheet again." }),
    el("div", { class: "row" },
      act.may(printer) && el("button", { class: "button button-small", type: "button", "aria-label": `${printer.drift ? "Open" : "True up"} ${printer.name}`, on: { click: () => act.open(printer) } }, icon("true-up"), printer.id === open ? "Open below" : printer.drift ? "Open" : "True up"),
      el("a", { class: "button button-small", href: exportUrl(printer.id), download: "", "aria-label": `Export ${printer.name}` }, icon("download"), "Export"),
      act.may(printer) && el("button", { class: "button button-small", type: "button", "aria-label": `Delete ${printer.name}`, on: { click: () => act.remove(printer) } }, icon("bin"), "Delete")))) : [empty]));
  showCompare(printers, unit);
}

/** @param {Printer[]} all @param {Unit} unit */
function showCompare(all, unit) {
  const printers = all.slice(0, MOST_BESIDE);
  need("[data-compare]").hidden = printers.length < 2;
  const none = "–";
  /** @type {[string, (printer: Printer) => string|Node][]} */
  const rows = [
    ["State", stateTag],
    ["Paper", (one) => one.paper_label],
    ["Flip", (one) => one.flip.replace("-", " ")],
    ["Tray or feed", (one) => one.feed || none],
    ["Read on", (one) => dated(one.trued_up)],
    ["Sheets read", (one) => String(one.sheets)],
    ["Drift across", (one) => (one.drift ? toward(one.drift.dx_mm, unit, "right", "left") : none)],
    ["Drift down", (one) => (one.drift ? toward(one.drift.dy_mm, unit, "low", "high") : none)],
    ["Rotation", (one) => (one.drift ? turned(one.drift.rotation_deg) : none)],
    ["Scale", (one) => (one.drift ? sized(one.drift) : none)],
    ["Worst corner", (one) => (one.drift ? `${shown(Math.round(one.drift.greatest_mm * 100) / 100, unit)} ${unit}` : none)],
    ["Wander, 19 sheets of 20", (one) => wanderOf(one, unit)],
    ["Left after True-up", (one) => (one.confirmed ? `${shown(Math.round(one.confirmed.drift.greatest_mm * 100) / 100, unit)} ${unit}` : "not confirmed")],
  ];
  need("[data-compare-table]").replaceChildren(
    el("caption", { class: "unseen", text: "Printers side by side" }),
    el("thead", {}, el("tr", {}, el("td"), ...printers.map((one) => el("th", { scope: "col", text: one.name })))),
    el("tbody", {}, ...rows.map(([label, value]) => el("tr", {}, el("th", { scope: "row", text: label }),
      ...printers.map((one) => el("td", {}, value(one)))))));
}

/** @param {Printer[]} gone @param {(printer: Printer) => void} restore */
export function showGone(gone, restore) {
  need("[data-gone]").hidden = !gone.length;
  need("[data-gone-list]").replaceChildren(...gone.map((one) => el("li", {},
    el("span", { text: one.name }), el("span", { class: "soft", text: kindOf(one) }),
    el("button", { class: "button button-small", type: "button", "aria-label": `Restore ${one.name}`, on: { click: () => restore(one) } }, icon("undo"), "Restore"))));
}
