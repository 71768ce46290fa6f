/**
 * Backs that forgive: choose one, see it with its leeway on this deck's sheets, and only then take it.
 */

import { ApiError } from "../common/api.js";
import { drawing, el, need, settled } from "../common/dom.js";
import { notice, say, tellError, toast } from "../common/messages.js";
import { steadily } from "../common/link.js";
import { leewayTable, verdictTag } from "./leeways.js";
import { fetchBackPdf, seeBack, sendFile } from "./server.js";

/** @typedef {import("../common/open-deck.js").OpenDeck} OpenDeck */

const SEE_AFTER_MS = 250;
const WEAK = new Set(["will show", "holds barely"]);

/** The form, its picture and its button. Fires "taken" when a back has been put into the deck. */
export class MadeBack extends EventTarget {
  /**
   * @param {OpenDeck} deck
   * @param {import("../common/types.js").BackChoices} choices as GET .../glow/backs gives them
   * @param {() => import("../common/types.js").LeewaysOut|null} leeways the latest answer about the deck's own backs
   */
  constructor(deck, choices, leeways) {
    super();
    this.deck = deck;
    this.leeways = leeways;
    this.form = /** @type {HTMLFormElement} */ (need("[data-forgive]"));
    /** @type {import("../common/types.js").BackSeen|null} */
    this.seen = null;
    this.asking = 0;
    need("[data-patterns]", this.form).replaceChildren(...choices.patterns.map(
      ({ name, label }) => new Option(label, name, name === choices.defaults.pattern, name === choices.defaults.pattern)));
    const see = settled(() => this.see(), SEE_AFTER_MS);
    this.form.addEventListener("input", () => { this.#mode(); see(); });
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.take(); });
    for (const button of this.form.querySelectorAll("[data-by]")) {
      button.addEventListener("click", () => {
        const field = need("[name=buffer_mm]", this.form);
        const value = Number(field.value.replace(",", ".")) || 0;
        field.value = String(Math.max(0, Number((value + Number(/** @type {HTMLElement} */ (button).dataset.by)).toFixed(2))));
        see();
      });
    }
    this.#mode();
  }

  get ask() {
    const values = Object.fromEntries(new FormData(this.form));
    const { finish, pattern, ground, ink, title, buffer_mm } = /** @type {Record<string, string>} */ (values);
    const buffer = Number(buffer_mm.replace(",", "."));
    return { finish, pattern, ground, ink, title, buffer_mm: Number.isFinite(buffer) ? buffer : 2 };
  }

  #mode() {
    need("[data-when-inset]", this.form).hidden = this.ask.finish !== "inset";
  }

  /** Ask for the picture and the leeway of what is chosen; an older answer is dropped. */
  async see() {
    const mine = ++this.asking;
    const place = need("[data-forgive-seen]");
    place.setAttribute("aria-busy", "true");
    try {
      const seen = await seeBack(this.deck.id, this.ask);
      if (mine !== this.asking) return;
      this.seen = seen;
      this.#show(seen);
    } catch (error) {
      if (mine !== this.asking) return;
      this.seen = null;
      const { message = "This back could not be drawn.", fix = "" } = error instanceof ApiError ? error : {};
      need("[data-forgive-leeway]").replaceChildren(notice("error", message, fix));
    }
    place.removeAttribute("aria-busy");
    need("[data-forgive-take]").disabled = !this.seen;
  }

  /** @param {import("../common/types.js").BackSeen} seen */
  #show(seen) {
    const picture = drawing(seen.svg);
    picture.setAttribute("aria-label", "The back with its bleed");
    need("[data-forgive-picture]").replaceChildren(picture);
    const rules = this.leeways()?.rules ?? [];
    need("[data-forgive-leeway]").replaceChildren(
      el("p", {}, verdictTag(seen.leeway), " ", seen.leeway.says), leewayTable(seen.leeway, rules));
  }

  /** The fronts whose cards get it. @returns {string[]} */
  fronts() {
    const whom = String(new FormData(this.form).get("whom") ?? "missing");
    const weak = new Set((this.leeways()?.backs ?? [])
      .filter(({ leeway }) => leeway && (leeway.verdict ? WEAK.has(leeway.verdict) : (leeway.leeway_mm ?? 9) < 2))
      .map(({ key }) => key));
    return this.deck.record.cards
      .filter((card) => whom === "all" || !card.back || (whom === "weak" && weak.has(card.back.key)))
      .map((card) => card.file);
  }

  async take() {
    const fronts = this.fronts();
    if (!fronts.length) {
      toast("No card would get it: every card has a back. Choose other cards.");
      return;
    }
    const { seen } = this;
    if (!seen) return;
    need("[data-forgive-take]").disabled = true;
    try {
      const path = this.#freeName(seen.file);
      const before = new Map(this.deck.record.cards.map((card) => [card.file, card.back?.file ?? ""]));
      const pdf = await steadily(() => fetchBackPdf(this.deck.id, this.ask));
      await steadily(() => sendFile(this.deck.id, path, pdf));
      await this.deck.refresh();
      // A file more can change how backs are paired (a single back serves all): the other cards keep theirs.
      const chosen = new Set(fronts);
      const cards = this.deck.record.cards.map(({ file, back }) => [file, chosen.has(file) ? path : before.get(file) ?? "", back?.file ?? ""])
        .filter(([, wanted, now]) => wanted !== now).map(([file, wanted]) => [file, { back: wanted }]);
      await this.deck.save({ cards: Object.fromEntries(cards), settings: seen.settings });
      if (this.deck.state !== "saved") throw new ApiError("The new back isn't saved yet: Lampfold doesn't answer.", { fix: "It goes on by itself." });
      say(`${fronts.length} cards have the new back.`);
      toast(`${fronts.length === 1 ? "One card has" : `${fronts.length} cards have`} the new back, ${path}.`, { tone: "good" });
      this.dispatchEvent(new Event("taken"));
    } catch (error) {
      tellError(error);
    }
    need("[data-forgive-take]").disabled = false;
  }

  /** @param {string} path */
  #freeName(path) {
    const taken = new Set(this.deck.record.files.map((file) => file.path));
    const [stem, ending] = [path.slice(0, path.lastIndexOf(".")), path.slice(path.lastIndexOf("."))];
    for (let number = 1; ; number++) {
      const name = number === 1 ? path : `${stem}-${number}${ending}`;
      if (!taken.has(name)) return name;
    }
  }
}
