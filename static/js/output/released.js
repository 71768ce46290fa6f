/**
 * What was released, for playtesters: paper, method and ink by two pictures each, the PDF for just that, and what has
 * changed since the version that they have built.
 */

import { api, ApiError, packUrl, releaseFileUrl } from "../common/api.js";
import { counted, drawing, el, icon, need, sized } from "../common/dom.js";
import { keep, recall } from "../common/browser-store.js";
import { dated, offerPrinters, ownPrint } from "../common/printer-choice.js";
import { notice, say } from "../common/messages.js";
import { comparison, lookAll, swap } from "./changes.js";
import { watch } from "./watch-job.js";

/** @typedef {import("../common/types.js").ReleaseOut} Release */
/** @typedef {import("../common/types.js").TablesOut} Tables */
/** @typedef {"paper"|"method"|"ink"} Kind */

const KINDS = /** @type {Kind[]} */ (["paper", "method", "ink"]);

/** @param {Release} one */
const titled = (one) => `${one.version}, released ${dated(one.made.slice(0, 10))}`;

/**
 * Show the releases of the deck, the newest first; nothing where there is none.
 *
 * @param {import("../common/types.js").DeckRecord} deck
 * @param {Tables} tables
 * @param {import("../common/printer-choice.js").Printer[]} printers
 */
export async function showReleased(deck, tables, printers) {
  const { releases } = await api.releases(deck.id);
  if (releases.length) new Released(deck, tables, releases, printers).show(releases[0]);
}

class Released {
  /** @param {import("../common/types.js").DeckRecord} deck @param {Tables} tables @param {Release[]} releases
   *  @param {import("../common/printer-choice.js").Printer[]} printers */
  constructor(deck, tables, releases, printers) {
    this.deck = deck;
    this.printers = printers;
    this.tables = tables;
    this.releases = releases;
    this.newest = releases[0];
    this.shown = releases[0];
    /** @type {{id: string, version: string}|null} the release that they have built, by this browser's memory */
    this.mine = (recall("released") ?? {})[deck.id] ?? null;
    this.asked = 0;
    this.form = need("[data-released-form]");
    this.form.addEventListener("change", () => this.#chosen());
    this.which = need("[data-released-which]");
    this.which.addEventListener("change", () => this.show(this.#named(this.which.value) ?? this.newest));
    this.built = need("[data-released-built]");
    this.built.addEventListener("change", () => this.#take(this.#named(this.built.value), true));
    this.printer = need("[data-released-printer]");
    this.printer.addEventListener("change", () => {
      need("[data-released-sheet]").replaceChildren();
      // The one choice of a printer, which stands below for the deck as it is now, too.
      const own = need("[data-own-printer-name]");
      own.value = this.printer.value;
      own.dispatchEvent(new Event("change"));
    });
    need("[data-own-printer]").addEventListener("change", () => this.#offerPrinters(this.#values().paper));
    this.only = need("[data-released-only]");
    this.only.addEventListener("click", () => this.#change());
    for (const anchor of document.querySelectorAll("[data-released] a[data-takes]")) {
      anchor.addEventListener("click", () => this.#take(this.shown, false));
    }
    this.#lists();
  }

  /** @param {string} id @returns {Release|undefined} */
  #named(id) {
    return this.releases.find((one) => one.id === id);
  }

  #lists() {
    const says = (/** @type {Release} */ one) => `${one.version}${one === this.newest ? " (newest)" : ""}, ${dated(one.made.slice(0, 10))}`;
    this.which.replaceChildren(...this.releases.map((one) => new Option(says(one), one.id)));
    const one = this.releases.length === 1;
    [need("[data-released-which-field]").hidden, need("[data-released-what]").hidden] = [one, !one];
    const gone = this.mine && !this.#named(this.mine.id) ? [new Option(`${this.mine.version}, not kept here any more`, this.mine.id)] : [];
    this.built.replaceChildren(new Option("None of them yet", ""), ...this.releases.map((one) => new Option(says(one), one.id)), ...gone);
    this.built.value = this.mine?.id ?? "";
  }

  /** @param {Release} release */
  show(release) {
    this.shown = release;
    this.which.value = release.id;
    need("[data-released-what]").textContent = titled(release);
    const before = Object.fromEntries(new FormData(this.form));
    const wanted = { paper: recall("own-printer")?.paper ?? this.deck.settings.paper, method: this.deck.settings.method, ink: "full", ...before };
    for (const kind of KINDS) {
      const values = [...new Set(this.#sheets().map((file) => file[kind]))];
      const first = values.includes(wanted[kind]) ? wanted[kind] : values[0] ?? "";
      need(`[data-released-choice="${kind}"]`).replaceChildren(...values.map((value) => this.#choice(kind, value, value === first)));
    }
    const pack = need("[data-released-pack]");
    [pack.href, pack.download] = [packUrl(this.deck.id, release.id), release.name];
    need("[data-released-pack-size]").textContent = `The whole pack (${sized(release.bytes)})`;
    need("[data-released-extras]").replaceChildren(...release.files.filter(({ part }) => part === "extra").map(({ file }) => {
      const name = file.split("/").pop() ?? "";
      return el("a", { class: "button button-small button-quiet", href: releaseFileUrl(this.deck.id, release.id, file), download: name }, icon("download"), name);
    }));
    this.#chosen();
    this.#compare();
    need("[data-released]").hidden = false;
  }

  #sheets() {
    return this.shown.files.filter(({ part, deck }) => part === "sheets" && deck === this.deck.id);
  }

  /** @param {Kind} kind @param {string} value */
  #label(kind, value) {
    if (kind === "ink") return value === "pale" ? "Pale, half the ink" : "Full";
    const table = kind === "paper" ? this.tables.papers : this.tables.methods;
    return table.find((one) => one.name === value)?.label ?? value;
  }

  /** @param {Kind} kind @param {string} value @param {boolean} checked */
  #choice(kind, value, checked) {
    const picture = (/** @type {string} */ part, says = "") => el("span", { class: "look", data: { look: `${kind}/${value}/${part}` } },
      el("span", { class: "look-picture" }), el("span", { class: "look-says", text: says }));
    return el("label", { class: "method looks" }, el("input", { type: "radio", name: kind, value, checked }),
      el("span", { class: "method-name", text: this.#label(kind, value) }),
      el("span", { class: "look-pair", "aria-hidden": "true" }, picture("printed", "As printed"), picture("made")));
  }

  /** @returns {Record<Kind, string>} */
  #values() {
    return /** @type {any} */ (Object.fromEntries(new FormData(this.form)));
  }

  #chosen() {
    const chosen = this.#values();
    const of = (/** @type {Release["files"][number]} */ one) => one.deck === this.deck.id && one.paper === chosen.paper && one.method === chosen.method;
    const pdf = this.#sheets().find((one) => of(one) && one.ink === chosen.ink);
    this.#link("[data-released-pdf]", pdf);
    for (const part of /** @type {const} */ (["guide", "box"])) {
      this.#link(`[data-released-${part}]`, this.shown.files.find((one) => one.part === part && of(one)));
    }
    need("[data-released-facts]").textContent = pdf ? `${counted(pdf.papers, "sheet of paper", "sheets of paper")} · ${sized(pdf.bytes)}`
      : "The cards don't fit on this paper that way: choose another.";
    this.only.disabled = !pdf;
    need("[data-released-sheet]").replaceChildren();
    this.#offerPrinters(chosen.paper);
    this.#draw(chosen);
  }

  /** Their own printer is chosen where it was measured on this paper. @param {string} paper */
  #offerPrinters(paper) {
    const own = this.printers.find(({ id, deleted }) => id === ownPrint().printer && !deleted);
    offerPrinters(this.printer, this.printers.filter(({ deleted }) => !deleted), "Any, not corrected", own?.paper === paper ? own.id : "");
    need("[data-released-printer-field]").hidden = this.printer.options.length < 2;
  }

  /** For which printer the sheets were made, "" for any. */
  #printed() {
    const printer = this.printers.find(({ id }) => id === this.printer.value);
    return !printer ? "" : printer.trued_up ? `corrected for ${printer.name}` : `for the edges of ${printer.name}, not trued up`;
  }

  /** The pictures, with each other choice as it is now. @param {Record<Kind, string>} chosen */
  async #draw(chosen) {
    const turn = ++this.asked;
    try {
      const looks = await api.looks(this.deck.id, this.shown.id, chosen);
      if (turn !== this.asked) return;
      for (const kind of KINDS) for (const look of looks[kind]) for (const part of /** @type {const} */ (["printed", "made"])) {
        const place = document.querySelector(`[data-look="${CSS.escape(`${kind}/${look.value}/${part}`)}"]`);
        place?.querySelector(".look-picture")?.replaceChildren(drawing(look[part]));
        if (place && part === "made") need(".look-says", place).textContent = look.says;
      }
    } catch (error) {
      if (!(error instanceof ApiError)) throw error; // the words are there without pictures
    }
  }

  /** @param {string} selector @param {Release["files"][number]|undefined} file none where this wasn't released */
  #link(selector, file) {
    const anchor = need(selector);
    anchor.hidden = !file;
    if (file) [anchor.href, anchor.download] = [releaseFileUrl(this.deck.id, this.shown.id, file.file), file.file.split("/").pop() ?? ""];
  }

  /** Remember what they have. What is downloaded is news for the next time alone. @param {Release|undefined} release @param {boolean} now */
  #take(release, now) {
    const all = { ...recall("released") };
    if (release) all[this.deck.id] = { id: release.id, version: release.version };
    else delete all[this.deck.id];
    keep("released", all);
    if (!now) return;
    this.mine = all[this.deck.id] ?? null;
    this.#compare();
  }

  /** Whether what is shown is newer than theirs, and what changed since. */
  async #compare() {
    const mine = this.mine && this.#named(this.mine.id);
    const [told, part] = [need("[data-released-newer]"), need("[data-released-since]")];
    const same = mine && (mine.id === this.shown.id || (mine.version_id !== "" && mine.version_id === this.shown.version_id));
    const newer = this.mine && (!mine || this.releases.indexOf(mine) > this.releases.indexOf(this.newest)) && mine?.version_id !== this.newest.version_id;
    told.replaceChildren(...(!this.mine ? [] : newer
      ? [notice("warning", `${this.newest.version} is newer than ${this.mine.version}, which you have.`,
        "Get it, so that you play with what the others have."),
      ...(mine ? [el("p", {}, el("a", { href: "#released-since-title", text: "See what changed, and print only that" }))] : [])]
      : [notice("good", `You have ${this.mine.version}, and it is the newest.`)]));
    const comparable = mine && !same && mine.version_id && this.shown.version_id
      && this.releases.indexOf(mine) > this.releases.indexOf(this.shown);
    part.hidden = this.only.hidden = !comparable;
    if (!comparable) return;
    need("[data-released-since-title]").textContent = `What changed from ${mine.version} to ${this.shown.version}`;
    this.only.textContent = `Get only what changed since ${mine.version}`;
    need("[data-released-sheet]").replaceChildren();
    const place = need("[data-released-changes]");
    const shown = this.shown;
    const waits = () => shown === this.shown && this.mine?.id === mine.id;
    try {
      await lookAll(() => api.releasedLooked(this.deck.id, shown.id, mine.id), (told) => {
        if (waits()) place.replaceChildren(...told);
        return waits();
      });
      const changes = await api.releasedChanges(this.deck.id, shown.id, mine.id);
      if (!waits()) return;
      place.replaceChildren(...comparison(changes));
      this.only.hidden = !changes.printed.length && !changes.take_out.length;
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("They could not be compared.");
      place.replaceChildren(notice("error", message, fix));
    }
  }

  /** The change sheet for the paper, method and ink that are chosen. */
  async #change() {
    const place = need("[data-released-sheet]");
    this.only.disabled = true;
    const says = el("p", { class: "soft measure", role: "status", text: "Waiting for its turn" });
    place.replaceChildren(says);
    try {
      const { job } = await api.changeSheet(this.deck.id, this.shown.id, { since: this.mine?.id ?? "", ...this.#values(), printer: this.printer.value });
      const { state, message, fix, result } = await watch(job, (now) => { says.textContent = now.message || "Laying out the sheets"; });
      if (state !== "done" || !result) throw new ApiError(message, { fix });
      place.replaceChildren(...(result.pdf ? [el("a", { class: "button button-main", href: result.pdf, download: result.name,
        on: { click: () => this.#take(this.shown, false) } }, icon("download"), "Download what changed"),
      el("p", { class: "soft measure", text: [result.name, `${result.cards} of ${counted(result.changes?.cards ?? result.cards, "card")}`,
        counted(result.papers, "sheet of paper", "sheets of paper"), sized(result.bytes), this.#printed()].filter(Boolean).join(" · ") })]
        : [el("p", { text: message })]), ...(result.changes ? swap(result.changes) : []));
      say(result.pdf ? `${result.name} is ready.` : message);
    } catch (error) {
      const { plain, fix } = error instanceof ApiError ? error : new ApiError("It broke off.", { fix: "Try again." });
      place.replaceChildren(notice("error", plain, fix));
    }
    this.only.disabled = false;
  }
}
