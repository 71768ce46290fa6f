/**
 * The plain way: one pair of numbers with their directions, and for those who know them a turn and a size.
 */

import { el, icon, need } from "../common/dom.js";
import { shown, toMm } from "../common/units.js";
import { plain, pretty } from "./number-field.js";
import { stationPicture } from "./station.js";

/** @typedef {import("../common/units.js").Unit} Unit */
/** @typedef {{dx_mm: number, dy_mm: number, rotation_deg: number, scale: number}} Plain */

/** Fires "change" after each change by a person. */
export class PlainWay extends EventTarget {
  /** @param {Unit} unit */
  constructor(unit) {
    super();
    this.unit = unit;
    /** @type {import("../common/types.js").StationsOut|null} the test sheet's geometry, for the picture */
    this.paper = null;
    const field = (/** @type {string} */ name) => need(`[data-plain-${name}]`);
    this.dx = field("dx");
    this.side = field("side");
    this.dy = field("dy");
    this.height = field("height");
    this.rotation = field("turn");
    this.scale = field("scale");
    need("[data-plain]").addEventListener("submit", (/** @type {Event} */ event) => event.preventDefault());
    need("[data-plain]").addEventListener("input", () => { this.show(); this.dispatchEvent(new Event("change")); });
  }

  /** What stands there; null where something is no number, which is then said. @returns {Plain|null} */
  values() {
    const fields = [this.dx, this.dy, this.rotation, this.scale];
    const [dx, dy] = [this.dx, this.dy].map((input) => toMm(plain(input.value), this.unit));
    const [rotation, percent] = [this.rotation, this.scale].map((input) => Number(plain(input.value).replace(",", ".") || NaN));
    const found = [dx, dy, Number.isFinite(rotation) ? rotation : null, percent > 0 ? percent : null];
    found.forEach((value, at) => fields[at].toggleAttribute("aria-invalid", false));
    const bad = found.findIndex((value) => value === null);
    const line = need("[data-plain-error]");
    line.hidden = bad < 0;
    if (bad >= 0) {
      fields[bad].setAttribute("aria-invalid", "true");
      line.replaceChildren(icon("error"), el("span", { text: `${fields[bad].value || "Nothing"} is no number. Write it as 1.2.` }));
      return null;
    }
    return { dx_mm: Number(dx) * Number(this.side.value), dy_mm: Number(dy) * Number(this.height.value), rotation_deg: rotation, scale: percent / 100 };
  }

  /** @param {Partial<Plain>} values */
  fill({ dx_mm: dx = 0, dy_mm: dy = 0, rotation_deg: rotation = 0, scale = 1 }) {
    this.side.value = dx < 0 ? "-1" : "1";
    this.height.value = dy < 0 ? "-1" : "1";
    this.dx.value = shown(Math.abs(dx), this.unit);
    this.dy.value = shown(Math.abs(dy), this.unit);
    this.rotation.value = pretty(String(Number(rotation.toFixed(4)) + 0));
    this.scale.value = String(Number((scale * 100).toFixed(4)));
    need("[data-plain-more]").open = Math.abs(rotation) > 1e-6 || Math.abs(scale - 1) > 1e-6;
    this.show();
  }

  /** @param {Unit} unit */
  turn(unit) {
    const kept = this.values();
    this.unit = unit;
    if (kept) this.fill(kept);
  }

  /** @param {import("../common/types.js").StationsOut|null} paper */
  setPaper(paper) {
    this.paper = paper;
    this.show();
  }

  show() {
    const values = this.values();
    if (!values || !this.paper) return;
    const middle = this.paper.stations[Math.floor(this.paper.stations.length / 2)].number;
    need("[data-plain-picture]").replaceChildren(stationPicture(this.paper, middle, { dx: values.dx_mm, dy: values.dy_mm },
      { label: "How the middle station would look against the light" }));
  }
}
