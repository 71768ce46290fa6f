/**
 * The saved printers as a choice: for a deck's settings, or for what one person prints.
 */

import { call } from "./api.js";
import { keep, recall } from "./browser-store.js";
import { el, icon } from "./dom.js";

/** @typedef {{id: string, name: string, state: "trued up"|"old"|"not trued up", paper: string, paper_label: string,
 *   flip: string, trued_up: string|null, deleted: string|null, drift: {says: string}|null,
 *   wander: {radius_mm: number|null}}} Printer */

const STATES = { "trued up": "", old: ", trued up long ago", "not trued up": ", not trued up" };

/** All printers, the deleted ones too: a deck may still name one. @returns {Promise<Printer[]>} */
export async function loadPrinters() {
  const { printers, deleted } = await call("GET", "/printers");
  return [...printers, ...deleted];
}

/** What a playtester prints on, kept in their browser. @returns {{paper?: string, flip?: string, printer?: string}} */
export const ownPrint = () => recall("own-printer") ?? {};

/** @param {{id: string, paper: string, flip: string}} printer to print on from now on */
export const keepOwn = ({ id, paper, flip }) => keep("own-printer", { paper, flip, printer: id });

/** @param {string} iso */
export const dated = (iso) => new Date(`${iso}T12:00:00`).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" });

/**
 * Fill a select in. What is chosen stays among the choices even where it has been deleted.
 *
 * @param {HTMLSelectElement} select
 * @param {Printer[]} printers
 * @param {string} none what no printer is called
 * @param {string} [chosen]
 */
export function offerPrinters(select, printers, none, chosen = select.value) {
  const offered = printers.filter(({ id, deleted }) => !deleted || id === chosen);
  select.replaceChildren(new Option(none, ""), ...offered.map(({ id, name, state, deleted }) =>
    new Option(deleted ? `${name}, deleted` : `${name}${STATES[state]}`, id)));
  if (chosen && !offered.some(({ id }) => id === chosen)) select.append(new Option("A printer that isn't kept here", chosen));
  select.value = chosen;
}

/**
 * What to know of the chosen printer, with the way to True-up.
 *
 * @param {Printer|undefined} printer
 * @param {string} trueUp the page's address
 * @param {boolean} onePass whether one pass prints everything, so that its drift doesn't count
 * @returns {(Node|string)[]}
 */
export function printerHint(printer, trueUp, onePass = false) {
  const way = (/** @type {string} */ text, id = "") => el("a", { href: `${trueUp}${id && `?${new URLSearchParams({ printer: id })}`}` }, text);
  if (onePass && !printer?.deleted) return [`${printer ? `${printer.paper_label}. Its own edges count, not the margin. ` : ""}One pass prints everything, so no drift comes between front and back.`];
  if (!printer) return ["Backs land where your printer puts them, often 1 to 2 mm off. ", way("True one up"), " and choose it here."];
  if (printer.deleted) return [icon("warning"), "It has been deleted. ", way("Restore it"), " or choose another."];
  const kind = `${printer.paper_label}, ${printer.flip.replace("-", " ")} flip. Its own edges count, not the margin.`;
  if (!printer.drift || !printer.trued_up) return [icon("warning"), el("strong", { text: "Not trued up. " }), `${kind} `, way("Read its test sheet", printer.id), "."];
  const when = `Trued up ${dated(printer.trued_up)}. ${kind}`;
  return printer.state === "old" ? [icon("warning"), el("strong", { text: "More than half a year ago: " }), `${when} `, way("Read it again", printer.id), "."]
    : [icon("good"), when];
}
