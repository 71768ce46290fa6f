/**
 * The Desk: recent decks, samples, the bin.
 */

import { api, thumbUrl } from "../common/api.js";
import { counted, el, icon, need, ready, sized } from "../common/dom.js";
import { lastDeck, showDeck } from "../common/frame.js";
import { say, tellError, toast } from "../common/messages.js";

/** @typedef {import("../common/api.js").DeckSummary} DeckSummary */

const FAN = 3;
const TESTER = document.body.dataset.role === "playtester";

/** @param {string} id @param {string} [page] */
const deckHref = (id, page = "art") => `/decks/${encodeURIComponent(id)}/${page}`;

/**
 * When, as people say it.
 *
 * @param {string} iso
 */
function ago(iso) {
  const then = new Date(iso);
  const seconds = (Date.now() - then.getTime()) / 1000;
  if (!Number.isFinite(seconds)) return "";
  if (seconds < 60) return "just now";
  const format = new Intl.RelativeTimeFormat("en-GB", { numeric: "auto" });
  if (seconds < 3600) return format.format(-Math.floor(seconds / 60), "minute");
  if (seconds < 86400) return format.format(-Math.floor(seconds / 3600), "hour");
  if (seconds < 86400 * 14) return format.format(-Math.floor(seconds / 86400), "day");
  return then.toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" });
}

/** @param {DeckSummary} deck */
function fan(deck) {
  const keys = (deck.thumbs ?? (deck.thumb ? [deck.thumb] : [])).slice(0, FAN);
  const faces = Array.from({ length: FAN }, (_, place) => {
    // The one picture that is always there goes on top, at the right.
    const key = keys[keys.length - (FAN - place)];
    return el("span", { class: key ? "card-face" : "card-face card-blank" },
      key && el("img", { src: thumbUrl(key), alt: "", loading: "lazy", decoding: "async" }));
  });
  return el("div", { class: "fan", "aria-hidden": "true" }, ...faces);
}

/** Playtesters start at what was released, or look at the cards. @param {DeckSummary} deck */
const firstPage = (deck) => TESTER ? (deck.version ? "output" : "glow") : deck.cards ? "sheet" : "art";

/** @param {DeckSummary} deck */
function deckCard(deck) {
  const facts = deck.cards ? counted(deck.cards, "card") : deck.files ? counted(deck.files, "file") : "No art yet";
  return el("li", { class: "deck-card" }, fan(deck),
    el("div", { class: "deck-text" },
      el("a", { class: "deck-link", href: deckHref(deck.id, firstPage(deck)), text: deck.name }),
      el("p", { class: "deck-facts measure" }, facts, " · ", el("time", { dateTime: deck.updated, text: ago(deck.updated) }),
        deck.version && el("span", { class: "deck-version", title: TESTER ? "The newest release" : "The latest version that is kept" }, " · ", deck.version)),
      el("div", { class: "deck-tools" },
        el("button", { class: "button button-quiet button-small", type: "button", title: "Keep a version",
          "aria-label": `Keep a version of ${deck.name}`, on: { click: (/** @type {MouseEvent} */ event) => askVersion(deck, event) } }, icon("plus"), "Version"),
        el("button", { class: "button button-quiet button-icon", type: "button", title: "Move to the bin",
          "aria-label": `Move ${deck.name} to the bin`, on: { click: () => toBin(deck) } }, icon("bin")))));
}

/** Ask in the deck's own card what the version is called. @param {DeckSummary} deck @param {MouseEvent} event */
function askVersion(deck, { currentTarget }) {
  const opener = /** @type {HTMLElement} */ (currentTarget);
  const card = /** @type {HTMLElement} */ (opener.closest(".deck-card"));
  const close = () => { card.querySelector("form")?.remove(); opener.focus(); };
  if (card.querySelector("form")) return close();
  const field = el("input", { class: "input", type: "text", autocomplete: "off", "aria-label": `Version of ${deck.name}`, placeholder: "0.3, Tuesday group", maxlength: 120, required: true });
  card.append(el("form", { class: "deck-keep", on: {
    keydown: (/** @type {KeyboardEvent} */ { key }) => { if (key === "Escape") close(); },
    submit: async (/** @type {Event} */ submitted) => {
      submitted.preventDefault();
      try {
        const { name } = await api.keepVersion(deck.id, /** @type {HTMLInputElement} */ (field).value, null);
        await show();
        toast(`${name} of ${deck.name} is kept.`);
      } catch (error) {
        tellError(error);
      }
    },
  } }, field, el("button", { class: "button button-small", type: "submit", text: "Keep" })));
  field.focus();
}

/** @param {DeckSummary} deck */
async function toBin(deck) {
  try {
    await api.bin(deck.id);
    if (lastDeck()?.id === deck.id) showDeck(null);
    await show();
    need("#decks-title").closest("section").hidden || need("#new-name").focus();
    toast(`${deck.name} is in the bin.`, { action: "Undo", act: () => restore(deck) });
  } catch (error) {
    tellError(error);
  }
}

/** @param {DeckSummary} deck */
async function restore(deck) {
  try {
    await api.step(deck.id, "restore");
    await show();
    say(`${deck.name} is back on the desk.`);
  } catch (error) {
    tellError(error);
  }
}

/** @param {DeckSummary} deck */
const binned = (deck) => el("li", {},
  el("span", { class: "bin-name", text: deck.name }),
  el("span", { class: "soft", text: deck.deleted ? `put away ${ago(deck.deleted)}` : "" }),
  el("button", { class: "button button-small", type: "button", "aria-label": `Restore ${deck.name}`,
    on: { click: () => restore(deck) } }, icon("undo"), "Restore"));

async function show() {
  const { decks, bin, storage } = await api.decks();
  need("[data-decks]").replaceChildren(...decks.map(deckCard));
  need("[data-decks-section]").hidden = !decks.length;
  need("[data-start]").toggleAttribute("data-small", decks.length > 0);
  need("[data-bin]").replaceChildren(...bin.map(binned));
  need("[data-bin-section]").hidden = !bin.length;
  need("[data-bin-title]").textContent = `Bin, ${counted(bin.length, "deck")}`;
  need("[data-storage]").textContent = !storage.bytes ? ""
    : `${counted(storage.decks, "deck")}, ${sized(storage.bytes)} of art kept on ${document.body.dataset.role === "host" ? "this" : "the host's"} machine`;
  const last = lastDeck();
  const open = last && decks.find((deck) => deck.id === last.id);
  showDeck(open ? { id: open.id, name: open.name } : null);
}

async function showSamples() {
  const { demos } = await api.demos();
  need("[data-samples-section]").hidden = !demos.length;
  need("[data-samples]").replaceChildren(...demos.map((demo) => {
    const button = el("button", { class: "button", type: "button", "aria-label": `Open the sample ${demo.name}`,
      on: { click: () => open(button, () => api.openDemo(demo.which), "sheet") } }, "Open");
    return el("li", { class: "sample" }, el("h3", { text: demo.name }), el("p", { text: demo.says }), button);
  }));
}

/**
 * Make a deck and go there.
 *
 * @param {any} button
 * @param {() => Promise<{id: string}>} make
 * @param {string} page
 */
async function open(button, make, page) {
  button.disabled = true;
  try {
    const deck = await make();
    location.assign(deckHref(deck.id, page));
  } catch (error) {
    button.disabled = false;
    tellError(error);
  }
}

need("[data-new]").addEventListener("submit", (/** @type {SubmitEvent} */ event) => {
  event.preventDefault();
  const name = need("#new-name").value.trim();
  if (name) open(event.submitter, () => api.create(name), "art");
});
// Coming back by the browser's own button shows what changed since.
window.addEventListener("pageshow", (event) => { if (event.persisted) show().catch(tellError); });

ready();
show().catch(tellError);
showSamples().catch(tellError);
