/**
 * What every page of a deck has at its head: the state of saving, undo and redo.
 */

import { icon, need } from "./dom.js";
import { showDeck } from "./frame.js";
import { say } from "./messages.js";

/** @typedef {import("./open-deck.js").OpenDeck} OpenDeck */

const SAYS = { saved: "Saved", saving: "Saving", waiting: "Not saved yet, trying again", failed: "Not saved" };

/**
 * Bind the head's parts, where the page has them.
 *
 * @param {OpenDeck} deck
 */
export function bindHead(deck) {
  const state = document.querySelector("[data-save-state]");
  const undo = /** @type {HTMLButtonElement|null} */ (document.querySelector("[data-undo]"));
  const redo = /** @type {HTMLButtonElement|null} */ (document.querySelector("[data-redo]"));

  const show = () => {
    if (undo) undo.disabled = !deck.record.can_undo;
    if (redo) redo.disabled = !deck.record.can_redo;
    showDeck(deck.record);
  };
  const showState = () => {
    if (!(state instanceof HTMLElement)) return;
    state.dataset.state = deck.state;
    state.replaceChildren(
      icon(deck.state === "failed" ? "error" : deck.state === "waiting" ? "warning" : deck.state === "saved" ? "good" : "retry"),
      document.createTextNode(SAYS[deck.state]),
    );
    state.title = deck.why;
  };
  undo?.addEventListener("click", async () => { await deck.step("undo"); say("Undone."); });
  redo?.addEventListener("click", async () => { await deck.step("redo"); say("Done again."); });
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || isTyping(event.target)) return;
    const key = event.key.toLowerCase();
    const what = key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : "";
    if (!what || !(what === "undo" ? deck.record.can_undo : deck.record.can_redo)) return;
    event.preventDefault();
    deck.step(/** @type {"undo"|"redo"} */ (what));
  });
  deck.addEventListener("record", show);
  deck.addEventListener("save", showState);
  show();
  showState();
}

/**
 * The deck's name as an editable title.
 *
 * @param {OpenDeck} deck
 */
export function bindTitle(deck) {
  const field = /** @type {HTMLInputElement} */ (need("[data-title]"));
  const show = () => { if (document.activeElement !== field) field.value = deck.view.name; };
  field.addEventListener("change", () => {
    const name = field.value.trim();
    if (!name) field.value = deck.record.name;
    else if (name !== deck.view.name) deck.save({ name });
  });
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter") field.blur();
    if (event.key === "Escape") { field.value = deck.record.name; field.blur(); }
  });
  deck.addEventListener("record", show);
  show();
}

/** A field has its own undo; the deck's must not steal it. @param {EventTarget|null} target */
function isTyping(target) {
  return target instanceof HTMLTextAreaElement
    || (target instanceof HTMLInputElement && !["checkbox", "radio", "button", "range"].includes(target.type));
}
