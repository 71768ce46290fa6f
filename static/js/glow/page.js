/**
 * The Glow page: one sheet against the light, moved by hand or by the printer, cut, folded, and what its backs forgive.
 */

import { ApiError } from "../common/api.js";
import { OpenDeck } from "../common/open-deck.js";
import { bindHead } from "../common/deck-head.js";
import { counted, el, need, ready } from "../common/dom.js";
import { notice, say, tellError } from "../common/messages.js";
import { CutCards, toneOf } from "./cut-cards.js";
import { Sheet } from "./faces.js";
import { Fold } from "./fold.js";
import { MadeBack } from "./made-back.js";
import { LaidSheet } from "./laid-sheet.js";
import { showLeeways } from "./leeways.js";
import { LightTable } from "./light-table.js";
import { MoveControls } from "./move-controls.js";
import { loadPrinters, ownPrint } from "../common/printer-choice.js";
import { PrintedSheet } from "./printed-sheet.js";
import { getBackChoices, getGlow, getLeeways } from "./server.js";
import { inShort } from "./verdicts.js";

const OWN_PRINTER = "own";

/** Which side is asked for. @returns {"front"|"back"|"together"} */
const checkedSide = () => /** @type {any} */ (need("[name=light-side]:checked")).value;

class GlowPage {
  /**
   * @param {OpenDeck} deck
   * @param {boolean} maker whether this person may change the deck
   * @param {import("../common/printer-choice.js").Printer[]} printers whose paper and flip go along: a playtester's
   */
  constructor(deck, maker, printers) {
    this.deck = deck;
    this.maker = maker;
    this.printers = printers.filter(({ deleted }) => !deleted);
    this.laid = new LaidSheet();
    this.light = new LightTable(need("[data-light]"));
    this.cards = new CutCards(this.laid);
    this.fold = new Fold(this.laid);
    this.number = 0;
    /** @type {import("./server.js").Print} null is the deck's own printer, "" none */
    this.print = this.#printFor(ownPrint().printer || null);
    /** @type {import("../common/types.js").LeewaysOut|null} */
    this.leeways = null;
    this.loading = 0;
    /** @type {number|undefined} */
    this.frame = undefined;
    new MoveControls(this.laid);
    this.printed = new PrintedSheet(deck.id, this.laid, () => this.print);
    this.#bindLight();
    this.#bindPrints();
    this.laid.addEventListener("move", () => this.moved());
    this.cards.addEventListener("look", (event) => {
      const { detail: card } = /** @type {CustomEvent} */ (event);
      this.light.show(card.front);
      if (this.laid.sheet?.data.in_pairs) this.fold.choose(this.laid.sheet.folds.findIndex(({ slots }) => slots[0] === card.slot));
      this.light.canvas.scrollIntoView({ block: "nearest" });
      say(`The sheet shows ${card.name}.`);
    });
  }

  #bindLight() {
    const { light } = this;
    for (const input of document.querySelectorAll("[name=light-side]")) {
      input.addEventListener("change", () => {
        light.side = /** @type {any} */ (input).value;
        if (light.fitted) light.fit();
        light.draw();
      });
    }
    const through = need("[data-show-through]");
    through.addEventListener("input", () => this.#showThrough(Number(through.value)));
    need("[data-overlay]").addEventListener("change", (/** @type {any} */ event) => {
      light.overlay = event.target.checked;
      light.draw();
    });
    for (const [name, act] of /** @type {[string, () => void][]} */ ([
      ["in", () => light.zoom(1.5)], ["out", () => light.zoom(1 / 1.5)], ["fit", () => light.fit()]])) {
      need(`[data-zoom-${name}]`).addEventListener("click", act);
    }
    light.addEventListener("zoom", () => this.#zoomed());
    need("[data-sheet-prev]").addEventListener("click", () => this.open(this.number - 1));
    need("[data-sheet-next]").addEventListener("click", () => this.open(this.number + 1));
  }

  #bindPrints() {
    for (const input of document.querySelectorAll("[name=print]")) {
      input.addEventListener("change", () => this.laid.printed(/** @type {any} */ (input).value));
    }
    need("[data-worst-sheet]").addEventListener("click", () => {
      const wander = this.laid.sheet?.data.printer?.wander_mm;
      if (!wander) return;
      if (this.laid.drift) this.#choosePrint("after");
      const [dx, dy] = this.laid.worstWay(wander);
      this.laid.shift({ dx: Number(dx.toFixed(2)), dy: Number(dy.toFixed(2)), turn: 0, scale: 100 });
      say(`19 sheets in 20 stay within this distance, ${wander.toFixed(2)} mm.`);
    });
    need("[data-printer]").addEventListener("change", (/** @type {any} */ event) => {
      this.print = this.#printFor(event.target.value === OWN_PRINTER ? null : event.target.value, true);
      this.laid.print = "drawn";
      this.open(this.number);
      this.measure();
    });
  }

  /** What is printed on by that printer. @param {string|null} id @param {boolean} [offered] by the server, so that it is there */
  #printFor(id, offered = false) {
    const known = this.printers.find((one) => one.id === id);
    return { printer: known || offered ? id : null, paper: known?.paper, flip: known?.flip };
  }

  /** @param {"drawn"|"before"|"after"} print */
  #choosePrint(print) {
    need(`[name=print][value=${print}]`).checked = true;
    this.laid.printed(print);
  }

  /** @param {number} share */
  #showThrough(share) {
    this.light.show_through = share;
    need("[data-show-through-value]").textContent = `${Math.round(share * 100)} %`;
    this.light.draw();
  }

  #zoomed() {
    const { light } = this;
    const px = light.px_mm * 25.4 / (96 * devicePixelRatio);
    need("[data-zoom-value]").textContent = `${Math.round(px * 100)} %`;
  }

  /** Show a sheet. @param {number} number */
  async open(number) {
    const mine = ++this.loading;
    const place = need("[data-light-table]");
    place.setAttribute("aria-busy", "true");
    try {
      const data = await getGlow(this.deck.id, Math.max(0, number), this.print);
      const sheet = await Sheet.load(data);
      if (mine !== this.loading) return;
      this.#lay(sheet);
    } catch (error) {
      if (mine !== this.loading) return;
      const { message = "The sheet could not be shown.", fix = "" } = error instanceof ApiError ? error : /** @type {any} */ (error);
      need("[data-glow-error]").replaceChildren(notice("error", message, fix));
    }
    place.removeAttribute("aria-busy");
  }

  /** @param {Sheet} sheet */
  #lay(sheet) {
    const { data } = sheet;
    const first = this.laid.sheet === null;
    need("[data-glow-error]").replaceChildren(...(sheet.missing ? [notice("warning",
      `${counted(sheet.missing, "picture")} of this sheet could not be read and ${sheet.missing === 1 ? "is" : "are"} left white.`,
      "Look at the Art page for what is wrong.")] : []));
    need("[data-light-empty]").hidden = true;
    this.laid.sheet = sheet;
    this.light.sheet = sheet;
    this.number = data.sheet;
    need("[data-sheet-number]").textContent = `Sheet ${data.sheet + 1} of ${data.sheets}`;
    need("[data-sheet-prev]").disabled = data.sheet === 0;
    need("[data-sheet-next]").disabled = data.sheet >= data.sheets - 1;
    if (first) need("[data-show-through]").value = String(data.stock.show_through);
    need("[data-stock]").textContent = `${data.stock.label}: ${Math.round(data.stock.show_through * 100)} % of the back shows through.`;
    this.#showThrough(Number(need("[data-show-through]").value));
    this.#asOf(data);
    this.#printers(data);
    if (first || this.light.fitted) this.light.fit();
    this.cards.lay();
    this.fold.lay();
    this.moved();
    document.body.dataset.sheetShown = String(data.sheet);
  }

  /** Show what this build method has a use for. @param {import("../common/types.js").GlowOut} data */
  #asOf({ has_backs: backs, one_pass: onePass, in_pairs: pairs, method_label: label, cards }) {
    for (const part of document.querySelectorAll("[data-of-backs]")) /** @type {HTMLElement} */ (part).hidden = !backs;
    for (const part of document.querySelectorAll("[data-of-drift]")) /** @type {HTMLElement} */ (part).hidden = onePass;
    const side = need("[data-one-side]");
    side.hidden = backs;
    side.replaceChildren(...(backs ? [] : [notice("note",
      `“${label}” prints one side and no backs, so there is nothing to hold against the light.`,
      "Here is the sheet, and below it each card as it is cut.")]));
    if (!backs) this.light.side = "front";
    else if (this.light.side !== checkedSide()) this.light.side = checkedSide();
    // A card that is folded by itself can only be folded beside its crease, or askew.
    const across = pairs && cards[0].through?.axis;
    for (const [name, hidden] of /** @type {[string, boolean][]} */ (
      [["dx", across === "horizontal"], ["dy", across === "vertical"], ["scale", pairs]])) {
      need(`[data-move="${name}"]`).hidden = hidden;
    }
    need("[data-move-hint]").textContent = pairs
      ? "As far as the fold misses its crease, seen on the front against the light. Nothing is saved."
      : "As seen on the front, against the light. Nothing is saved.";
  }

  /** @param {import("../common/types.js").GlowOut} data */
  #printers(data) {
    const select = need("[data-printer]");
    const own = this.deck.record.settings.printer;
    const name = data.printers.find(({ id }) => id === own)?.name;
    const options = [new Option(name ? `The deck's own: ${name}` : "No printer chosen for this deck", OWN_PRINTER),
      ...data.printers.filter(({ id }) => id !== own).map((one) => new Option(one.name, one.id)),
      ...(own ? [new Option("No printer", "")] : [])];
    select.replaceChildren(...options);
    select.value = this.print.printer ?? OWN_PRINTER;
    const { printer } = data;
    const known = Boolean(this.laid.drift);
    need("[data-prints]").hidden = !known;
    if (!known) this.#choosePrint("drawn");
    need("[data-printer-says]").textContent = data.one_pass
      ? "One pass prints both sides, so the printer's drift doesn't part them: the fold does."
      : !printer ? "" : !printer.drift ? `${printer.name} isn't trued up yet.`
        : `${printer.name} ${printer.says}. ${printer.state === "old" ? "Its readings are more than half a year old. " : ""}${printer.wander_says}`;
    need("[data-worst-sheet]").disabled = !printer?.wander_mm;
    need("[data-worst-hint]").textContent = printer?.wander_mm
      ? `${printer.wander_mm.toFixed(2)} mm the way that shows most.` : "Needs a printer whose wander has been measured.";
  }

  /** Everything that follows the move; called for each step of a slider, so it asks nothing of the server. */
  moved() {
    const { laid, light } = this;
    if (!laid.sheet) return;
    const cut = laid.cut();
    light.landsOf = (card) => laid.landsOf(card);
    light.front = laid.front;
    light.notes = cut.map((one) => ({ card: one.card, tone: toneOf(one), text: inShort(one.faults) }));
    this.pending = cut;
    this.frame ??= requestAnimationFrame(() => {
      this.frame = undefined;
      light.paint();
      this.cards.show(/** @type {any} */ (this.pending));
      this.#reading();
    });
  }

  #reading() {
    const link = document.querySelector("[data-reading]");
    const read = this.laid.reading;
    if (!(link instanceof HTMLAnchorElement) || !read) return;
    const { dx, dy, turn, scale } = read;
    const rounded = (/** @type {number} */ value, /** @type {number} */ digits) => String(Number(value.toFixed(digits)) + 0);
    link.href = `/decks/${encodeURIComponent(this.deck.id)}/true-up?${new URLSearchParams({
      dx_mm: rounded(dx, 2), dy_mm: rounded(dy, 2), rotation_deg: rounded(turn, 3), scale: rounded(scale / 100, 5) })}`;
    need("[data-reading-says]").textContent =
      `The back lies ${rounded(Math.abs(dx), 2)} mm ${dx < 0 ? "left" : "right"} and ${rounded(Math.abs(dy), 2)} mm ${dy < 0 ? "high" : "low"}.`;
  }

  /** Ask how far each back may move. */
  async measure() {
    const list = need("[data-leeway-list]");
    list.setAttribute("aria-busy", "true");
    try {
      this.leeways = await getLeeways(this.deck.id, this.print);
      showLeeways(this.leeways);
    } catch (error) {
      const { message = "The backs could not be measured.", fix = "" } = error instanceof ApiError ? error : /** @type {any} */ (error);
      list.replaceChildren(el("li", {}, notice("error", message, fix)));
    }
    list.removeAttribute("aria-busy");
  }

  /** Show and measure everything anew, after the deck has changed. */
  async refresh() {
    await Promise.all([this.open(this.number), this.measure()]);
  }
}

async function start() {
  const id = document.body.dataset.deck ?? "";
  const maker = Boolean(document.querySelector("[data-forgive]"));
  const deck = await OpenDeck.load(id);
  if (maker) bindHead(deck);
  const page = new GlowPage(deck, maker, maker ? [] : await loadPrinters());
  const choices = maker ? await getBackChoices(id) : null;
  ready();
  const forgive = choices && new MadeBack(deck, choices, () => page.leeways);
  await page.refresh();
  page.printed.fromAddress();
  if (!forgive) return;
  forgive.addEventListener("taken", () => page.refresh());
  deck.addEventListener("record", (event) => {
    const { cause } = /** @type {CustomEvent} */ (event).detail;
    if (cause === "undo" || cause === "redo" || cause === "theirs") page.refresh();
  });
  const details = need("[data-forgive-open]");
  if (location.hash === "#g-forgive") {
    details.open = true;
    details.scrollIntoView();
  }
  if (details.open) await forgive.see();
  else details.addEventListener("toggle", () => forgive.see(), { once: true });
}

start().catch((error) => {
  need("[data-light-empty]").textContent = "The sheet could not be shown.";
  tellError(error);
});
