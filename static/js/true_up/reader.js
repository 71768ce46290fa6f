/**
 * The form for what is read: sheets, the stations as they lie on the paper, and the picture of what a number looks like.
 */

import { el, icon, need } from "../common/dom.js";
import { say, toast } from "../common/messages.js";
import { shown } from "../common/units.js";
import { NumberField, pretty } from "./number-field.js";
import { ReadSheets } from "./read-sheets.js";
import { seenInWords, stationPicture } from "./station.js";

/** @typedef {import("../common/units.js").Unit} Unit */
/** @typedef {"dx"|"dy"} Axis */

const AXES = /** @type {const} */ (["dx", "dy"]);

export class Reader {
  /** @param {HTMLElement} box */
  constructor(box) {
    this.box = box;
    this.sheets = new ReadSheets();
    /** @type {import("../common/types.js").StationsOut|null} the test sheet's geometry, from the server */
    this.paper = null;
    /** @type {Unit} */
    this.unit = "mm";
    this.fields = /** @type {Record<Axis, NumberField>} */ (Object.fromEntries(AXES.map((axis) => {
      const field = new NumberField(need(`[data-axis="${axis}"]`, box), (mm) => this.sheets.set({ [axis]: mm }));
      return [axis, field];
    })));
    for (const axis of AXES) {
      this.fields[axis].input.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
        if (event.key !== "Enter") return;
        event.preventDefault();
        if (axis === "dx") this.fields.dy.input.select();
        else this.next();
      });
    }
    need("[data-next]", box).addEventListener("click", () => this.next());
    need("[data-blank]", box).addEventListener("click", () => this.#leaveOut());
    need("[data-add-sheet]", box).addEventListener("click", () => {
      this.sheets.station = this.#numbers[0] ?? 1;
      this.sheets.add();
      say(`Sheet ${this.sheets.sheet.name} is added.`);
      this.fields.dx.input.focus();
    });
    need("[data-remove-sheet]", box).addEventListener("click", () => {
      const { name } = this.sheets.sheet;
      const back = this.sheets.remove();
      toast(`Sheet ${name} is removed.`, { action: "Undo", act: back });
    });
    for (const event of ["change", "look"]) this.sheets.addEventListener(event, () => this.show());
  }

  /** @param {import("../common/types.js").StationsOut|null} paper as the server tells of its test sheet; null where it has none */
  setPaper(paper) {
    this.paper = paper;
    need(".rd-body", this.box).hidden = !paper;
    if (!paper) return;
    if (!this.#numbers.includes(this.sheets.station)) this.sheets.station = this.#numbers[0];
    this.#makeMap();
    this.show();
  }

  /** @param {Unit} unit */
  turn(unit) {
    this.unit = unit;
    for (const field of Object.values(this.fields)) field.turn(unit);
    this.show();
  }

  /** @returns {number[]} */
  get #numbers() {
    return this.paper?.stations.map((one) => one.number) ?? [];
  }

  /** To the next station, and after the last to the first of the next sheet. */
  next() {
    const numbers = this.#numbers;
    const place = numbers.indexOf(this.sheets.station) + 1;
    if (place < numbers.length) this.sheets.look(this.sheets.at, numbers[place]);
    else if (this.sheets.at + 1 < this.sheets.sheets.length) this.sheets.look(this.sheets.at + 1, numbers[0]);
    else {
      say("That was the last station.");
      need("[data-add-sheet]", this.box).focus();
      return;
    }
    say(`Sheet ${this.sheets.sheet.name}, station ${this.sheets.station}.`);
    this.fields.dx.input.focus();
    this.fields.dx.input.select();
  }

  #leaveOut() {
    this.sheets.set({ dx: null, dy: null });
    for (const field of Object.values(this.fields)) field.show();
    say(`Station ${this.sheets.station} is left out.`);
  }

  /** Show everything as it stands. */
  show() {
    if (!this.paper) return;
    const { sheets } = this;
    const pair = sheets.pair();
    for (const axis of AXES) {
      this.fields[axis].set(pair[axis]);
      if (pair[axis] === null && !this.fields[axis].bad && document.activeElement !== this.fields[axis].input) this.fields[axis].show();
      if (!this.fields[axis].bad) this.fields[axis].says.textContent = seenInWords(this.paper, axis, pair[axis]);
      need(`[data-axis="${axis}"] [data-loupe]`, this.box).replaceChildren(
        stationPicture(this.paper, sheets.station, pair, { axis }));
    }
    const label = `Station ${sheets.station} against the light. dx: ${seenInWords(this.paper, "dx", pair.dx)} dy: ${seenInWords(this.paper, "dy", pair.dy)}`;
    need("[data-picture]", this.box).replaceChildren(stationPicture(this.paper, sheets.station, pair, { label }));
    need("[data-caption]", this.box).replaceChildren(el("strong", { text: `Station ${sheets.station}, sheet ${sheets.sheet.name}` }),
      pair.dx === null && pair.dy === null ? " as it would look if nothing drifted." : " as it looks with these numbers. The marked lines run straight on.");
    this.#showSheets();
    this.#showMap();
  }

  #showSheets() {
    const { sheets } = this;
    const total = this.#numbers.length;
    const list = need("[data-sheets]", this.box);
    const mark = JSON.stringify([sheets.sheets.map((one) => [one.name, sheets.count(one)]), total]);
    if (list.dataset.mark !== mark) {  // a focused button must not be taken away
      list.dataset.mark = mark;
      const focused = list.contains(document.activeElement);
      list.replaceChildren(...sheets.sheets.map((sheet, at) => el("label", {},
        el("input", { type: "radio", name: `${this.box.dataset.reader}-sheet`, value: String(at), "aria-label": `Sheet ${sheet.name}, ${sheets.count(sheet)} of ${total} read`,
          on: { change: () => sheets.look(at, sheets.station) } }),
        el("span", {}, `Sheet ${sheet.name}`, el("small", { text: ` ${sheets.count(sheet)}/${total}` })))));
      if (focused) list.querySelectorAll("input")[sheets.at]?.focus();
    }
    /** @type {NodeListOf<HTMLInputElement>} */ (list.querySelectorAll("input")).forEach((input, at) => { input.checked = at === sheets.at; });
    need("[data-remove-sheet] span", this.box).textContent = sheets.sheets.length > 1 ? "Remove this sheet" : "Clear this sheet";
  }

  #makeMap() {
    const { stations, width_mm: width, height_mm: height } = /** @type {import("../common/types.js").StationsOut} */ (this.paper);
    // The fourth edge station stands last, so the extremes are looked for.
    const span = (/** @type {"x_mm"|"y_mm"} */ axis) => {
      const all = stations.map((one) => one[axis]);
      return { low: Math.min(...all), wide: Math.max(...all) - Math.min(...all) };
    };
    const [across, down] = [span("x_mm"), span("y_mm")];
    const map = need("[data-map]", this.box);
    map.style.aspectRatio = `${width} / ${height}`;
    map.replaceChildren(need("legend", map), ...stations.map((one) => {
      const place = el("label", { class: "rd-place", data: { station: String(one.number) } },
        el("input", { type: "radio", name: `${this.box.dataset.reader}-station`, value: String(one.number),
          on: { change: () => this.sheets.look(this.sheets.at, one.number) } }),
        el("span", { class: "rd-face" }, el("span", { class: "rd-mini" }), el("span", { class: "rd-read measure" })));
      // Drawn inwards a little, so that the places keep inside the paper's outline.
      place.style.left = `${21 + 58 * (one.x_mm - across.low) / across.wide}%`;
      place.style.top = `${16 + 68 * (one.y_mm - down.low) / down.wide}%`;
      return place;
    }));
  }

  #showMap() {
    const { sheets } = this;
    for (const place of need("[data-map]", this.box).querySelectorAll(".rd-place")) {
      const number = Number(/** @type {HTMLElement} */ (place).dataset.station);
      const pair = sheets.pair(number);
      const text = (/** @type {number|null} */ mm) => (mm === null ? "–" : pretty(shown(Math.round(mm * 100) / 100, this.unit)));
      const read = pair.dx !== null && pair.dy !== null;
      const half = !read && (pair.dx !== null || pair.dy !== null);
      need("input", place).checked = number === sheets.station;
      need("input", place).setAttribute("aria-label", `Station ${number}: ${read ? `${text(pair.dx)}, ${text(pair.dy)} ${this.unit}` : half ? "one number of two" : "not read"}`);
      need(".rd-mini", place).replaceChildren(stationPicture(/** @type {import("../common/types.js").StationsOut} */ (this.paper), number, pair, { marks: false }));
      need(".rd-read", place).replaceChildren(...(read || half ? [icon(read ? "good" : "warning"), `${text(pair.dx)}, ${text(pair.dy)}`] : ["not read"]));
    }
  }
}
