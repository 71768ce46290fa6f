/**
 * Photographs into the stations' fields: chosen here, or taken with a phone that a QR code has led to this page.
 */

import { ApiError } from "../common/api.js";
import { el, need } from "../common/dom.js";
import { notice, say } from "../common/messages.js";
import { readPhoto, server } from "./server.js";

/** @typedef {import("../common/types.js").PhotoRead} PhotoRead */

const ASK_EVERY_MS = 2000;
const DESK = new URLSearchParams(location.search).get("to") ?? "";

export class Photos {
  /**
   * @param {import("./reader.js").Reader} reader
   * @param {() => Record<string, string>} how paper and flip of the sheet
   */
  constructor(reader, how) {
    this.reader = reader;
    this.how = how;
    this.said = need("[data-photo-said]", reader.box);
    this.code = need("[data-photo-code]", reader.box);
    const file = /** @type {HTMLInputElement} */ (need("[data-photo-file]", reader.box));
    file.addEventListener("change", () => this.#read(file));
    const phone = need("[data-photo-phone]", reader.box);
    phone.hidden = DESK !== "" || document.body.dataset.role === "playtester";
    phone.addEventListener("click", () => this.#ask());
  }

  /** @param {HTMLInputElement} input */
  async #read(input) {
    const files = [...(input.files ?? [])];
    input.value = "";
    this.said.replaceChildren();
    for (const file of files) {
      const waiting = el("p", { class: "soft", text: `Reading ${file.name} …` });
      this.said.append(waiting);
      try {
        const { sheets } = await readPhoto(file, { ...this.how(), ...(DESK && { to: DESK }) });
        waiting.remove();
        for (const sheet of sheets) this.take(sheet);
        if (DESK) this.said.append(notice("good", "It stands in the desk's form as well."));
      } catch (error) {
        const { message, fix } = error instanceof ApiError ? error : new ApiError("The picture could not be read.");
        waiting.replaceWith(notice("error", message, fix));
        say(`${message} ${fix}`);
      }
    }
  }

  /** Put what a picture shows into a sheet of its own; a deck's sheet tells what it is off by. @param {PhotoRead} photo */
  take(photo) {
    const { sheets } = this.reader;
    const read = photo.stations.filter((one) => one.read);
    if (photo.off) {
      this.#tell(photo, "good", `${photo.photo} is a sheet of a deck: its back ${photo.off.says}.`, "It is no reading of the printer: what was corrected for it is left out.", onGlow(photo.off));
      return;
    }
    if (read.length) {
      if (sheets.count()) sheets.add();
      for (const { station, dx_mm: dx, dy_mm: dy } of read) sheets.sheet.pairs[station] = { dx: round(dx), dy: round(dy) };
      sheets.look(sheets.at, read[0].station);
      sheets.set({});
    }
    const worst = Math.max(...read.map((one) => one.sigma_mm ?? 0));
    const says = read.length ? `Sheet ${sheets.sheet.name}, ${photo.photo}: ${read.length} of ${photo.stations.length} stations read, to ${worst.toFixed(2)} mm or better.` : `${photo.photo} was not read.`;
    this.#tell(photo, read.length ? "good" : "error", says, read.length ? "Look at the numbers, and correct them where you must." : "");
  }

  /** @param {PhotoRead} photo @param {"good"|"error"} tone @param {string} says @param {string} fix @param {Node[]} more */
  #tell(photo, tone, says, fix, ...more) {
    this.said.append(el("div", { class: "rd-shot" },
      notice(tone, says, fix),
      ...more,
      ...photo.problems.map((one) => notice("error", one.message, one.fix)),
      ...photo.stations.filter((one) => !one.read).map((one) => notice("warning", `${photo.off ? "Mark" : "Station"} ${one.station}: ${one.why}`)),
      ...photo.pictures.map((src) => el("details", {}, el("summary", { text: "The picture, with what was found" }),
        el("img", { class: "rd-found", src, alt: `${photo.photo}, with rings round the stations that were read and their numbers` })))));
    say(says);
  }

  async #ask() {
    this.code.hidden = false;
    try {
      const post = await server.post(this.how());
      this.code.replaceChildren(
        el("img", { class: "rd-qr", src: post.qr, width: "200", height: "200", alt: "QR code of the address beside it" }),
        el("div", {}, el("p", {}, "Point the phone's camera at the code. It opens this page there; what you photograph arrives here."),
          el("p", { class: "rd-address" }, el("a", { href: post.url, text: post.url })),
          el("p", { class: "hint", text: `The phone must be in the same network. The code is good for one phone and ${post.minutes} minutes, to read photographs and save a printer, and for nothing else.` })));
      this.#wait(post.id, 0);
    } catch (error) {
      const { message, fix } = error instanceof ApiError ? error : new ApiError("No code could be made.");
      this.code.replaceChildren(notice("error", message, fix));
      say(`${message} ${fix}`);
    }
  }

  /** Fetch what the phone has sent, until the code has run out. @param {string} id @param {number} after */
  async #wait(id, after) {
    let next = after;
    try {
      const came = await server.posted(id, after);
      for (const sheet of came.sheets) this.take(sheet);
      next = came.next;
    } catch (error) {
      if (error instanceof ApiError && error.status === 404) {
        this.code.replaceChildren(notice("note", "The code has run out.", "Ask for a new one when you need it."));
        return;
      }
    }
    setTimeout(() => this.#wait(id, next), ASK_EVERY_MS);
  }
}

/** The way to that sheet's cut cards, where this page is a deck's. @param {import("../common/types.js").SheetOffOut} off */
function onGlow(off) {
  const deck = document.body.dataset.deck;
  // Two marks have their middle aside from the paper's, where Glow lays a move: there only the deck's plan tells.
  if (!deck || off.scale === null) return el("p", { class: "hint", text: "Its deck's Glow page reads it by the plan and shows the cut cards." });
  const given = { dx_mm: off.dx_mm, dy_mm: off.dy_mm, rotation_deg: off.rotation_deg ?? 0, scale: off.scale ?? 1 };
  const query = new URLSearchParams(Object.entries(given).map(([name, value]) => [name, String(value)]));
  return el("a", { class: "button", href: `/decks/${encodeURIComponent(deck)}/glow?${query}`, text: "See its cut cards on Glow" });
}

/** To the micrometre: finer than any picture tells. @param {number|null} mm */
const round = (mm) => (mm === null ? null : Math.round(mm * 1000) / 1000);
