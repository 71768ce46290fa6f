/**
 * The form of a printer: name, paper, flip, feed, edges that it can't reach, and its own scale by its rulers.
 */

import { icon, el, need } from "../common/dom.js";
import { LengthField, SizeField } from "../common/length-field.js";
import { testSheetUrl } from "./server.js";

/** @typedef {import("./server.js").Printer} Printer */
/** @typedef {import("../common/units.js").Unit} Unit */

const EDGES = /** @type {const} */ (["left", "top", "right", "bottom"]);
const RULER = { minimum: 0, maximum: Infinity, step: 0.1 };

/** Fires "change" after each change, "paper" where the test sheet changes with it. */
export class Setup extends EventTarget {
  /** @param {import("../common/types.js").TablesOut} tables from /api/tables @param {Unit} unit */
  constructor(tables, unit) {
    super();
    this.name = need("[data-name]");
    this.flip = need("[data-flip]");
    this.feed = need("[data-feed]");
    const changed = () => this.dispatchEvent(new Event("change"));
    const paper = () => { this.#follow(); changed(); this.dispatchEvent(new Event("paper")); };
    this.paper = new SizeField(need('[data-size="paper"]'), need('[data-custom="paper"]'), tables.papers, unit, paper);
    const margin = /** @type {import("../common/types.js").SettingOut} */ (tables.settings.find(({ name }) => name === "margin_mm"));
    this.margin_mm = Number(margin.default);
    /** @type {Record<string, LengthField>} */
    this.margins = Object.fromEntries(EDGES.map((edge) => [edge, new LengthField(need(`[data-margin="${edge}"]`), unit, changed, margin)]));
    /** @type {Record<string, LengthField>} */
    this.rulers = Object.fromEntries(["x", "y"].map((way) => [way, new LengthField(need(`[data-ruler-input="${way}"]`), unit, changed, RULER)]));
    /** @type {{x: number, y: number}|null} how long the rulers say that they are */
    this.rulers_mm = null;
    /** the front's own scale */
    this.scale = { x: 1, y: 1 };
    this.flip.addEventListener("change", paper);
    for (const field of [this.name, this.feed]) field.addEventListener("input", changed);
    need("[data-setup]").addEventListener("submit", (/** @type {Event} */ event) => event.preventDefault());
  }

  /** @param {Printer|null} printer @param {Record<string, any>} [draft] what was typed before, over it */
  fill(printer, draft = {}) {
    const values = { name: "", paper: "a4", flip: "long-edge", feed: "", margins_mm: /** @type {import("../common/types.js").MarginsIn} */ ({}), front_scale: { x: 1, y: 1 }, ...printer, ...draft };
    this.name.value = values.name;
    this.paper.set(values.paper);
    this.flip.value = values.flip;
    this.feed.value = values.feed;
    for (const edge of EDGES) this.margins[edge].set(values.margins_mm[edge] ?? this.margin_mm);
    this.scale = values.front_scale;
    this.rulers_mm = null;
    for (const field of Object.values(this.rulers)) { field.mm = null; field.texts = {}; field.input.value = ""; }
    const fixed = Boolean(printer?.drift);
    this.flip.disabled = fixed;
    this.paper.select.disabled = fixed;
    for (const side of [this.paper.width, this.paper.height]) side.input.disabled = fixed;
    need("[data-fixed]").hidden = !fixed;
    this.blame(null);
    this.#follow();
  }

  /** The rulers of this paper's test sheet. @param {import("../common/types.js").StationsOut|null} sheet null where it has none */
  setSheet(sheet) {
    this.rulers_mm = sheet && { x: sheet.ruler_across_mm, y: sheet.ruler_down_mm };
    for (const way of /** @type {const} */ (["x", "y"])) {
      need(`[data-ruler="${way}"]`).textContent = sheet ? `${this.rulers_mm?.[way]} mm` : "";
      const field = this.rulers[way];
      if (sheet && this.scale[way] !== 1 && field.mm === null) field.set(Math.round(this.scale[way] * Number(this.rulers_mm?.[way]) * 1000) / 1000);
    }
  }

  /** As the server takes it; what is no number goes out as it is. @returns {Record<string, any>} */
  values() {
    const scale = (/** @type {"x"|"y"} */ way) => {
      const { mm, input } = this.rulers[way];
      if (input.value.trim() === "") return 1;
      return mm === null || !this.rulers_mm ? this.scale[way] : mm / this.rulers_mm[way];
    };
    return {
      name: this.name.value.trim(), paper: this.paper.value, flip: this.flip.value, feed: this.feed.value.trim(),
      margins_mm: Object.fromEntries(EDGES.map((edge) => [edge, this.margins[edge].value])),
      front_scale: { x: scale("x"), y: scale("y") },
    };
  }

  /** @param {Unit} unit */
  turn(unit) {
    for (const field of [...Object.values(this.margins), ...Object.values(this.rulers), this.paper]) field.turn(unit);
  }

  /** Say what is wrong beside the form; null takes it away. @param {{message: string, fix?: string}|null} error */
  blame(error) {
    const line = need("[data-setup-error]");
    line.hidden = !error;
    this.name.removeAttribute("aria-invalid");
    if (error) line.replaceChildren(icon("error"), el("span", { text: `${error.message} ${error.fix ?? ""}`.trim() }));
  }

  /** Where a name is needed: say so, and go there. */
  askForName() {
    this.blame({ message: "The printer needs a name.", fix: "Any that you will know it by." });
    this.name.setAttribute("aria-invalid", "true");
    this.name.focus();
  }

  #follow() {
    const { paper, flip } = this.values();
    for (const words of document.querySelectorAll("[data-flip-words]")) words.textContent = flip.replace("-", " ");
    need("[data-sheet-pdf]").href = testSheetUrl({ paper, flip });
  }
}
