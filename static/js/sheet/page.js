/**
 * The Sheet page: the form on one side, the sheet on the other, and saving by itself once a plan stands.
 */

import { api, ApiError } from "../common/api.js";
import { OpenDeck } from "../common/open-deck.js";
import { bindHead } from "../common/deck-head.js";
import { el, need, settled } from "../common/dom.js";
import { notice, say, tellError, toast } from "../common/messages.js";
import { showAlternatives, showFigures, showNotes } from "../common/plan-facts.js";
import { PlanForm } from "./plan-form.js";
import { loadPrinters } from "../common/printer-choice.js";
import { SheetView } from "./sheet-view.js";

/** @typedef {Record<string, any>} Settings */

const DRAW_AFTER_MS = 120;
const SAVE_AFTER_MS = 500;

/**
 * What differs from the settings that are kept.
 *
 * @param {Settings} values
 * @param {Settings} kept
 * @returns {Settings}
 */
const changed = (values, kept) =>
  Object.fromEntries(Object.entries(values).filter(([name, value]) => value !== kept[name]));

class SheetPage {
  /**
   * @param {OpenDeck} deck
   * @param {import("../common/types.js").TablesOut} tables
   * @param {import("../common/printer-choice.js").Printer[]} printers
   */
  constructor(deck, tables, printers) {
    this.deck = deck;
    this.form = new PlanForm(need("[data-plan-form]"), tables, printers);
    this.view = new SheetView();
    /** @type {Settings} chosen beside the form, not yet kept */
    this.extra = {};
    /** @type {AbortController|null} */
    this.asking = null;
    this.form.fill(deck.record.settings);
    deck.dirty = () => Object.keys(this.changes()).length > 0;
    const draw = settled(() => this.draw(), DRAW_AFTER_MS);
    this.saveSoon = settled((/** @type {Settings} */ settings) => this.save(settings), SAVE_AFTER_MS);
    this.form.addEventListener("change", () => { deck.tell("saving"); draw(); });
    this.view.addEventListener("face", () => this.draw());
    need("[data-unpin]").addEventListener("click", () => this.pin({ arrangement: "", card_turned: "" }));
    deck.addEventListener("record", (event) => {
      const { cause } = /** @type {CustomEvent} */ (event).detail;
      if (cause === "saved") return;
      this.extra = {};
      if (cause !== "rebased") this.form.fill(deck.record.settings);
      this.draw();
    });
    window.addEventListener("beforeunload", (event) => { if (deck.state === "saving") event.preventDefault(); });
  }

  /** What the form and the choices beside it differ in from what is kept. */
  changes() {
    return changed({ ...this.form.values(), ...this.extra }, this.deck.record.settings);
  }

  /** Ask for the sheet as the form stands now; an older question is dropped. */
  async draw() {
    this.asking?.abort();
    if (!this.deck.record.cards.some((card) => card.copies > 0)) {
      this.#wait();
      return;
    }
    const asking = new AbortController();
    this.asking = asking;
    const settings = this.changes();
    this.view.table.setAttribute("aria-busy", "true");
    try {
      const answer = await api.plan(this.deck.id, { settings, sheet: this.view.sheet, face: this.view.face }, asking.signal);
      this.#show(answer, settings);
      if (Object.keys(settings).length) this.saveSoon(settings);
      else if (!this.deck.dirty()) this.deck.tell("saved");  // more may have been typed while this was drawn
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return;
      if (await this.#freed(settings)) return;
      this.#fail(error);
    }
    this.view.table.removeAttribute("aria-busy");
  }

  /** Without a card there is no sheet; what is chosen is kept all the same. */
  #wait() {
    const settings = this.changes();
    this.view.empty("The sheet is drawn as soon as the deck has a card.");
    for (const part of ["[data-figures]", "[data-notes]"]) need(part).replaceChildren();
    need("[data-alternatives-section]").hidden = true;
    const way = el("a", { class: "button button-small", href: `/decks/${encodeURIComponent(this.deck.id)}/art` }, "To the art");
    need("[data-plan-error]").replaceChildren(notice("note", "This deck has no card to lay out yet.", "", way));
    if (Object.keys(settings).length) this.saveSoon(settings);
    else this.deck.tell("saved");
  }

  /**
   * A plan that a person chose may not take the card any more: then Lampfold chooses again, if that helps.
   *
   * @param {Settings} settings that could not be laid out
   * @returns {Promise<boolean>} whether it did help
   */
  async #freed(settings) {
    const pinned = { ...this.deck.record.settings, ...settings };
    if (!pinned.arrangement && !pinned.card_turned) return false;
    const free = { arrangement: "", card_turned: "" };
    try {
      await api.plan(this.deck.id, { settings: { ...settings, ...free } });
    } catch {
      return false;
    }
    this.extra = { ...this.extra, ...free };
    toast("The plan that was chosen doesn't take this any more, so Lampfold chose another.");
    await this.draw();
    return true;
  }

  /** @param {Settings} settings */
  async save(settings) {
    await this.deck.save({ settings });
    // What is kept now needs no place beside the form any more.
    for (const name of Object.keys(this.extra)) {
      if (/** @type {Settings} */ (this.deck.record.settings)[name] === this.extra[name]) delete this.extra[name];
    }
  }

  /** Choose an alternative, or with "" let the search choose. @param {Settings} choice */
  async pin(choice) {
    this.extra = { ...this.extra, ...choice };
    this.deck.tell("saving");
    await this.draw();
    say(choice.arrangement ? "The other plan is in use." : "Lampfold chooses the plan again.");
  }

  /**
   * @param {import("../common/types.js").PlanOut} answer
   * @param {Settings} settings
   */
  #show(answer, settings) {
    this.form.clear();
    this.view.stale(false);
    need("[data-plan-error]").replaceChildren();
    this.view.show(answer);
    showFigures(answer.summary);
    showNotes(answer);
    const pinned = { ...this.deck.record.settings, ...settings };
    showAlternatives(answer.alternatives, answer.summary, Boolean(pinned.arrangement || pinned.card_turned),
      (one) => this.pin({ arrangement: one.arrangement, card_turned: one.card_turned ? "yes" : "no" }));
  }

  /** The last good sheet stays; the error goes beside its field. @param {unknown} error */
  #fail(error) {
    const { plain: message, fix, field } = error instanceof ApiError ? error : new ApiError("The sheet could not be drawn.");
    this.form.clear();
    this.deck.tell("failed");
    const placed = field && this.form.blame(field, message, fix);
    const hasSheet = this.view.holder.childElementCount > 0;
    this.view.stale(hasSheet);
    if (!hasSheet) this.view.empty("No sheet yet.");
    need("[data-plan-error]").replaceChildren(hasSheet
      ? notice("error", placed ? "One setting can't be used; the sheet on view is the last that worked." : message,
        placed ? "" : fix)
      : notice("error", message, fix));
    say(`${message} ${fix}`.trim());
  }
}

async function start() {
  const [deck, tables, printers] = await Promise.all([OpenDeck.load(document.body.dataset.deck ?? ""), api.tables(), loadPrinters()]);
  bindHead(deck);
  await new SheetPage(deck, tables, printers).draw();
}

start().catch((error) => {
  need("[data-empty]").textContent = "The sheet could not be laid out.";
  tellError(error);
});
