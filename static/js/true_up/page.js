/**
 * The True-up page: printers, the workbench of one of them, and ready PDFs.
 */

import { api, ApiError } from "../common/api.js";
import { el, need, ready } from "../common/dom.js";
import { showDeck } from "../common/frame.js";
import { OpenDeck } from "../common/open-deck.js";
import { keep, recall } from "../common/browser-store.js";
import { keepOwn } from "../common/printer-choice.js";
import { notice, say, tellError, toast } from "../common/messages.js";
import { same } from "../common/saver.js";
import { Workbench } from "./workbench.js";
import { recallDraft } from "./draft.js";
import { showGone, showPrinters } from "./printers.js";
import { FinishedPdf } from "./finished-pdf.js";
import { server } from "./server.js";

/** @typedef {import("./server.js").Printer} Printer */

const LOOK_AGAIN_MS = 5000;
const MOST_FILE_BYTES = 1_000_000;
const { deck: deckId, role } = document.body.dataset;
const maker = role !== "playtester";

/** Whether this person may change it: makers all, a playtester their own. @param {Printer} printer */
const mine = (printer) => maker || Boolean(printer.own);

/** The numbers that the Glow page sends along, if any. @returns {Record<string, number>|null} */
function sentAlong() {
  const query = new URLSearchParams(location.search);
  const number = (/** @type {string[]} */ names, otherwise = 0) => {
    const text = names.map((name) => query.get(name)).find((one) => one !== null);
    return text !== undefined && text !== "" && Number.isFinite(Number(text)) ? Number(text) : otherwise;
  };
  if (!["dx", "dy", "dx_mm", "dy_mm"].some((name) => query.has(name))) return null;
  return { dx_mm: number(["dx_mm", "dx"]), dy_mm: number(["dy_mm", "dy"]), rotation_deg: number(["rotation_deg", "rotation"]), scale: number(["scale"], 1) || 1 };
}

class TrueUpPage {
  /** @param {import("../common/types.js").TablesOut} tables */
  constructor(tables) {
    this.tables = tables;
    this.unit = recall("unit") === "in" ? /** @type {const} */ ("in") : /** @type {const} */ ("mm");
    this.bench = new Workbench(tables, this.unit);
    this.ready = maker ? new FinishedPdf() : null;
    /** @type {Printer[]} */
    this.printers = [];
    /** @type {Printer[]} */
    this.gone = [];
    this.bench.addEventListener("saved", (event) => this.#put(/** @type {CustomEvent} */ (event).detail));
    for (const input of document.querySelectorAll("[data-unit]")) {
      input.addEventListener("change", () => this.#turn(/** @type {any} */ (input).value));
    }
    need(`[data-unit][value="${this.unit}"]`).checked = true;
    this.#nameUnits();
    need("[data-other-paper]").addEventListener("click", () => this.#otherPaper());
    need("[data-new]").addEventListener("click", () => this.open(null));
    const file = need("[data-import-file]");
    need("[data-import]").addEventListener("click", () => file.click());
    file.addEventListener("change", () => this.#takeIn(file));
    document.querySelector("[data-use]")?.addEventListener("click", () => this.#use());
  }

  async start() {
    ({ printers: this.printers, deleted: this.gone } = await server.printers());
    const along = sentAlong();
    ready();
    const query = new URLSearchParams(location.search);
    const wanted = query.get("printer") ?? (along && deckId ? (await api.deck(deckId)).settings.printer : "");
    const printer = this.printers.find((one) => one.id === wanted && mine(one)) ?? null;
    if (along) {
      await this.bench.open(printer, { draft: null, plain: along });
      toast("The numbers of the Glow page stand in the plain way.");
    } else if (query.has("to")) { // a phone that a desk's code has led here: a fresh form for that desk's sheet
      await this.bench.open(null, { draft: { setup: { paper: query.get("paper") ?? "a4", flip: query.get("flip") ?? "long-edge" }, way: "sheet", sheets: [{ name: "1", pairs: {} }], plain: null } });
      need("#t-read").scrollIntoView({ block: "start" });
    } else if (printer || !this.printers.some(mine) || recallDraft(null)) await this.bench.open(printer);
    this.#list();
    setInterval(() => this.#look(), LOOK_AGAIN_MS);
  }

  /** What others do to printers shows here too; what is typed stays, and meets it when it is saved. */
  async #look() {
    if (document.hidden) return;
    const [printers, opened] = [this.printers, this.bench.printer];
    const now = await server.printers().catch(() => null);
    if (printers !== this.printers || opened !== this.bench.printer) return; // something was saved here meanwhile
    const seen = (/** @type {Printer[]} */ all) => all.map(({ id, revision }) => [id, revision]);
    if (!now || same([seen(now.printers), seen(now.deleted)], [seen(this.printers), seen(this.gone)])) return;
    ({ printers: this.printers, deleted: this.gone } = now);
    const { printer, touched } = this.bench;
    const open = this.printers.find(({ id }) => id === printer?.id);
    if (open && open.revision !== printer?.revision && !touched && !need("[data-confirm-reader]").open) await this.bench.open(open);
    this.#list();
  }

  /** @param {Printer|null} printer @param {any} [how] */
  async open(printer, how) {
    try {
      await this.bench.open(printer, how);
    } catch (error) { tellError(error); }
    this.#list();
    need("[data-work]").scrollIntoView({ block: "start" });
    if (printer) need("#t-work").focus({ preventScroll: true });
    else need("[data-name]").focus({ preventScroll: true });
  }

  #list() {
    const open = need("[data-work]").hidden ? null : this.bench.printer?.id ?? null;
    showPrinters(this.printers, open, this.unit, { may: mine, open: (one) => this.open(one), remove: (one) => this.#remove(one) });
    showGone(this.gone.filter(mine), (one) => this.#restore(one));
    this.ready?.show(this.printers);
  }

  /** @param {Printer} printer as it is now on the server */
  #put(printer) {
    const others = (/** @type {Printer[]} */ list) => list.filter(({ id }) => id !== printer.id);
    this.gone = [...others(this.gone), ...(printer.deleted ? [printer] : [])];
    this.printers = [...others(this.printers), ...(printer.deleted ? [] : [printer])]
      .sort((one, other) => one.name.localeCompare(other.name));
    this.#list();
  }

  /** @param {Printer} printer */
  async #remove(printer) {
    try {
      this.#put(await server.remove(printer.id));
      if (this.bench.printer?.id === printer.id) need("[data-work]").hidden = true;
      toast(`${printer.name} is deleted.`, { action: "Undo", act: () => this.#restore(printer) });
      need("#t-printers").focus();
    } catch (error) { tellError(error); }
  }

  /** @param {Printer} printer */
  async #restore(printer) {
    try {
      this.#put(await server.step(printer.id, "restore"));
      say(`${printer.name} is back.`);
      need("#t-printers").focus();
    } catch (error) { tellError(error); }
  }

  /** @param {HTMLInputElement} input */
  async #takeIn(input) {
    const [file] = input.files ?? [];
    const told = need("[data-printers-message]");
    told.replaceChildren();
    if (!file) return;
    try {
      if (file.size > MOST_FILE_BYTES) throw new ApiError(`${file.name} is too large for a printer file.`, { fix: "Choose the file that Lampfold exported." });
      const parsed = await file.text().then(JSON.parse).catch(() => { throw new ApiError(`${file.name} is no printer file.`, { fix: "Choose the file that Lampfold exported." }); });
      const printer = await server.takeIn(parsed);
      this.#put(printer);
      toast(`${printer.name} is taken in.`, { tone: "good" });
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("The file could not be read.");
      told.replaceChildren(notice("error", message, fix));
      say(`${message} ${fix}`);
    }
    input.value = "";
  }

  /** The same printer for another paper or flip: one of its own, since it drifts in its own way. */
  #otherPaper() {
    const { setup } = this.bench;
    const values = setup.values();
    this.open(null, { draft: { setup: { ...values, name: `${values.name}, other paper`, front_scale: { x: 1, y: 1 } }, way: "sheet", sheets: [{ name: "1", pairs: {} }], plain: null } });
  }

  /** Put the printer into the open deck's settings, along with the paper and flip that it was read on; a playtester's
   *  into what they print themselves. */
  async #use() {
    const { printer } = this.bench;
    if (printer && !maker) {
      keepOwn(printer);
      toast(`Glow and the PDF that you take are made for ${printer.name} now.`, { tone: "good" });
    }
    if (!printer || !deckId || !maker) return;
    try {
      const deck = await OpenDeck.load(deckId);
      const settings = /** @type {Record<string, string>} */ ({ printer: printer.id });
      if (deck.record.settings.paper !== printer.paper) settings.paper = printer.paper;
      if (this.tables.methods.find(({ name }) => name === deck.record.settings.method)?.honours.includes("flip") && deck.record.settings.flip !== printer.flip) settings.flip = printer.flip;
      await deck.save({ settings });
      const now = deck.record;
      showDeck(now);
      if (deck.state !== "saved") throw new ApiError("It isn't saved yet: Lampfold doesn't answer.", { fix: "It goes on by itself." });
      const also = [settings.paper && printer.paper_label, settings.flip && `a ${printer.flip.replace("-", " ")} flip`].filter(Boolean).join(" and ");
      toast(`${now.name} is made for ${printer.name}${also ? `, now on ${also}` : ""}.`, { tone: "good", action: "Undo",
        act: () => deck.step("undo").then(() => say("Undone.")) });
    } catch (error) { tellError(error); }
  }

  /** @param {"mm"|"in"} unit */
  #turn(unit) {
    this.unit = unit;
    keep("unit", unit);
    this.#nameUnits();
    this.bench.turn(unit);
    this.#list();
  }

  #nameUnits() {
    for (const name of document.querySelectorAll("[data-unit-name]")) name.textContent = this.unit;
  }
}

api.tables().then((tables) => new TrueUpPage(tables).start()).catch((error) => {
  const { message = "The page could not be loaded.", fix = "" } = error instanceof ApiError ? error : {};
  need("[data-printers]").replaceChildren(el("li", {}, notice("error", message, fix)));
  tellError(error);
});
