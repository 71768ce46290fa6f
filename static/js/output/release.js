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
  /**
   * @param {string} deck
   * @param {import("../common/types.js").TablesOut} tables
   * @param {Record<string, any>} settings
   * @param {() => void} kept a release keeps the deck as it is, as a version
   */
  constructor(deck, tables, settings, kept) {
    this.deck = deck;
    this.kept = kept;
    /** @type {HTMLFormElement} */
    this.form = need("[data-release-form]");
    this.button = need("[data-release]");
    this.cancel = need("[data-release-cancel]");
    this.progress = need("[data-release-progress]");
    /** @type {string|null} */
    this.job = null;
    /** Changes of the own files that are under way, and when the last of them has ended. */
    this.changing = 0;
    this.changed = Promise.resolve();
    ticks("methods", tables.methods, [settings.method]);
    ticks("papers", tables.papers, ["a4", "letter"]);
    ticks("inks", INKS, ["full"]);
    const sheet = el("a", { href: `/decks/${encodeURIComponent(deck)}/sheet#g-box`, text: "Sheet page" });
    need("[data-release-box]").replaceChildren(...(settings.box ? ["A box for the cards goes in for each method and paper, as the ", sheet, " has it."]
      : ["No box goes in; choose one on the ", sheet, " if you want it."]));
    const add = need("[data-release-add]");
    add.addEventListener("change", () => {
      const files = /** @type {File[]} */ (Array.from(add.files));
      add.value = "";
      this.#change(...files.map((file) => async () => {
        // Held here: it is sent until it is there, and a file may have left the disk by then.
        const content = new Blob([await file.arrayBuffer()]);
        return api.putExtra(this.deck, file.name, content);
      }));
    });
    window.addEventListener("beforeunload", (event) => { if (this.changing) event.preventDefault(); });
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.start();
    });
    this.cancel.addEventListener("click", () => this.job && api.cancelJob(this.job).catch(tellError));
  }

  /** The versions to choose from, the other decks, own files, the releases there are, and one that is being made. */
  async load() {
    const [{ decks }, { extras }] = await Promise.all([api.decks(), api.extras(this.deck), this.#refresh()]);
    const others = decks.filter(({ id, cards }) => id !== this.deck && cards);
    need("[data-release-decks]").hidden = !others.length;
    ticks("decks", others.map(({ id, name }) => ({ name: id, label: name })), []);
    this.#own(extras);
  }

  async #refresh() {
    const [{ versions, current }, { releases, under_way: job }] = await Promise.all([api.versions(this.deck), api.releases(this.deck)]);
    need("[data-release-versions]").replaceChildren(...versions.map(({ name }) => el("option", { value: name })));
    const field = need("[data-release-version]");
    if (!field.value) field.value = current;
    this.#list(releases);
    if (job && !this.job) this.#follow(job.id);
  }

  /** @param {import("../common/types.js").ExtraOut[]} extras */
  #own(extras) {
    const off = new Set(Array.from(this.form.querySelectorAll('[name="extras"]:not(:checked)'), (box) => /** @type {HTMLInputElement} */ (box).value));
    need("[data-release-extras]").replaceChildren(...extras.map(({ name, bytes }) => el("li", {},
      el("label", { class: "tick" }, el("input", { type: "checkbox", name: "extras", value: name, checked: !off.has(name) }),
        el("span", { text: `${name}, ${sized(bytes)}` })),
      el("button", { class: "button button-small button-quiet", type: "button", "aria-label": `Remove ${name}`,
        on: { click: () => this.#change(() => api.removeExtra(this.deck, name)) } }, icon("bin"), "Remove"))));
  }

  /** @param {(() => Promise<import("../common/types.js").ExtrasOut>)[]} acts on the deck's own files, one after another */
  #change(...acts) {
    const place = need("[data-release-extras-message]");
    if (!this.changing) place.replaceChildren();
    this.changing += acts.length;
    for (const act of acts) this.changed = this.changed.then(async () => {
      try {
        this.#own((await act()).extras);
      } catch (error) {
        const { message, fix } = error instanceof ApiError ? error : new ApiError("It could not be sent.", { fix: "Try again." });
        place.append(notice("error", message, fix));
      }
      this.changing -= 1;
    });
  }

  /** @param {string} group @returns {string[]} */
  #chosen(group) {
    return Array.from(this.form.querySelectorAll(`[name="${group}"]:checked`), (box) => /** @type {HTMLInputElement} */ (box).value);
  }

  async start() {
    this.button.disabled = true;
    await this.changed;
    this.button.disabled = false;
    const ask = { version: need("[data-release-version]").value.trim(), methods: this.#chosen("methods"),
      papers: this.#chosen("papers"), inks: /** @type {("full"|"pale")[]} */ (this.#chosen("inks")),
      decks: this.#chosen("decks"), extras: this.#chosen("extras") };
    const lacks = !ask.version ? "Say what this version is called." : !ask.methods.length ? "Choose a build method."
      : !ask.papers.length ? "Choose a paper." : !ask.inks.length ? "Choose an ink." : "";
    this.#tell(lacks && notice("error", lacks));
    if (lacks) return;
    this.button.disabled = true;
    try {
      await this.#follow((await api.release(this.deck, ask)).job, ask.version);
    } catch (error) {
      this.#broke(error);
    }
  }

  /** Show how far the job is, and what comes of it. @param {string} job @param {string} [version] where it is known */
  async #follow(job, version) {
    this.job = job;
    this.button.disabled = true;
    this.cancel.hidden = this.progress.hidden = false;
    try {
      const ended = await watch(job, (now) => this.#progress(now));
      if (ended.state === "done") this.#tell(notice("good", `${version ? `${version} is released.` : "The release is made."} ${ended.message.replace(/^Done\. ?/, "")}`.trim()));
      else if (ended.state === "cancelled") this.#tell(notice("note", "Cancelled; nothing was released."));
      else this.#tell(notice("error", ended.message, ended.fix));
      this.job = null;
      this.kept();
      await this.#refresh();
    } catch (error) {
      this.#broke(error);
    }
    this.job = null;
    this.button.disabled = false;
    this.cancel.hidden = this.progress.hidden = true;
  }

  /** @param {unknown} error */
  #broke(error) {
    const { plain, fix } = error instanceof ApiError ? error : new ApiError("The release broke off.", { fix: "Try again." });
    this.#tell(notice("error", plain, fix));
    this.button.disabled = false;
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
      const pdfs = one.files.filter(({ part }) => part === "sheets").length;
      const decks = new Set(one.files.map(({ deck }) => deck).filter(Boolean)).size;
      return el("li", {}, el("div", {}, el("strong", { text: one.version }),
        el("span", { class: "soft measure", text: `${dated(one.made.slice(0, 10))} · ${decks > 1 ? `${decks} decks · ` : ""}${counted(pdfs, "PDF")} · ${sized(one.bytes)}` })),
      el("a", { class: "button button-small", href: packUrl(this.deck, one.id), download: one.name }, icon("download"), `Download ${one.name}`),
      el("button", { class: "button button-small button-quiet", type: "button", "aria-label": `Remove the release ${one.version}`,
        on: { click: () => this.#remove(one) } }, icon("bin"), "Remove"));
    }));
    need("[data-releases]").hidden = !releases.length;
  }

  /** @param {Release} one */
  async #remove(one) {
    if (!window.confirm(`Remove the release ${one.version}? Playtesters lose it${new Set(one.files.map(({ deck }) => deck).filter(Boolean)).size > 1 ? ", in all its decks" : ""}; it can be made again.`)) return;
    try {
      this.#list((await api.removeRelease(this.deck, one.id)).releases);
      say(`The release ${one.version} is removed.`);
    } catch (error) {
      tellError(error);
    }
  }
}
