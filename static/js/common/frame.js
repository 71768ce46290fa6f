/**
 * The frame of every page: keeps the open deck in the rail, and says why a page waits for one.
 */

import { forget, keep, recall } from "./browser-store.js";
import { toast } from "./messages.js";

const PAGES = ["art", "sheet", "glow", "true-up", "output"];

/**
 * Point the rail at a deck.
 *
 * @param {{id: string, name: string}|null} deck
 */
export function showDeck(deck) {
  const label = document.querySelector(".rail-deck");
  const name = document.querySelector("[data-deck-name]");
  if (label instanceof HTMLElement) label.hidden = !deck;
  if (name instanceof HTMLAnchorElement && deck) {
    name.textContent = deck.name;
    name.href = `/decks/${encodeURIComponent(deck.id)}/${document.body.dataset.role === "playtester" ? "glow" : "art"}`;
  }
  for (const page of PAGES) {
    const link = document.querySelector(`[data-nav="${page}"]`);
    if (!link) continue;
    if (deck) {
      link.setAttribute("href", `/decks/${encodeURIComponent(deck.id)}/${page}`);
      link.removeAttribute("role");
      link.removeAttribute("aria-disabled");
    } else if (link.hasAttribute("data-needs-deck")) {
      link.removeAttribute("href");
      link.setAttribute("role", "link");
      link.setAttribute("aria-disabled", "true");
    }
  }
  if (deck) keep("deck", { id: deck.id, name: deck.name });
  else forget("deck");
}

/** The deck that was open last in this browser, if any. @returns {{id: string, name: string}|null} */
export const lastDeck = () => recall("deck");

const { deck: id } = document.body.dataset;
if (id) showDeck({ id, name: document.querySelector("[data-deck-name]")?.textContent?.trim() ?? "" });
else if (lastDeck()) showDeck(lastDeck());

document.addEventListener("click", (event) => {
  const link = event.target instanceof Element ? event.target.closest(".nav-link[aria-disabled]") : null;
  if (link) toast("Open a deck first; this page shows its cards.");
});
