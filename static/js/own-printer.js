/**
 * A playtester's own paper and flip: they shape what is shown and built here, and change nothing of the deck.
 */

import { el, need } from "./dom.js";
import { keep, recall } from "./kept.js";

/**
 * Fill the two choices in and tell of each change.
 *
 * @param {{papers: {name: string, label: string}[]}} tables
 * @param {Record<string, any>} settings the deck's own
 * @param {() => void} changed
 * @returns {() => Record<string, string>} what differs from the deck's own; empty where nothing can be chosen
 */
export function ownPrinter(tables, settings, changed) {
  if (!document.querySelector("[data-own-printer]")) return () => ({});
  const [paper, flip] = [need("[data-own-paper]"), need("[data-own-flip]")];
  const known = tables.papers.some(({ name }) => name === settings.paper);
  paper.replaceChildren(...(known ? [] : [el("option", { value: settings.paper, text: settings.paper })]),
    ...tables.papers.map(({ name, label }) => el("option", { value: name, text: label })));
  const kept = recall("own-printer") ?? {};
  paper.value = kept.paper ?? settings.paper;
  if (!paper.value) paper.value = settings.paper;
  flip.value = kept.flip ?? settings.flip;
  const chosen = () => ({ paper: paper.value, flip: flip.value });
  for (const field of [paper, flip]) {
    field.addEventListener("change", () => {
      keep("own-printer", chosen());
      changed();
    });
  }
  return () => Object.fromEntries(Object.entries(chosen()).filter(([name, value]) => value !== settings[name]));
}
