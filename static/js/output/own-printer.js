/**
 * A playtester's own paper, printer and flip: they shape what is shown and built here, and change nothing of the deck.
 */

import { el, need } from "../common/dom.js";
import { keep } from "../common/browser-store.js";
import { offerPrinters, ownPrint } from "../common/printer-choice.js";

/**
 * Fill the two choices in and tell of each change.
 *
 * @param {{papers: {name: string, label: string}[]}} tables
 * @param {import("../common/printer-choice.js").Printer[]} printers
 * @param {Record<string, any>} settings the deck's own
 * @param {() => void} changed
 * @returns {() => Record<string, string>} what differs from the deck's own; empty where nothing can be chosen
 */
export function ownPrinter(tables, printers, settings, changed) {
  if (!document.querySelector("[data-own-printer]")) return () => ({});
  const [paper, flip, printer] = [need("[data-own-paper]"), need("[data-own-flip]"), need("[data-own-printer-name]")];
  const known = tables.papers.some(({ name }) => name === settings.paper);
  paper.replaceChildren(...(known ? [] : [el("option", { value: settings.paper, text: settings.paper })]),
    ...tables.papers.map(({ name, label }) => el("option", { value: name, text: label })));
  const kept = ownPrint();
  if (kept.paper && !Array.from(paper.options).some(({ value }) => value === kept.paper)) paper.add(new Option(printers.find(({ id }) => id === kept.printer)?.paper_label ?? kept.paper, kept.paper));
  paper.value = kept.paper ?? settings.paper;
  if (!paper.value) paper.value = settings.paper;
  flip.value = kept.flip ?? settings.flip;
  // Their own printer isn't the deck's: without a choice of theirs nothing is corrected.
  const there = printers.filter(({ deleted }) => !deleted);
  offerPrinters(printer, there, "Any, not corrected", there.some(({ id }) => id === kept.printer) ? kept.printer : "");
  const chosen = () => ({ paper: paper.value, flip: flip.value, printer: printer.value });
  for (const field of [paper, flip, printer]) {
    field.addEventListener("change", () => {
      const own = there.find(({ id }) => field === printer && id === printer.value);
      if (own) {
        if (!Array.from(paper.options).some(({ value }) => value === own.paper)) paper.add(new Option(own.paper_label, own.paper));
        [paper.value, flip.value] = [own.paper, own.flip];
      }
      keep("own-printer", chosen());
      changed();
    });
  }
  return () => Object.fromEntries(Object.entries(chosen()).filter(([name, value]) => value !== settings[name]));
}
