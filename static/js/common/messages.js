/**
 * Messages: a status line for screen readers, and short notes that can carry one action such as Undo.
 */

import { el, icon, need } from "./dom.js";

const STAY_MS = 9000;

/**
 * Say something to those who listen to the page.
 *
 * @param {string} text
 */
export function say(text) {
  const live = need("#live");
  live.textContent = "";
  // A new text node after the clearing has been noticed, so that the same words are said again.
  requestAnimationFrame(() => { live.textContent = text; });
}

/**
 * Show a note at the edge of the page. It stays while it has focus or the pointer.
 *
 * @param {string} text
 * @param {{action?: string, act?: () => void, tone?: "note"|"error"|"good", stay?: boolean}} [how]
 * @returns {() => void} closes it
 */
export function toast(text, { action, act, tone = "note", stay = false } = {}) {
  const close = () => { clearTimeout(timer); note.remove(); };
  const note = el("div", { class: "toast" },
    icon(tone === "error" ? "error" : tone === "good" ? "good" : "note"),
    el("p", { text }),
    action && el("button", { class: "button button-small", type: "button", text: action,
      on: { click: () => { close(); act?.(); } } }),
    el("button", { class: "button button-small button-icon", type: "button", "aria-label": "Close this message",
      on: { click: close } }, icon("close")),
  );
  let timer = 0;
  const start = () => { if (!stay) timer = setTimeout(close, STAY_MS); };
  const hold = () => clearTimeout(timer);
  for (const event of ["pointerenter", "focusin"]) note.addEventListener(event, hold);
  for (const event of ["pointerleave", "focusout"]) note.addEventListener(event, start);
  need("#toasts").append(note);
  say(text);
  start();
  return close;
}

/**
 * Tell of an error in the words that it brought along.
 *
 * @param {unknown} error
 */
export function tellError(error) {
  if (error instanceof DOMException && error.name === "AbortError") return;
  const { plain, message = "Something went wrong.", fix = "" } = /** @type {any} */ (error) ?? {};
  toast(`${plain ?? message} ${fix}`.trim(), { tone: "error", stay: true });
}

/**
 * A notice that stays on the page: icon, words, and what to do.
 *
 * @param {"error"|"warning"|"note"|"good"} tone
 * @param {string} message
 * @param {string} [fix]
 * @param {Node} [extra]
 */
export function notice(tone, message, fix = "", extra) {
  return el("div", { class: "notice", data: { tone } }, icon(tone),
    el("div", { class: "notice-body" }, el("p", { text: message }), fix && el("p", { class: "soft", text: fix })), extra);
}
