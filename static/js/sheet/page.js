/**
 * The Sheet page: the form on one side, the sheet on the other, and saving by itself once a plan stands.
 */

import { api, ApiError } from "../common/api.js";
import { OpenDeck } from "../common/open-deck.js";
import { bindHead } from "../common/deck-head.js";
import { drawing, el, need, ready, settled } from "../common/dom.js";
import { notice, say, tellError, toast } from "../common/messages.js";
import { showAlternatives, showFigures, showNotes } from "../common/plan-facts.js";
import { waysOut } from "../common/problems.js";
import { again, mayPass } from "../common/link.js";
import { same } from "../common/saver.js";
import { CostTable } from "./cost-table.js";
import { CutsView } from "./cuts-view.js";
import { PlanForm } from "./plan-form.js";
import { loadPrinters } from "../common/printer-choice.js";
import { SheetView } from "./sheet-view.js";

/** @typedef {Record<string, any>} Settings */

const DRAW_AFTER_MS = 120;
const SAVE_AFTER_MS = 500;

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
    this.cuts = new CutsView(this.view.holder);
    this.costs = new CostTable(deck, tables, (row) => this.#build(row));
    /** @type {AbortController|null} */
    this.asking = null;
    this.tries = 0;
    this.stopWaiting = () => {};
    this.form.fill(deck.settings);
    const draw = settled(() => this.draw(), DRAW_AFTER_MS);
    this.saveSoon = settled(() => { if (same(this.drawn, deck.waitingSettings)) deck.flush(); }, SAVE_AFTER_MS);
    /** @type {Settings} what waited to be saved when the sheet was last drawn */
    this.drawn = {};
    this.form.addEventListener("change", () => {
      const now = deck.settings;
      deck.note({ settings: Object.fromEntries(Object.entries(this.form.values()).filter(([name, value]) => value !== now[name])) });
      draw();
    });
    this.view.addEventListener("face", () => this.draw());
    need("[data-unpin]").addEventListener("click", () => this.pin({ arrangement: "", card_turned: "" }));
    deck.addEventListener("record", (event) => {
      const { cause } = /** @type {CustomEvent} */ (event).detail;
      if (cause === "saved") return;
      // What is changed here and waits stands in the form already, as it was typed.
      const waiting = deck.waitingSettings;
      this.form.fill(cause === "mine" ? deck.settings
        : Object.fromEntries(Object.entries(deck.record.settings).filter(([name]) => !(name in waiting))));
      this.draw();
    });
  }

  /** Ask for the sheet as the form stands now; an older question is dropped. */
  async draw() {
    this.asking?.abort();
    this.stopWaiting();
    if (!this.deck.record.cards.some((card) => card.copies > 0)) {
      this.#wait();
      return;
    }
    const asking = new AbortController();
    this.asking = asking;
    const settings = this.deck.waitingSettings;
    this.view.table.setAttribute("aria-busy", "true");
    try {
      const answer = await api.plan(this.deck.id, { settings, sheet: this.view.sheet, face: this.view.face }, asking.signal);
      this.#show(answer, settings);
      this.#save(settings);
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return;
      if (mayPass(error)) {
        this.#save(settings);
        this.stopWaiting = again(() => this.draw(), this.tries++);
      } else if (await this.#freed(settings)) return;
      this.#fail(error);
    }
    this.view.table.removeAttribute("aria-busy");
  }

  /** Without a card there is no sheet; what is chosen is kept all the same. */
  #wait() {
    this.view.empty("The sheet is drawn as soon as the deck has a card.");
    for (const part of ["[data-figures]", "[data-notes]"]) need(part).replaceChildren();
    need("[data-alternatives-section]").hidden = true;
    const way = el("a", { class: "button button-small", href: `/decks/${encodeURIComponent(this.deck.id)}/art` }, "To the art");
    need("[data-plan-error]").replaceChildren(notice("note", "This deck has no card to lay out yet.", "", way));
    this.#save(this.deck.waitingSettings);
  }

  /** What has been drawn is kept, unless more is changed first. @param {Settings} settings */
  #save(settings) {
    this.drawn = settings;
    if (Object.keys(settings).length) this.saveSoon();
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
    this.deck.note({ settings: free });
    toast("The plan that was chosen doesn't take this any more, so Lampfold chose another.");
    await this.draw();
    return true;
  }

  /** Choose an alternative, or with "" let the search choose. @param {Settings} choice */
  async pin(choice) {
    this.deck.note({ settings: choice });
    await this.draw();
    say(choice.arrangement ? "The other plan is in use." : "Lampfold chooses the plan again.");
  }

  /** Build on that paper by that method; the best plan of it is chosen anew. @param {{method: string, paper: string}} row */
  async #build(row) {
    this.deck.note({ settings: { ...row, arrangement: "", card_turned: "" } });
    this.form.fill(this.deck.settings);
    await this.draw();
  }

  /** Take the card that the art was drawn for. @param {string} card */
  async #use(card) {
    this.deck.note({ settings: { card } });
    this.form.fill(this.deck.settings);
    await this.draw();
    say(`The card is ${card} now.`);
  }

  /**
   * @param {import("../common/types.js").PlanOut} answer
   * @param {Settings} settings
   */
  #show(answer, settings) {
    this.tries = 0;
    this.form.clear();
    this.view.stale(false);
    need("[data-plan-error]").replaceChildren();
    this.view.show(answer);
    this.cuts.show(answer);
    this.costs.follow();
    need("[data-thickness]").textContent = answer.summary.thickness_says;
    showBox(answer.box);
    showFigures(answer.summary);
    showNotes(answer, waysOut(this.deck.record, (card) => this.#use(card)));
    const pinned = { ...this.deck.record.settings, ...settings };
    showAlternatives(answer.alternatives, answer.summary, Boolean(pinned.arrangement || pinned.card_turned),
      (one) => this.pin({ arrangement: one.arrangement, card_turned: one.card_turned ? "yes" : "no" }));
  }

  /** The last good sheet stays; the error goes beside its field. @param {unknown} error */
  #fail(error) {
    const { plain: message, fix, field } = error instanceof ApiError ? error : new ApiError("The sheet could not be drawn.");
    this.form.clear();
    if (!mayPass(error)) this.deck.tell("failed");
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

/** The box as it lies on its page, and closed. @param {import("../common/types.js").BoxShown|null} box */
function showBox(box) {
  need("[data-box]").hidden = !box;
  need("[data-box-folded]").replaceChildren(...(box ? [drawing(box.folded)] : []));
  need("[data-box-net]").replaceChildren(...(box ? [drawing(box.net)] : []));
  need("[data-box-says]").textContent = box?.says ?? "";
}

async function start() {
  const [deck, tables, printers] = await Promise.all([OpenDeck.load(document.body.dataset.deck ?? ""), api.tables(), loadPrinters()]);
  bindHead(deck);
  const page = new SheetPage(deck, tables, printers);
  ready();
  await page.draw();
}

start().catch((error) => {
  need("[data-empty]").textContent = "The sheet could not be laid out.";
  tellError(error);
});
