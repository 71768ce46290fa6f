/**
 * What the deck costs by every build method and paper, worked out when it is asked for; a row is taken with a button.
 */

import { api, ApiError } from "../common/api.js";
import { keep, recall } from "../common/browser-store.js";
import { counted, el, icon, need, settled } from "../common/dom.js";
import { notice, say } from "../common/messages.js";

/** @typedef {import("../common/types.js").CostRow} Row */
/** @typedef {import("../common/types.js").CostAsk} Ask */

const AGAIN_AFTER_MS = 400;
// What a row sets, and the pins that belong to one sheet alone: none of them changes the table.
const OWN = ["method", "paper", "arrangement", "card_turned"];

/** @type {Record<string, (row: Row) => number>} */
const BY = { money: (row) => row.money, minutes: (row) => row.minutes, sheets: (row) => row.papers, cuts: (row) => row.cuts,
  ink: (row) => row.ink_a4_pages };

export class CostTable {
  /**
   * @param {import("../common/open-deck.js").OpenDeck} deck
   * @param {import("../common/types.js").TablesOut} tables
   * @param {(row: {method: string, paper: string}) => void} take
   */
  constructor(deck, tables, take) {
    this.deck = deck;
    this.tables = tables;
    this.take = take;
    /** @type {HTMLFormElement} */
    this.form = need("[data-cost-ask]");
    this.button = need("[data-cost-compare]");
    /** @type {Row[]} */
    this.rows = [];
    this.asked = 0;
    this.told = "";
    this.#fill(recall("prices") ?? {});
    const again = settled(() => { if (this.rows.length) this.compare(); }, AGAIN_AFTER_MS);
    this.form.addEventListener("input", again);
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.compare(); });
    need("[data-cost-go]").addEventListener("click", () => { if (!this.rows.length) this.compare(); });
    this.again = again;
  }

  /** The deck is laid out anew: what is shown follows. */
  follow() {
    if (!this.rows.length) return;
    this.#show();
    if (this.#about() !== this.told) this.again();
  }

  /** @param {Record<string, string>} kept */
  #fill(kept) {
    for (const name of ["care", "sheet_price", "ink_price"]) {
      const field = /** @type {HTMLInputElement} */ (this.form.elements.namedItem(name));
      if (kept[name]) field.value = kept[name];
      if (!field.value) field.value = name === "care" ? "minutes" : "";
    }
  }

  /** @returns {Ask|null} null where a price is none, which is told */
  #ask() {
    const said = /** @type {Record<string, string>} */ (/** @type {any} */ (Object.fromEntries(new FormData(this.form))));
    /** @type {Record<string, number>} */
    const prices = {};
    let sound = true;
    for (const name of ["sheet_price", "ink_price"]) {
      prices[name] = Number(said[name].trim().replace(",", ".") || 0);
      const wrong = !(prices[name] >= 0 && prices[name] <= 1e6);
      /** @type {HTMLInputElement} */ (this.form.elements.namedItem(name)).setAttribute("aria-invalid", String(wrong));
      sound = sound && !wrong;
    }
    if (!sound) {
      need("[data-cost-message]").replaceChildren(notice("error", "That is no price.", "Write it as 0.08, in your own money."));
      return null;
    }
    keep("prices", said);
    return /** @type {Ask} */ ({ care: said.care, ...prices });
  }

  /** What the answer depends on. */
  #about() {
    return JSON.stringify(Object.entries(this.deck.settings).filter(([name]) => !OWN.includes(name)));
  }

  async compare() {
    const ask = this.#ask();
    if (!ask) return;
    const [turn, message, about] = [++this.asked, need("[data-cost-message]"), this.#about()];
    message.replaceChildren(...(this.rows.length ? [] : [el("p", { class: "soft measure", text: "Working it out" })]));
    this.button.disabled = true;
    try {
      const costs = () => api.cost(this.deck.id, { ...ask, settings: this.deck.waitingSettings });
      let answer = await costs();
      while (answer.looked < answer.arts && turn === this.asked) {
        message.replaceChildren(el("p", { class: "soft measure", text: `Looking at the ink of ${answer.looked} of ${counted(answer.arts, "picture")}` }),
          el("progress", { max: answer.arts, value: answer.looked, "aria-label": "Pictures looked at" }));
        answer = await costs();
      }
      if (turn !== this.asked) return;
      message.replaceChildren();
      this.told = about;
      this.care = answer.care;
      this.rows = answer.rows;
      this.#show();
      this.#leftOut(answer.left_out);
      if (!answer.rows.length) message.replaceChildren(notice("note", "The cards fit on none of the papers."));
    } catch (error) {
      const { plain, fix } = error instanceof ApiError ? error : new ApiError("It could not be worked out.", { fix: "Try again." });
      if (turn === this.asked) message.replaceChildren(notice("error", plain, fix));
    }
    if (turn === this.asked) this.button.disabled = false;
  }

  /** @param {"papers"|"methods"} table @param {string} name @returns {string} */
  #label(table, name) {
    return this.tables[table].find((one) => one.name === name)?.label ?? name;
  }

  #show() {
    const { method, paper } = this.deck.settings;
    const by = BY[this.care ?? "minutes"];
    const sorted = [...this.rows].sort((one, other) => Number(other.best) - Number(one.best) || by(one) - by(other) || one.minutes - other.minutes);
    need("[data-cost-table]").hidden = !sorted.length;
    need("[data-cost-rows]").replaceChildren(...sorted.map((row) => this.#row(row, row.method === method && row.paper === paper)));
  }

  /** @param {Row} row @param {boolean} used */
  #row(row, used) {
    const cell = (/** @type {string|number} */ text) => el("td", { class: "measure", text: String(text) });
    const [method, paper] = [this.#label("methods", row.method), this.#label("papers", row.paper)];
    return el("tr", used ? { class: "used" } : {},
      el("th", { scope: "row" }, method, el("span", { class: "cost-paper" }, paper,
        row.best && el("span", { class: "tag", data: { tone: "good" } }, icon("good"), "Best"))),
      cell(row.papers), cell(row.cuts), cell(Math.round(row.minutes)), cell(row.ink_a4_pages.toFixed(1)), cell(row.money.toFixed(2)),
      el("td", {}, used ? el("span", { class: "tag", data: { tone: "good" } }, icon("good"), "In use")
        : el("button", { class: "button button-small", type: "button", text: "Use", "aria-label": `Use ${method} on ${paper}`,
          on: { click: () => { this.take({ method: row.method, paper: row.paper }); say(`${method} on ${paper} is in use.`); } } })));
  }

  /** @param {import("../common/types.js").NotThat[]} left */
  #leftOut(left) {
    const place = need("[data-cost-left-out]");
    place.hidden = !left.length;
    need("summary", place).textContent = `${counted(left.length, "way doesn't", "ways don't")} take these cards`;
    need("ul", place).replaceChildren(...left.map(({ method, paper, why }) => el("li", {
      text: `${this.#label("methods", method)}, ${this.#label("papers", paper)}: ${why}` })));
  }
}
