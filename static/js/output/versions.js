/**
 * Versions on the Output page: kept under a name, compared, built, restored; and the switch for change sheets.
 */

import { api, ApiError } from "../common/api.js";
import { counted, el, icon, need } from "../common/dom.js";
import { notice, say, tellError, toast } from "../common/messages.js";
import { comparison, lookAll } from "./changes.js";

/** @typedef {import("../common/open-deck.js").OpenDeck} OpenDeck */
/** @typedef {import("../common/api.js").Version} Version */
/** @typedef {{version?: string, since?: string}} Which */

const NOW = "The deck as it is now";

/** @param {string} iso */
const when = (iso) => new Date(iso).toLocaleString("en-GB", { day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });

/**
 * @param {OpenDeck} deck
 * @param {(which: Which) => void} build
 * @param {() => void} changed the deck is another one now
 * @returns {{load: () => Promise<void>, which: () => Which}} ``which`` says what the switch asks to build
 */
export function bindVersions(deck, build, changed) {
  // Playtesters see no versions.
  if (!document.querySelector("[data-versions]")) return { load: async () => {}, which: () => ({}) };
  const panel = new Versions(deck, build, changed);
  return { load: () => panel.load(), which: () => panel.which() };
}

class Versions {
  /** @param {OpenDeck} deck @param {(which: Which) => void} build @param {() => void} changed */
  constructor(deck, build, changed) {
    this.deck = deck;
    this.build = build;
    this.changed = changed;
    /** @type {Version[]} */
    this.versions = [];
    this.only = need("[data-since-only]");
    this.since = need("[data-since-version]");
    this.from = need("[data-compare-from]");
    this.to = need("[data-compare-to]");
    this.asked = 0;
    need("[data-keep-version]").addEventListener("submit", (/** @type {Event} */ event) => { event.preventDefault(); this.keep(); });
    this.since.addEventListener("change", () => { this.only.checked = true; });
    for (const field of [this.from, this.to]) field.addEventListener("change", () => this.compare());
  }

  /** @returns {Which} */
  which() {
    return this.only.checked && this.since.value ? { since: this.since.value } : {};
  }

  async load() {
    const { versions, current } = await api.versions(this.deck.id);
    this.versions = versions;
    const [latest] = versions;
    need("[data-version-now]").textContent = current ? `The deck is ${current}, as it was kept.`
      : latest ? `The deck has changed since ${latest.name}.`
      : "A version keeps all cards and settings as they are now, to compare with, print from or go back to.";
    need("[data-versions]").replaceChildren(...versions.map((version) => this.#row(version)));
    need("[data-since]").hidden = !versions.length;
    fill(this.since, versions, current && versions.length > 1 ? versions[1].id : latest?.id ?? "");
    fill(this.from, versions, latest?.id ?? "");
    fill(this.to, versions, "", NOW);
    if (!versions.length) need("[data-compare]").hidden = true;
    const rail = document.querySelector("[data-deck-version]");
    if (rail) rail.textContent = latest?.name ?? "Keep a version";
  }

  /** @param {Version} version */
  #row(version) {
    const button = (/** @type {string} */ text, /** @type {() => void} */ act, quiet = true) => el("button", {
      class: `button button-small${quiet ? " button-quiet" : ""}`, type: "button", text, "aria-label": `${text}: ${version.name}`,
      on: { click: act } });
    const name = el("p", { class: "version-name", text: version.name });
    return el("li", {},
      el("div", {}, name,
        el("p", { class: "measure" }, `${counted(version.cards, "card")}, kept `, el("time", { dateTime: version.made, text: when(version.made) }))),
      el("div", { class: "row" },
        button("Compare", () => this.open(version), false), button("Build it", () => this.rebuild(version), false),
        button("Restore", () => this.restore(version)), button("Rename", () => this.rename(version, name)),
        el("button", { class: "button button-small button-quiet button-icon", type: "button", title: "Remove",
          "aria-label": `Remove ${version.name}`, on: { click: () => this.remove(version) } }, icon("bin"))));
  }

  async keep() {
    const [field, wrong] = [need("#version-name"), need("[data-version-error]")];
    try {
      const { name } = await api.keepVersion(this.deck.id, field.value, this.deck.record.revision);
      field.value = "";
      fault(field, wrong, "");
      await this.load();
      say(`${name} is kept.`);
    } catch (error) {
      if (!(error instanceof ApiError)) throw error;
      if (error.status !== 422) tellError(error);
      else fault(field, wrong, `${error.message.replace(/^name: /, "")} ${error.fix}`);
    }
  }

  /** @param {Version} version */
  open(version) {
    need("[data-compare]").hidden = false;
    [this.from.value, this.to.value] = [version.id, ""];
    this.compare();
  }

  async compare() {
    const [place, turn] = [need("[data-changes]"), ++this.asked];
    const [from, to] = [this.from.value, this.to.value];
    try {
      await lookAll(() => api.looked(this.deck.id, from, to), (shown) => {
        if (turn === this.asked) place.replaceChildren(...shown);
        return turn === this.asked;
      });
      const changes = await api.changes(this.deck.id, from, to);
      if (turn === this.asked) place.replaceChildren(...comparison(changes));
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("They could not be compared.");
      if (turn === this.asked) place.replaceChildren(notice("error", message, fix));
    }
  }

  /** @param {Version} version */
  rebuild(version) {
    need("#build-title").scrollIntoView({ block: "center" });
    this.build({ version: version.id });
  }

  /** @param {Version} version */
  restore(version) {
    return this.#act(async () => {
      this.deck.take(await api.restoreVersion(this.deck.id, version.id), "restored");
      this.changed();
      toast(`The deck is ${version.name} again.`, { action: "Undo", act: () => this.#act(async () => {
        await this.deck.step("undo");
        this.changed();
      }) });
    });
  }

  /**
   * The name becomes a field: Enter keeps what is written, Escape and leaving it unchanged don't.
   *
   * @param {Version} version
   * @param {HTMLElement} place
   */
  rename(version, place) {
    const field = /** @type {HTMLInputElement} */ (el("input", { class: "input", value: version.name, maxLength: 120, "aria-label": `Another name for ${version.name}` }));
    let done = false;
    const end = (/** @type {string} */ name) => {
      if (done) return;
      done = true;
      place.textContent = version.name;
      if (name && name !== version.name) this.#act(() => api.changeVersion(this.deck.id, version.id, { name }));
    };
    field.addEventListener("keydown", (event) => {
      if (event.key === "Enter") end(field.value.trim());
      if (event.key === "Escape") end("");
    });
    field.addEventListener("blur", () => end(field.value.trim()));
    place.replaceChildren(field);
    field.select();
  }

  /** @param {Version} version */
  remove(version) {
    return this.#act(async () => {
      await api.changeVersion(this.deck.id, version.id, { removed: true });
      toast(`${version.name} is removed.`, { action: "Undo",
        act: () => this.#act(() => api.changeVersion(this.deck.id, version.id, { removed: false })) });
    });
  }

  /** @param {() => Promise<any>} act */
  async #act(act) {
    try {
      await act();
      await this.load();
      if (!need("[data-compare]").hidden) await this.compare();
    } catch (error) {
      tellError(error);
    }
  }
}

/**
 * Fill a select in; what was chosen stays so where it can.
 *
 * @param {HTMLSelectElement} select
 * @param {Version[]} versions
 * @param {string} otherwise
 * @param {string} [first] a choice before all versions, whose value is ""
 */
function fill(select, versions, otherwise, first) {
  const kept = select.options.length ? select.value : otherwise;
  select.replaceChildren(...(first ? [new Option(first, "")] : []), ...versions.map(({ id, name }) => new Option(name, id)));
  select.value = Array.from(select.options).some(({ value }) => value === kept) ? kept : otherwise;
}

/** @param {HTMLInputElement} field @param {HTMLElement} place @param {string} text "" where all is well */
function fault(field, place, text) {
  field.setAttribute("aria-invalid", String(Boolean(text)));
  place.hidden = !text;
  place.replaceChildren(...(text ? [icon("error"), text] : []));
}
