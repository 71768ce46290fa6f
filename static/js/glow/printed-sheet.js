/**
 * A sheet that is printed: its photograph against the light, read, and laid on the light table as it is.
 */

import { ApiError } from "../common/api.js";
import { el, need } from "../common/dom.js";
import { notice, say } from "../common/messages.js";
import { readSheet } from "./server.js";

/** @typedef {import("../common/types.js").PhotoRead} PhotoRead */
/** @typedef {import("./geometry.js").Move} Move */

export class PrintedSheet {
  /**
   * @param {string} id the deck's
   * @param {import("./laid-sheet.js").LaidSheet} laid
   * @param {() => import("./server.js").Print} print
   */
  constructor(id, laid, print) {
    this.id = id;
    this.laid = laid;
    this.print = print;
    this.said = need("[data-printed-said]");
    const file = /** @type {HTMLInputElement} */ (need("[data-printed-file]"));
    file.addEventListener("change", () => {
      const [picture] = file.files ?? [];
      file.value = "";
      if (picture) this.#read(picture);
    });
  }

  /** @param {File} file */
  async #read(file) {
    this.said.replaceChildren(el("p", { class: "soft", text: `Reading ${file.name} …` }));
    try {
      const { sheets: [photo] } = await readSheet(this.id, file, this.print());
      this.#show(photo);
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("The picture could not be read.");
      this.said.replaceChildren(notice("error", message, fix));
      say(`${message} ${fix}`);
    }
  }

  /** @param {PhotoRead} photo */
  #show({ photo, stations, problems, pictures, off }) {
    const read = stations.filter((one) => one.read);
    const says = off ? `${photo}, ${read.length} of ${stations.length} marks read: the back ${off.says}.` : `${photo} was not read.`;
    const few = off && off.rotation_deg === null ? "One mark alone doesn't tell the turn: take another picture, if you can." : "";
    this.said.replaceChildren(
      notice(off ? "good" : "error", says, few),
      ...problems.map((one) => notice("error", one.message, one.fix)),
      ...stations.filter((one) => !one.read).map((one) => notice("warning", `Mark ${one.station}: ${one.why}`)),
      ...pictures.map((src) => el("details", {}, el("summary", { text: "The picture, with what was found" }),
        el("img", { class: "printed-found", src, alt: `${photo}, with rings round the marks that were read and their numbers` }))));
    say(says);
    if (off) this.#lay(moveFrom(off));
  }

  /** What was read is what is left over once the printer's correction has done its part. @param {Move} move */
  #lay(move) {
    if (this.laid.drift) {
      need("[name=print][value=after]").checked = true;
      this.laid.printed("after");
    }
    this.laid.shift(move);
  }

  /** Lay what the True-up page read of a sheet of this deck and put into the address. */
  fromAddress() {
    const given = new URLSearchParams(location.search);
    const [dx, dy, turn, scale] = ["dx_mm", "dy_mm", "rotation_deg", "scale"].map((name) => Number(given.get(name) || NaN));
    if (![dx, dy].every(Number.isFinite)) return;
    this.#lay(moveFrom({ dx_mm: dx, dy_mm: dy, rotation_deg: turn || 0, scale: scale || 1 }));
    this.said.replaceChildren(notice("good", "Laid as the photograph on the True-up page showed it."));
  }
}

/**
 * What was read as a move of the light table, rounded as its numbers are.
 *
 * @param {{dx_mm: number, dy_mm: number, rotation_deg: number|null, scale: number|null}} off
 * @returns {Move}
 */
function moveFrom({ dx_mm: dx, dy_mm: dy, rotation_deg: turn, scale }) {
  const rounded = (/** @type {number} */ value, /** @type {number} */ digits) => Number(value.toFixed(digits)) + 0;
  return { dx: rounded(dx, 2), dy: rounded(dy, 2), turn: rounded(turn ?? 0, 3), scale: rounded(100 * (scale ?? 1), 3) };
}
