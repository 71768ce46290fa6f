/**
 * The sheet on the page: which sheet and face, how large, and whether the safe zone shows.
 */

import { drawing, el, need } from "../common/dom.js";

/** @typedef {{sheet: number, name: "front"|"back"|"spread"}} Face */

const NAMES = { front: "Front", back: "Back", spread: "Front and back" };
const ZOOMS = [0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8];

/** Fires "face" when a person asks for another sheet or face. */
export class SheetView extends EventTarget {
  constructor() {
    super();
    this.table = need("[data-table]");
    this.holder = need("[data-sheet]");
    this.sheet = 0;
    /** @type {Face["name"]} */
    this.face = "front";
    /** @type {Face[]} */
    this.faces = [];
    this.zoom = 1;
    this.aspect = 210 / 297;
    need("[data-sheet-prev]").addEventListener("click", () => this.#go(this.sheet - 1));
    need("[data-sheet-next]").addEventListener("click", () => this.#go(this.sheet + 1));
    need("[data-zoom-in]").addEventListener("click", () => this.#step(1));
    need("[data-zoom-out]").addEventListener("click", () => this.#step(-1));
    need("[data-zoom-fit]").addEventListener("click", () => this.#size(1));
    const safe = need("[data-safe]");
    safe.addEventListener("change", () => this.holder.toggleAttribute("data-hide-safe", !safe.checked));
    this.table.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => this.#key(event));
    this.table.addEventListener("wheel", (/** @type {WheelEvent} */ event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      this.#step(event.deltaY < 0 ? 1 : -1);
    }, { passive: false });
    new ResizeObserver(() => this.#size(this.zoom)).observe(this.table);
  }

  /** @param {{svg: string, faces: Face[], shown?: Face}} answer */
  show({ svg, faces, shown }) {
    const sheet = drawing(svg);
    const box = sheet.viewBox.baseVal;
    if (box.height) this.aspect = box.width / box.height;
    this.holder.replaceChildren(sheet);
    need("[data-empty]").hidden = true;
    need("[data-viewer-bar]").hidden = false;
    this.faces = faces;
    if (shown) {
      this.sheet = shown.sheet;
      this.face = shown.name;
    }
    this.#bar();
    this.#size(this.zoom);
  }

  /** No sheet to show: say why. @param {string} why */
  empty(why) {
    this.holder.replaceChildren();
    need("[data-viewer-bar]").hidden = true;
    need("[data-empty]").textContent = why;
    need("[data-empty]").hidden = false;
  }

  /** The sheet on view belongs to settings that have since become impossible. @param {boolean} old */
  stale(old) {
    this.holder.toggleAttribute("data-stale", old);
  }

  #bar() {
    const count = Math.max(...this.faces.map((face) => face.sheet)) + 1;
    const here = this.faces.filter((face) => face.sheet === this.sheet).map((face) => face.name);
    need("[data-sheet-number]").textContent = `Sheet ${this.sheet + 1} of ${count}`;
    need("[data-sheet-prev]").disabled = this.sheet === 0;
    need("[data-sheet-next]").disabled = this.sheet >= count - 1;
    const strip = need("[data-faces]");
    const before = Array.from(strip.querySelectorAll("input"), (input) => input.value).join();
    if (before !== here.join()) {
      strip.replaceChildren(...here.map((name) => el("label", {},
        el("input", { type: "radio", name: "face", value: name, on: { change: () => this.#turn(name) } }),
        el("span", { text: NAMES[name] }))));
    }
    for (const input of strip.querySelectorAll("input")) input.checked = input.value === this.face;
  }

  /** @param {Face["name"]} face */
  #turn(face) {
    this.face = face;
    this.dispatchEvent(new Event("face"));
  }

  /** @param {number} sheet */
  #go(sheet) {
    this.sheet = Math.max(0, sheet);
    this.dispatchEvent(new Event("face"));
  }

  /** @param {number} way */
  #step(way) {
    const next = way > 0 ? ZOOMS.find((zoom) => zoom > this.zoom + 0.01)
      : ZOOMS.findLast((zoom) => zoom < this.zoom - 0.01);
    this.#size(next ?? this.zoom);
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const way = { "+": 1, "=": 1, "-": -1 }[event.key];
    if (event.ctrlKey || event.metaKey) return;
    if (way) this.#step(way);
    else if (event.key === "0") this.#size(1);
    else return;
    event.preventDefault();
  }

  /** Size the sheet so that at 1 it just fits; what was in the middle stays there. @param {number} zoom */
  #size(zoom) {
    const { clientWidth, clientHeight } = this.table;
    const room = parseFloat(getComputedStyle(this.table).paddingTop) * 2;
    const fit = Math.min(clientWidth - room, (clientHeight - room) * this.aspect);
    const middle = (/** @type {number} */ at, /** @type {number} */ seen, /** @type {number} */ all) => (at + seen / 2) / all;
    const x = middle(this.table.scrollLeft, clientWidth, this.table.scrollWidth);
    const y = middle(this.table.scrollTop, clientHeight, this.table.scrollHeight);
    this.zoom = zoom;
    this.holder.style.width = `${Math.max(40, fit * zoom)}px`;
    this.table.scrollLeft = x * this.table.scrollWidth - clientWidth / 2;
    this.table.scrollTop = y * this.table.scrollHeight - clientHeight / 2;
    need("[data-zoom-value]").textContent = `${Math.round(zoom * 100)} %`;
    need("[data-zoom-in]").disabled = zoom >= ZOOMS[ZOOMS.length - 1];
    need("[data-zoom-out]").disabled = zoom <= ZOOMS[0];
  }
}
