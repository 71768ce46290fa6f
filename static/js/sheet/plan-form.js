/**
 * The Sheet page's form: one place that reads it, fills it, and puts errors beside the field they name.
 */

import { el, icon, need } from "../common/dom.js";
import { keep, recall } from "../common/browser-store.js";
import { LengthField, SizeField } from "../common/length-field.js";
import { offerPrinters, printerHint } from "../common/printer-choice.js";

/** @typedef {import("../common/units.js").Unit} Unit */
/** @typedef {Record<string, any>} Settings */

/** @typedef {import("../common/types.js").SettingOut} Setting */

/** Fires "change" after each change by a person. */
export class PlanForm extends EventTarget {
  /**
   * @param {HTMLFormElement} form
   * @param {import("../common/types.js").TablesOut} tables from /api/tables
   * @param {import("../common/printer-choice.js").Printer[]} printers
   */
  constructor(form, tables, printers) {
    super();
    this.form = form;
    this.tables = tables;
    this.printers = printers;
    /** @type {Unit} */
    this.unit = recall("unit") === "in" ? "in" : "mm";
    const changed = () => this.#changed();
    /** @type {Setting[]} */
    this.settings = tables.settings;
    this.#methods();
    this.#colours();
    /** @type {Map<string, LengthField>} */
    this.lengths = new Map();
    for (const input of form.querySelectorAll("[data-length]")) {
      const field = /** @type {HTMLInputElement} */ (input);
      const row = this.settings.find(({ name }) => name === field.name);
      this.lengths.set(field.name, new LengthField(field, this.unit, changed, row));
    }
    /** @type {Map<string, SizeField>} */
    this.sizes = new Map();
    for (const [name, sizes] of Object.entries({ card: tables.card_sizes, paper: tables.papers })) {
      this.sizes.set(name, new SizeField(need(`[data-size="${name}"]`, form), need(`[data-custom="${name}"]`, form),
        sizes, this.unit, changed));
    }
    // Text counts as it is typed, so that none is lost by leaving; everything else when it is chosen.
    form.addEventListener("input", (event) => {
      const target = /** @type {HTMLInputElement} */ (event.target);
      if (target.type === "text" && target.hasAttribute("data-setting")) this.#changed();
    });
    form.addEventListener("change", (event) => {
      const target = /** @type {HTMLElement} */ (event.target);
      if (target.hasAttribute("data-setting")) this.#changed();
      if (target.hasAttribute("data-unit")) this.#turn(/** @type {HTMLInputElement} */ (target).value === "in" ? "in" : "mm");
    });
    for (const own of /** @type {NodeListOf<HTMLInputElement>} */ (form.querySelectorAll("[data-own-of]"))) {
      own.addEventListener("change", () => {
        const text = own.value.trim();
        if (!text) return;
        const select = need(`[name="${own.dataset.ownOf}"]`, form);
        if (!Array.from(select.options).some((/** @type {HTMLOptionElement} */ one) => one.value === text)) select.add(new Option(text, text));
        select.value = text;
        own.value = "";
        this.#changed();
      });
    }
    form.addEventListener("submit", (event) => event.preventDefault());
    need(`[data-unit][value="${this.unit}"]`, form).checked = true;
    this.#nameUnits();
  }

  /** Every setting as it stands in the form; unreadable text goes out as it is. @returns {Settings} */
  values() {
    /** @type {Settings} */
    const found = {};
    for (const field of this.#plain()) {
      if (field instanceof HTMLInputElement && field.type === "checkbox") found[field.name] = field.checked;
      else if (field.type !== "radio" || /** @type {HTMLInputElement} */ (field).checked) found[field.name] = field.value;
    }
    // As they are kept: what differs from what is kept counts as a change.
    for (const { name, kind } of this.settings) {
      if (name in found && (kind === "text" || kind === "colour")) found[name] = found[name].trim();
      if (name in found && kind === "colour") found[name] = found[name].toLowerCase();
    }
    for (const [name, field] of this.lengths) found[name] = field.value;
    for (const [name, field] of this.sizes) found[name] = field.value;
    return found;
  }

  /** Put settings in where they mean something else than what stands there. @param {Settings} settings */
  fill(settings) {
    if ("printer" in settings) offerPrinters(need('[name="printer"]', this.form), this.printers, "Any, not corrected", settings.printer ?? "");
    for (const field of this.#plain()) {
      const value = settings[field.name];
      if (value === undefined) continue;
      if (field instanceof HTMLInputElement && field.type === "checkbox") field.checked = Boolean(value);
      else if (field instanceof HTMLInputElement && field.type === "radio") field.checked = field.value === value;
      else {
        // One's own stock, say, is among no table's names.
        if (field instanceof HTMLSelectElement && !Array.from(field.options).some((one) => one.value === value)) field.add(new Option(value, value));
        field.value = value;
      }
    }
    for (const [name, field] of this.lengths) if (name in settings) field.set(settings[name]);
    for (const [name, field] of this.sizes) if (name in settings) field.set(settings[name]);
    this.#follow();
  }

  /**
   * Put an error beside its field. False where the form has no such field, so that it is told elsewhere.
   *
   * @param {string} name
   * @param {string} message
   * @param {string} fix
   */
  blame(name, message, fix) {
    const box = this.form.querySelector(`[data-field="${CSS.escape(name)}"]`);
    const line = box?.querySelector("[data-error]");
    if (!box || !(line instanceof HTMLElement)) return false;
    line.replaceChildren(icon("error"), el("span", { text: `${message} ${fix}`.trim() }));
    line.hidden = false;
    for (const field of box.querySelectorAll("input, select")) field.setAttribute("aria-invalid", "true");
    return true;
  }

  /** Take all errors away. */
  clear() {
    for (const line of this.form.querySelectorAll("[data-error]")) /** @type {HTMLElement} */ (line).hidden = true;
    for (const field of this.form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  }

  /** @returns {(HTMLInputElement|HTMLSelectElement)[]} */
  #plain() {
    return Array.from(this.form.querySelectorAll("[data-setting]"));
  }

  #changed() {
    this.#follow();
    this.dispatchEvent(new Event("change"));
  }

  /** Show what belongs to the chosen method, and what is to know of each choice. */
  #follow() {
    const values = this.values();
    const method = this.tables.methods.find((one) => one.name === values.method);
    for (const { name, by_method: byMethod, under } of this.settings) {
      const box = this.form.querySelector(`[data-field="${CSS.escape(name)}"]`);
      if (box instanceof HTMLElement) box.hidden = (byMethod && !method?.honours.includes(name)) || (under !== "" && !values[under]);
    }
    for (const part of this.form.querySelectorAll("[data-when]")) {
      /** @type {HTMLElement} */ (part).hidden = !part.querySelector("[data-field]:not([hidden])");
    }
    for (const { name, choices } of this.settings) {
      const chosen = choices.find((choice) => choice.name === values[name]);
      if (chosen?.hint) this.#hint(name, chosen.hint);
    }
    const stock = this.tables.stocks.find((one) => one.name === values.stock);
    if (stock) {
      this.#hint("stock", `About ${stock.caliper_mm} mm thick; against a light `
        + `${Math.round(stock.show_through * 100)} % of the back shows through.`);
    }
    const printer = this.printers.find(({ id }) => id === values.printer);
    const deck = document.body.dataset.deck ?? "";
    if (printer || !values.printer) {
      this.#hint("printer", ...printerHint(printer, `/decks/${encodeURIComponent(deck)}/true-up`, method?.drift === "one pass"));
    }
    for (const pick of this.form.querySelectorAll("[data-colour-of]")) {
      const field = /** @type {HTMLInputElement} */ (pick);
      const chosen = String(values[field.dataset.colourOf ?? ""]);
      field.value = /^#[0-9a-f]{6}$/i.test(chosen) ? chosen : "#ffffff";
    }
  }

  /** @param {string} name @param {...(Node|string)} says */
  #hint(name, ...says) {
    this.form.querySelector(`[data-field="${CSS.escape(name)}"] [data-hint]`)?.replaceChildren(...says);
  }

  /** The browser's own colour picker writes into the text beside it. */
  #colours() {
    for (const pick of this.form.querySelectorAll("[data-colour-of]")) {
      pick.addEventListener("change", () => {
        const { value, dataset } = /** @type {HTMLInputElement} */ (pick);
        need(`[name="${dataset.colourOf}"]`, this.form).value = value;
        this.#changed();
      });
    }
  }

  /** @param {Unit} unit */
  #turn(unit) {
    this.unit = unit;
    keep("unit", unit);
    for (const field of this.lengths.values()) field.turn(unit);
    for (const field of this.sizes.values()) field.turn(unit);
    this.#nameUnits();
  }

  #nameUnits() {
    for (const name of this.form.querySelectorAll("[data-unit-name]")) name.textContent = this.unit;
  }

  #methods() {
    need("[data-methods]", this.form).replaceChildren(...this.tables.methods.map((method) => {
      const drawing = document.getElementById(`method-${method.name}`) ? `#method-${method.name}` : "#method-other";
      const picture = icon(drawing, "method-art");
      picture.setAttribute("viewBox", "0 0 168 96");
      return el("label", { class: "method" },
        el("input", { type: "radio", name: "method", value: method.name, data: { setting: "" } }), picture,
        el("span", { class: "method-text" }, el("span", { class: "method-name", text: method.label }),
          el("span", { class: "hint", text: method.summary })));
    }));
  }
}
