/**
 * The confirming sheet: printed with the correction, read like the first, and held against what was there before.
 */

import { ApiError } from "../common/api.js";
import { need, settled } from "../common/dom.js";
import { notice, say, tellError, toast } from "../common/messages.js";
import { beforeAndAfter } from "./answer.js";
import { Photos } from "./photo.js";
import { fitting } from "./read-sheets.js";
import { keepRead, sameReadings } from "./keeping.js";
import { Reader } from "./reader.js";
import { server, testSheetUrl } from "./server.js";

/** @typedef {import("./server.js").Printer} Printer */
/** @typedef {import("./server.js").Fit} Fit */

const ASK_AFTER_MS = 120;
const LEAST_LEFT_MM = 0.1; // the vernier's least count: what is below can't be told from a reading's own error

/** What a saved printer's drift and readings come to, as if they had just been fitted. @param {Printer} printer @returns {any} */
function before(printer) {
  const [a, b, c, d, e, f] = /** @type {import("./server.js").Drift} */ (printer.drift).matrix;
  const residuals = printer.readings.map((one) => ({ ...one, suspect: false,
    left_dx_mm: one.dx_mm === null ? 0 : one.dx_mm - (a * one.x_mm + c * one.y_mm + e - one.x_mm),
    left_dy_mm: one.dy_mm === null ? 0 : one.dy_mm - (b * one.x_mm + d * one.y_mm + f - one.y_mm) }));
  return { ...printer, residuals };
}

/** Fires "printer" with the printer as it is saved now. */
export class Confirm extends EventTarget {
  /** @param {import("../common/units.js").Unit} unit */
  constructor(unit) {
    super();
    this.reader = new Reader(need('[data-reader="confirm"]'));
    this.photos = new Photos(this.reader, () => ({ paper: this.printer?.paper ?? "a4", flip: this.printer?.flip ?? "long-edge" }));
    this.unit = unit;
    this.reader.turn(unit);
    /** @type {Printer|null} */
    this.printer = null;
    /** @type {AbortController|null} */
    this.asking = null;
    this.save = document.querySelector("[data-confirm-save]");
    this.refine = document.querySelector("[data-refine]");
    const soon = settled(() => this.show(), ASK_AFTER_MS);
    this.reader.sheets.addEventListener("change", soon);
    const waits = () => need("[data-confirm-message]").replaceChildren(notice("warning", "Not saved yet: Lampfold doesn't answer.", "It goes on by itself."));
    this.save?.addEventListener("click", () => this.#act((id) => {
      const [readings, revision] = [this.reader.sheets.readings(), this.printer?.revision ?? 0];
      return keepRead(() => server.confirm(id, { readings }, revision), (now) => sameReadings(now.confirmed?.readings ?? [], readings), waits);
    },
      "The confirmation is saved."));
    this.refine?.addEventListener("click", () => this.#act((id) => server.step(id, "refine"),
      "What was left is taken into the drift. Print the sheet once more if you want to be sure."));
  }

  /** @param {Printer|null} printer @param {import("../common/types.js").StationsOut|null} paper its test sheet */
  open(printer, paper) {
    this.printer = printer?.drift ? printer : null;
    need("[data-confirm]").hidden = !this.printer;
    need("[data-confirm-wait]").hidden = Boolean(this.printer);
    need("[data-confirm-message]").replaceChildren();
    if (!this.printer) return;
    need("[data-confirm-pdf]").href = testSheetUrl({ printer: this.printer.id });
    this.reader.sheets.load(this.printer.confirmed?.readings ?? []);
    this.reader.setPaper(paper);
    need("[data-confirm-reader]").open = false;
    this.show();
  }

  /** @param {import("../common/units.js").Unit} unit */
  turn(unit) {
    this.unit = unit;
    this.reader.turn(unit);
    if (this.printer) this.show();
  }

  async show() {
    this.asking?.abort();
    const { printer, reader } = this;
    if (!printer) return;
    const box = need("[data-confirm-answer]");
    const readings = reader.sheets.readings();
    const saved = JSON.stringify((printer.confirmed?.readings ?? []).map(({ sheet, station, dx_mm, dy_mm }) => ({ sheet, station, dx_mm, dy_mm })));
    const dirty = JSON.stringify(readings) !== saved;
    this.#button(this.save, false);
    if (this.refine instanceof HTMLElement) this.refine.hidden = dirty || !((printer.confirmed?.drift.greatest_mm ?? 0) > LEAST_LEFT_MM);
    if (new Set(readings.map(({ station }) => station)).size < 3) {
      box.replaceChildren();
      return;
    }
    this.asking = new AbortController();
    try {
      const fit = await server.fit({ paper: printer.paper, readings }, this.asking.signal);
      box.replaceChildren(beforeAndAfter(before(printer), fit, this.unit, (suspect) => reader.sheets.correct(suspect.sheet,
        Number(suspect.station), fitting(suspect))));
      this.#button(this.save, dirty && !fit.trouble);
    } catch (error) {
      if (error instanceof ApiError) box.replaceChildren(notice("error", error.message, error.fix));
      else tellError(error);
    }
  }

  /** @param {Element|null} button @param {boolean} may */
  #button(button, may) {
    if (button instanceof HTMLButtonElement) button.disabled = !may;
  }

  /** @param {(id: string) => Promise<Printer>} act @param {string} done */
  async #act(act, done) {
    const printer = /** @type {Printer} */ (this.printer);
    try {
      const now = await act(printer.id);
      toast(done, { tone: "good", action: "Undo", act: async () => {
        try {
          this.dispatchEvent(new CustomEvent("printer", { detail: await server.step(printer.id, "undo") }));
        } catch (error) { tellError(error); }
      } });
      this.dispatchEvent(new CustomEvent("printer", { detail: now }));
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("It could not be saved.");
      need("[data-confirm-message]").replaceChildren(notice("error", message, fix));
      say(`${message} ${fix}`);
    }
  }
}
