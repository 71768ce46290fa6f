/**
 * The workbench of one printer: what is typed, the answer as it is typed, saving, and confirming.
 */

import { ApiError } from "../common/api.js";
import { el, icon, need, settled } from "../common/dom.js";
import { notice, say, tellError, toast } from "../common/messages.js";
import { answer } from "./answer.js";
import { same } from "../common/saver.js";
import { Confirm } from "./confirm.js";
import { forgetDraft, keepDraft, recallDraft } from "./draft.js";
import { keepForm, keepNew, keepRead, sameReadings } from "./keeping.js";
import { Photos } from "./photo.js";
import { PlainWay } from "./plain-way.js";
import { stateTag } from "./printers.js";
import { fitting } from "./read-sheets.js";
import { Reader } from "./reader.js";
import { server } from "./server.js";
import { Setup } from "./setup.js";

/** @typedef {import("./server.js").Printer} Printer */
/** @typedef {import("./server.js").Fit} Fit */
/** @typedef {import("./server.js").Measured} Measured */
/** @typedef {import("../common/units.js").Unit} Unit */

const ASK_AFTER_MS = 90;
const LEAST = 3;

/** Fires "saved" with the printer after each change of it on the server. */
export class Workbench extends EventTarget {
  /** @param {import("../common/types.js").TablesOut} tables @param {Unit} unit */
  constructor(tables, unit) {
    super();
    this.unit = unit;
    this.setup = new Setup(tables, unit);
    this.reader = new Reader(need('[data-reader="read"]'));
    this.reader.turn(unit);
    this.photos = new Photos(this.reader, () => this.#sheetMade());
    this.plain = new PlainWay(unit);
    this.confirm = new Confirm(unit);
    /** @type {Printer|null} null for one that isn't saved */
    this.printer = null;
    /** @type {"sheet"|"plain"} */
    this.way = "sheet";
    /** @type {Fit|null} what is shown and could be saved */
    this.fit = null;
    /** @type {AbortController|null} */
    this.asking = null;
    this.touched = false;
    this.save = document.querySelector("[data-save]");
    this.soon = settled(() => this.show(), ASK_AFTER_MS);
    const changed = () => { this.touched = true; this.keep(); this.soon(); };
    this.setup.addEventListener("change", () => { this.setup.blame(null); changed(); });
    this.setup.addEventListener("paper", () => this.#paper());
    this.reader.sheets.addEventListener("change", changed);
    this.plain.addEventListener("change", changed);
    for (const input of document.querySelectorAll("[data-way]")) {
      input.addEventListener("change", () => { this.turnWay(/** @type {any} */ (input).value); changed(); });
    }
    document.querySelector("[data-keep]")?.addEventListener("click", () => this.#describe());
    this.save?.addEventListener("click", () => this.#save());
    document.querySelector("[data-forget]")?.addEventListener("click", () => this.#forget());
    this.confirm.addEventListener("printer", (event) => this.#saved(/** @type {CustomEvent} */ (event).detail));
  }

  /** @param {Printer|null} printer null for a new one @param {{draft?: any, plain?: Record<string, number>}} [how] */
  async open(printer, { draft = recallDraft(printer?.id ?? null), plain } = {}) {
    this.printer = printer;
    this.touched = Boolean(draft || plain);
    need("[data-work]").hidden = false;
    this.setup.fill(printer, draft?.setup);
    this.reader.sheets.load(printer?.readings ?? []);
    if (draft) this.reader.sheets.sheets = draft.sheets;
    const bare = printer?.drift && !printer.readings.length ? printer.drift : null;
    this.plain.fill(plain ?? draft?.plain ?? (bare ? { dx_mm: bare.dx_mm, dy_mm: bare.dy_mm, rotation_deg: bare.rotation_deg, scale: (bare.scale_x + bare.scale_y) / 2 } : {}));
    this.turnWay(plain ? "plain" : draft?.way ?? (bare ? "plain" : "sheet"));
    this.#head();
    need("[data-save-message]").replaceChildren();
    if (plain) this.keep();
    await this.#paper();
    this.confirm.open(printer, this.reader.paper);
  }

  /** @param {Unit} unit */
  turn(unit) {
    this.unit = unit;
    for (const part of [this.setup, this.reader, this.plain, this.confirm]) part.turn(unit);
    this.show();
  }

  /** @param {"sheet"|"plain"} way */
  turnWay(way) {
    this.way = way;
    need(`[data-way][value="${way}"]`).checked = true;
    for (const panel of document.querySelectorAll("[data-way-panel]")) {
      /** @type {HTMLElement} */ (panel).hidden = /** @type {HTMLElement} */ (panel).dataset.wayPanel !== way;
    }
  }

  /** Which test sheet is read. @returns {{paper: string, flip: string}} */
  #sheetMade() {
    const { paper, flip } = this.setup.values();
    return { paper, flip };
  }

  /** Keep what is typed in this browser. */
  keep() {
    keepDraft(this.printer?.id ?? null, { setup: this.setup.values(), way: this.way, sheets: this.reader.sheets.sheets, plain: this.plain.values() });
  }

  #head() {
    const { printer } = this;
    need("[data-work-title]").textContent = printer?.name ?? "A new printer";
    need("[data-work-state]").replaceChildren(...(printer ? [stateTag(printer)] : []));
    const forget = document.querySelector("[data-forget]");
    if (forget instanceof HTMLElement) forget.hidden = !printer?.drift;
    const use = document.querySelector("[data-use]");
    if (use instanceof HTMLElement) use.hidden = !printer;
    const keep = document.querySelector("[data-keep]");
    if (keep) keep.textContent = printer ? "Save name and edges" : "Save the printer for now";
    const saved = document.querySelector("[data-saved]");
    saved?.replaceChildren(...(printer?.drift && !this.touched ? [icon("good"), "Saved"] : []));
  }

  /** Get the stations of the chosen paper; where it has none, say so and leave the plain way. */
  async #paper() {
    const { paper } = this.setup.values();
    let sheet = null;
    let trouble = null;
    try {
      sheet = await server.stations(paper);
    } catch (error) {
      if (!(error instanceof ApiError)) throw error;
      trouble = error;
    }
    if (paper !== this.setup.values().paper) return; // another was chosen meanwhile
    this.setup.setSheet(sheet);
    this.reader.setPaper(sheet);
    this.plain.setPaper(sheet);
    if (trouble) this.setup.blame({ message: trouble.plain, fix: trouble.fix });
    this.show();
  }

  /** What could be saved as it stands. @returns {Measured|null} */
  measured() {
    if (this.way === "sheet") return { readings: this.reader.sheets.readings() };
    const plain = this.plain.values();
    return plain && { plain };
  }

  /** Ask what the readings come to, and show it; nothing is saved by it. */
  async show() {
    this.asking?.abort();
    const measured = this.measured();
    const told = this.#halves();
    // While it is asked the last answer stands, so that a button doesn't go away under a finger; the server judges what is saved.
    if (!measured) this.fit = null;
    this.#mayBeSaved();
    if (!measured) return;
    const places = new Set((measured.readings ?? []).map(({ station, x_mm: x, y_mm: y }) => station ?? `${x} ${y}`)).size;
    if (measured.readings && places < LEAST) {
      this.fit = null;
      this.#mayBeSaved();
      this.#answer(...told, notice("note", places ? `${places} of ${this.reader.paper?.stations.length ?? 5} stations are read.` : "Nothing is read yet.",
        "The drift shows here from three stations on, as you type; all of them make it sure."));
      return;
    }
    this.asking = new AbortController();
    try {
      this.fit = await server.fit({ paper: this.setup.values().paper, ...measured }, this.asking.signal);
      this.#answer(...told, ...this.#refined(), answer(this.fit, this.unit, (suspect) => this.#mend(suspect)));
    } catch (error) {
      if (!(error instanceof ApiError)) { tellError(error); return; }
      this.fit = null;
      const plain = el("button", { class: "button button-small", type: "button", on: { click: () => { this.turnWay("plain"); this.soon(); this.plain.dx.focus(); } } }, "Enter one plain shift");
      const reading = this.way === "sheet" && /^(stations|readings)/.test(error.message);
      this.#answer(...told, notice("error", error.message.replace(/^\w+: (.)/, (_, first) => first.toUpperCase()), error.fix, reading ? plain : undefined));
    }
    this.#mayBeSaved();
  }

  /** A refined drift is more than its readings say. */
  #refined() {
    const { printer, fit } = this;
    if (!printer?.drift || this.touched || !fit) return [];
    const apart = Math.hypot(printer.drift.dx_mm - fit.drift.dx_mm, printer.drift.dy_mm - fit.drift.dy_mm);
    return apart < 0.005 && Math.abs(printer.drift.greatest_mm - fit.drift.greatest_mm) < 0.005 ? []
      : [notice("note", `With what its confirming sheet showed, the back ${printer.drift.says}.`, "That is what the backs are moved by. Below is what the first readings alone come to.")];
  }

  #halves() {
    const halves = this.way === "sheet" ? this.reader.sheets.halves : [];
    return halves.length ? [notice("note", `One number of two isn't read: ${halves.map(({ sheet, station }) => `sheet ${sheet}, station ${station}`).join("; ")}.`,
      "Such a station counts for the other one. Enter 0 where nothing is off.")] : [];
  }

  /** @param {...Node} parts */
  #answer(...parts) {
    const box = need("[data-answer]");
    const open = box.querySelector("details")?.open ?? false;
    box.replaceChildren(...parts);
    const table = box.querySelector("details");
    if (table && open) table.open = true;  // an opened table stays open while numbers change
  }

  /** @param {Fit["suspects"][0]} suspect */
  #mend(suspect) {
    this.reader.sheets.correct(suspect.sheet, Number(suspect.station), fitting(suspect));
    say(`Sheet ${suspect.sheet}, station ${suspect.station} now reads what fits.`);
    this.reader.fields.dx.input.focus();
  }

  #mayBeSaved() {
    if (this.save instanceof HTMLButtonElement) {
      this.save.disabled = !this.fit || Boolean(this.fit.trouble) || (Boolean(this.printer?.drift) && !this.touched);
      this.save.textContent = this.printer ? `Save to ${this.printer.name}` : "Save the printer";
    }
    this.#head();
  }

  /** Save what the form says of the printer. @returns {Promise<Printer|null>} null where that can't be */
  async #describe() {
    const form = this.setup.values();
    if (!form.name) { this.setup.askForName(); say("The printer needs a name."); return null; }
    try {
      const waits = () => this.setup.blame({ message: "Not saved yet: Lampfold doesn't answer.", fix: "It goes on by itself." });
      const { saved, lost } = this.printer ? await keepForm(this.printer, form, waits) : { saved: await keepNew(form, waits), lost: [] };
      if (!this.printer) forgetDraft(null);
      else this.setup.fill(saved);
      if (lost.length) {
        toast(`Somebody changed ${saved.name} meanwhile (${lost.join(", ")}). Theirs is shown; yours is not lost.`, {
          action: "Use mine", stay: true, act: () => { this.setup.fill(saved, form); this.#describe(); } });
      }
      this.printer = saved;
      this.keep();
      this.setup.blame(null);
      this.#head();
      this.dispatchEvent(new CustomEvent("saved", { detail: saved }));
      say(`${saved.name} is saved.`);
      return saved;
    } catch (error) {
      const { message, plain = message, fix } = error instanceof ApiError ? error : new ApiError("It could not be saved.");
      this.setup.blame({ message: plain, fix });
      say(plain);
      return null;
    }
  }

  async #save() {
    const [measured, opened] = [this.measured(), this.printer];
    const described = measured && await this.#describe();
    if (!measured || !described) return;
    if (opened && !same([opened.readings, opened.drift], [described.readings, described.drift])) {
      const mine = el("button", { class: "button button-small", type: "button", on: { click: () => this.#save() } }, "Use mine");
      need("[data-save-message]").replaceChildren(notice("warning", `Somebody trued ${described.name} up meanwhile: the back ${described.drift?.says ?? "isn't known any more"}.`,
        "That is what is kept. Your readings are still here.", mine));
      return;
    }
    try {
      const waits = () => need("[data-save-message]").replaceChildren(notice("warning", "Not saved yet: Lampfold doesn't answer.", "It goes on by itself."));
      const isKept = (/** @type {Printer} */ now) => (measured.readings ? sameReadings(now.readings, measured.readings)
        : !now.readings.length && Math.abs((now.drift?.dx_mm ?? NaN) - (measured.plain?.dx_mm ?? 0)) < 1e-6
          && Math.abs((now.drift?.dy_mm ?? NaN) - (measured.plain?.dy_mm ?? 0)) < 1e-6);
      const saved = await keepRead(() => server.trueUp(described.id, measured, described.revision), isKept, waits);
      toast(`${saved.name} is trued up.`, { tone: "good", action: "Undo", act: () => this.#undo(saved.id) });
      await this.#saved(saved);
      need("#t-confirm").scrollIntoView({ block: "nearest" });
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("It could not be saved.");
      need("[data-save-message]").replaceChildren(notice("error", message, fix));
      say(`${message} ${fix}`);
    }
  }

  async #forget() {
    const { id, name } = /** @type {Printer} */ (this.printer);
    try {
      await this.#saved(await server.forget(id));
      toast(`What was read of ${name} is forgotten.`, { action: "Undo", act: () => this.#undo(id) });
    } catch (error) { tellError(error); }
  }

  /** @param {string} id */
  async #undo(id) {
    try {
      await this.#saved(await server.step(id, "undo"));
      say("Undone.");
    } catch (error) { tellError(error); }
  }

  /** @param {Printer} printer as it is saved now */
  async #saved(printer) {
    forgetDraft(printer.id);
    this.dispatchEvent(new CustomEvent("saved", { detail: printer }));
    await this.open(printer, { draft: null });
  }
}
