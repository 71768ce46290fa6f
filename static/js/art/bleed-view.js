/**
 * A card's bleed, looked at and chosen: both faces as the sheet draws them, each edge in words, and the ways to make it,
 * for one card, the selected, or the deck.
 */

import { api, ApiError } from "../common/api.js";
import { counted, drawing, el, need } from "../common/dom.js";
import { notice, say } from "../common/messages.js";

/** @typedef {import("../common/open-deck.js").OpenDeck} OpenDeck */
/** @typedef {import("../common/types.js").BleedSeen} BleedSeen */
/** @typedef {BleedSeen["edges"]} Way */
/** @typedef {{name: string, label: string, hint: string}} Choice */

const AS_DECK = "";
// As one goes round a card with a knife.
const ROUND = /** @type {const} */ (["top", "right", "bottom", "left"]);

export class BleedView {
  /**
   * @param {OpenDeck} deck
   * @param {import("./selection.js").Selection} selection
   * @param {Choice[]} ways as the table of settings has them
   */
  constructor(deck, selection, ways) {
    this.deck = deck;
    this.selection = selection;
    this.ways = ways;
    this.dialog = /** @type {HTMLDialogElement} */ (need("[data-bleed-dialog]"));
    this.file = "";
    /** @type {AbortController|null} */
    this.asking = null;
    for (const button of this.dialog.querySelectorAll("[data-bleed-by]")) {
      button.addEventListener("click", () => this.#step(Number(/** @type {HTMLElement} */ (button).dataset.bleedBy)));
    }
    for (const input of this.dialog.querySelectorAll("[name=bleed-for]")) {
      input.addEventListener("change", () => { this.#offer(this.way); this.#see(); });
    }
    need("[data-bleed-close]").addEventListener("click", () => this.dialog.close(""));
    this.dialog.addEventListener("close", () => {
      this.asking?.abort();
      if (this.dialog.returnValue === "use") this.#use();
    });
  }

  /** The cards that can be stepped through: the selected where there are several, else all that are shown. */
  get labels() {
    const { labels, shown } = this.selection;
    return labels.length > 1 && labels.includes(this.file) ? labels : shown;
  }

  get scope() {
    return /** @type {"card"|"some"|"deck"} */ (need("[name=bleed-for]:checked", this.dialog).value);
  }

  /** The way that is marked: a name, or "" for the deck's. @returns {string} */
  get way() {
    return this.dialog.querySelector("[name=bleed-way]:checked") ? need("[name=bleed-way]:checked", this.dialog).value : AS_DECK;
  }

  /** @param {string} file the card's label @param {"card"|"some"} [scope] */
  open(file, scope = "card") {
    this.file = file;
    const some = this.selection.labels;
    need("[data-bleed-some]").hidden = some.length < 2;
    need("[data-bleed-some-label]").textContent = `${some.length} selected`;
    need(`[name=bleed-for][value=${scope === "some" && some.length < 2 ? "card" : scope}]`, this.dialog).checked = true;
    this.dialog.returnValue = "";
    need("[data-bleed-faces]").replaceChildren();
    this.#offer(this.#own());
    this.#see();
    this.dialog.showModal();
  }

  /** What the card, or the deck, has now. @returns {string} */
  #own() {
    return this.scope === "deck" ? this.deck.settings.edges : this.deck.value(`bleed/${this.file}`) ?? AS_DECK;
  }

  /** @param {number} by */
  #step(by) {
    const { labels } = this;
    this.file = labels[(labels.indexOf(this.file) + by + labels.length) % labels.length];
    if (this.scope === "card") this.#offer(this.#own());
    this.#see();
  }

  /** The ways as a list to choose from. @param {string} chosen */
  #offer(chosen) {
    const { edges } = this.deck.settings;
    const named = new Map(this.ways.map((way) => [way.name, way]));
    const whole = this.scope === "deck";
    if (whole && chosen === AS_DECK) chosen = edges;
    const all = whole ? this.ways : [{ name: AS_DECK, label: "As the deck", hint: named.get(edges)?.label ?? "" }, ...this.ways];
    need("[data-bleed-ways]").replaceChildren(...all.map(({ name, label, hint }) => el("label", { class: "tick" },
      el("input", { type: "radio", name: "bleed-way", value: name, checked: name === chosen, on: { change: () => this.#see() } }),
      el("span", {}, label, el("span", { class: "hint", text: ` ${hint}` })))));
    const some = this.selection.labels.length;
    need("[data-bleed-use]").textContent = whole ? "Use for the whole deck"
      : this.scope === "some" ? `Use for ${counted(some, "card")}` : "Use for this card";
    const own = this.#ownWays();
    need("[data-bleed-for-hint]").textContent = !whole ? "" : own.length
      ? `${counted(own.length, "card has a way of its own", "cards have ways of their own")}, which this takes back.`
      : "The setting of the Sheet page, Where art has no bleed.";
  }

  /** Cards that make their bleed otherwise than the deck. */
  #ownWays() {
    return this.deck.view.cards.filter(({ bleed }) => bleed).map(({ file }) => file);
  }

  /** Ask for the picture as it would be. */
  async #see() {
    this.asking?.abort();
    const asking = new AbortController();
    this.asking = asking;
    const { way } = this;
    const place = need("[data-bleed-faces]");
    need("[data-bleed-card]").textContent = this.deck.view.cards.find(({ file }) => file === this.file)?.name ?? this.file;
    need("[data-bleed-steps]").hidden = this.labels.length < 2;
    place.setAttribute("aria-busy", "true");
    const ask = this.scope === "deck" ? { bleed: null, edges: /** @type {Way} */ (way) } : { bleed: /** @type {Way|null} */ (way || null) };
    try {
      const seen = await api.bleed(this.deck.id, { card: this.file, ...ask }, asking.signal);
      place.replaceChildren(...seen.faces.map((face) => this.#face(face, seen)));
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return;
      const { plain, fix } = error instanceof ApiError ? error : new ApiError("The card could not be drawn.");
      place.replaceChildren(notice("error", plain, fix));
    }
    place.removeAttribute("aria-busy");
  }

  /** @param {BleedSeen["faces"][number]} face @param {BleedSeen} seen */
  #face({ side, svg, says, edges, corner_mm: corner }, { bleed_mm: bleed }) {
    const alike = edges.every((one) => one.says === edges[0].says && one.colour === edges[0].colour);
    const swatch = (/** @type {string|null} */ colour) => {
      if (!colour) return null;
      const node = el("span", { class: "swatch", title: colour });
      node.style.background = colour;
      return node;
    };
    const row = (/** @type {string} */ name, /** @type {{says: string, colour: string|null}} */ one) =>
      el("div", {}, el("dt", { text: name }), el("dd", {}, swatch(one.colour), one.says));
    const round = ROUND.map((name) => edges.find((one) => one.side === name) ?? edges[0]);
    return el("figure", { class: "bleed-face" }, drawing(svg),
      el("figcaption", {}, el("b", { text: side === "front" ? "Front" : "Back" }),
        ` ${says.replace(/; .*/, "")}${bleed && !says.includes("of bleed") ? `, ${Number(bleed.toFixed(2))} mm of bleed` : ""}`),
      el("dl", { class: "bleed-edges" },
        ...(alike ? [row("All round", edges[0])] : round.map((one) => row(`${one.side.charAt(0).toUpperCase()}${one.side.slice(1)}`, one))),
        corner ? row("Corners", { says: `round by ${Number(corner.toFixed(1))} mm in the file; filled from beside them`, colour: null }) : null));
  }

  /** One step for all that it is for, and one undo. */
  #use() {
    const { way, scope } = this;
    if (scope === "deck") {
      const cards = Object.fromEntries(this.#ownWays().map((file) => [file, { bleed: null }]));
      say("The whole deck makes its bleed so.");
      return this.deck.save({ settings: { edges: way }, cards });
    }
    const files = scope === "some" ? this.selection.labels : [this.file];
    say(`${counted(files.length, "card makes", "cards make")} bleed so.`);
    return this.deck.save({ cards: Object.fromEntries(files.map((file) => [file, { bleed: /** @type {Way|null} */ (way || null) }])) });
  }
}
