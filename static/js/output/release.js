/**
 * A release on the Output page of those who make the deck: what to pack, how far it is, and the packs there are.
 */

import { api, ApiError, packUrl } from "../common/api.js";
import { counted, el, icon, need, sized } from "../common/dom.js";
import { dated } from "../common/printer-choice.js";
import { notice, say, tellError } from "../common/messages.js";
import { watch } from "./watch-job.js";

/** @typedef {import("../common/types.js").ReleaseOut} Release */
/** @typedef {{name: string, label: string}} Choice */

const INKS = [{ name: "full", label: "Full" }, { name: "pale", label: "Pale, half the ink" }];

/**
 * @param {string} group
 * @param {Choice[]} choices
 * @param {string[]} chosen
 */
function ticks(group, choices, chosen) {
  need(`[data-release-choice="${group}"]`).append(...choices.map(({ name, label }) => el("label", { class: "tick" },
    el("input", { type: "checkbox", name: group, value: name, checked: chosen.includes(name) }), el("span", { text: label }))));
}

export class ReleaseForm {
  /** @param {string} deck @param {import("../common/types.js").TablesOut} tables @param {Record<string, any>} settings */
  constructor(deck, tables, settings) {
    this.deck = deck;
    /** @type {HTMLFormElement} */
    this.form = need("[data-release-form]");
    this.button = need("[data-release]");
    this.cancel = need("[data-release-cancel]");
    this.progress = need("[data-release-progress]");
    /** @type {string|null} */
    this.job = null;
    ticks("methods", tables.methods, [settings.method]);
    ticks("papers", tables.papers, ["a4", "letter"]);
    ticks("inks", INKS, ["full"]);
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.start();
    });
    this.cancel.addEventListener("click", () => this.job && api.cancelJob(this.job).catch(tellError));
  }

  /** The versions to choose from, and the releases there are. */
  async load() {
    const [{ versions, current }, { releases }] = await Promise.all([api.versions(this.deck), api.releases(this.deck)]);
    need("[data-release-versions]").replaceChildren(...versions.map(({ name }) => el("option", { value: name })));
    const field = need("[data-release-version]");
    if (!field.value) field.value = current;
    this.#list(releases);
  }

  /** @param {string} group @returns {string[]} */
  #chosen(group) {
    return Array.from(this.form.querySelectorAll(`[name="${group}"]:checked`), (box) => /** @type {HTMLInputElement} */ (box).value);
  }

  async start() {
    const ask = { version: need("[data-release-version]").value.trim(), methods: this.#chosen("methods"),
      papers: this.#chosen("papers"), inks: /** @type {("full"|"pale")[]} */ (this.#chosen("inks")) };
    const lacks = !ask.version ? "Say what this version is called." : !ask.methods.length ? "Choose a build method."
      : !ask.papers.length ? "Choose a paper." : !ask.inks.length ? "Choose an ink." : "";
    this.#tell(lacks && notice("error", lacks));
    if (lacks) return;
    this.button.disabled = true;
    try {
      const { job } = await api.release(this.deck, ask);
      this.job = job;
      this.cancel.hidden = this.progress.hidden = false;
      const ended = await watch(job, (now) => this.#progress(now));
      if (ended.state === "done") this.#tell(notice("good", `${ask.version} is released. ${ended.message.replace(/^Done\. ?/, "")}`.trim()));
      else if (ended.state === "cancelled") this.#tell(notice("note", "Cancelled; nothing was released."));
      else this.#tell(notice("error", ended.message, ended.fix));
      await this.load();
    } catch (error) {
      const { plain, fix } = error instanceof ApiError ? error : new ApiError("The release broke off.", { fix: "Try again." });
      this.#tell(notice("error", plain, fix));
    }
    this.job = null;
    this.button.disabled = false;
    this.cancel.hidden = this.progress.hidden = true;
  }

  /** @param {Node|string} told */
  #tell(told) {
    need("[data-release-message]").replaceChildren(...(told ? [told] : []));
    if (told instanceof Node) say(told.textContent ?? "");
  }

  /** @param {import("../common/api.js").Job} job */
  #progress({ done, total, message }) {
    const bar = need("[data-release-bar]");
    if (total) bar.value = done / total;
    else bar.removeAttribute("value");
    need("[data-release-says]").textContent = message;
  }

  /** @param {Release[]} releases */
  #list(releases) {
    need("[data-release-list]").replaceChildren(...releases.map((one) => {
      const pdfs = one.files.filter(({ ink }) => ink).length;
      return el("li", {}, el("div", {}, el("strong", { text: one.version }),
        el("span", { class: "soft measure", text: `${dated(one.made.slice(0, 10))} · ${counted(pdfs, "PDF")} · ${sized(one.bytes)}` })),
      el("a", { class: "button button-small", href: packUrl(this.deck, one.id), download: one.name }, icon("download"), `Download ${one.name}`),
      el("button", { class: "button button-small button-quiet", type: "button", "aria-label": `Remove the release ${one.version}`,
        on: { click: () => this.#remove(one) } }, icon("bin"), "Remove"));
    }));
    need("[data-releases]").hidden = !releases.length;
  }

  /** @param {Release} one */
  async #remove(one) {
    if (!window.confirm(`Remove the release ${one.version}? Playtesters lose it; it can be made again.`)) return;
    try {
      this.#list((await api.removeRelease(this.deck, one.id)).releases);
      say(`The release ${one.version} is removed.`);
    } catch (error) {
      tellError(error);
    }
  }
}
