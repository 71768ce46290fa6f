/**
 * Correct a finished PDF: a ready PDF goes out, and comes back with its backs moved.
 */

import { ApiError } from "../common/api.js";
import { el, icon, need, sized } from "../common/dom.js";
import { notice, say } from "../common/messages.js";
import { kindOf } from "./printers.js";
import { nudge } from "./server.js";

/** @typedef {import("./server.js").Printer} Printer */

export class FinishedPdf {
  constructor() {
    this.file = need("[data-nudge-file]");
    this.printer = need("[data-nudge-printer]");
    this.backs = need("[data-nudge-backs]");
    this.list = need("[data-nudge-list]");
    this.go = need("[data-nudge-go]");
    this.said = need("[data-nudged]");
    /** @type {Printer[]} */
    this.printers = [];
    for (const field of [this.file, this.printer, this.backs]) field.addEventListener("change", () => this.#follow());
    need("[data-nudge]").addEventListener("submit", (/** @type {Event} */ event) => { event.preventDefault(); this.#send(); });
  }

  /** @param {Printer[]} printers */
  show(printers) {
    const { value } = this.printer;
    this.printers = printers;
    this.printer.replaceChildren(...(printers.length ? [] : [new Option("No printer is kept yet", "")]),
      ...printers.map(({ id, name, drift }) => new Option(drift ? name : `${name}, not trued up`, id)));
    const trued = printers.find(({ drift }) => drift);
    this.printer.value = printers.some(({ id }) => id === value) ? value : trued?.id ?? printers[0]?.id ?? "";
    this.#follow();
  }

  #follow() {
    const chosen = this.printers.find(({ id }) => id === this.printer.value);
    this.list.hidden = this.backs.value !== "list";
    need("[data-nudge-state]").textContent = !chosen ? "True one up first, above."
      : !chosen.drift ? "It isn't trued up, so there is nothing to move by."
        : `${kindOf(chosen)}. ${chosen.state === "old" ? "Trued up more than half a year ago: read a sheet again. " : ""}The back ${chosen.drift.says}.`;
    this.go.disabled = !chosen?.drift || !this.file.files?.length;
  }

  async #send() {
    const [file] = this.file.files;
    if (!file) return;
    this.go.disabled = true;
    this.said.replaceChildren(el("p", { class: "soft", text: `Moving the backs of ${file.name}, ${sized(file.size)}` }));
    try {
      const made = await nudge(file, this.printer.value, this.backs.value === "list" ? this.list.value : this.backs.value);
      this.said.replaceChildren(
        el("p", { class: "tu-made" }, icon("good"), `${made.says} ${made.note.charAt(0).toUpperCase()}${made.note.slice(1)}.`),
        ...made.warnings.map((text) => notice("warning", text)),
        el("div", { class: "row" }, el("a", { class: "button button-main", href: made.pdf, download: made.name }, icon("download"), `${made.name}, ${sized(made.bytes)}`)));
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("The file could not be moved.");
      this.said.replaceChildren(notice("error", message, fix));
      say(`${message} ${fix}`);
    }
    this.#follow();
  }
}
