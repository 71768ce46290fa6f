/**
 * The cuts of the sheet on view: numbered lines on it, and step by step how it comes apart.
 */

import { el, need } from "../common/dom.js";

/** @typedef {import("../common/types.js").CutOut} Cut */
/** @typedef {{x: number, y: number, width: number, height: number}} Piece in mm */

const SVG = "http://www.w3.org/2000/svg";
const APART = 0.14;  // how far pieces drift from the middle, in parts of their own way
const NAMES = { waste: "waste off", strip: "a strip off", card: "a card off" };

/** @param {string} name @param {Record<string, string|number>} attributes @param {...Node} children */
function shape(name, attributes, ...children) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  node.append(...children);
  return node;
}

/** @param {number} mm */
const lengths = (mm) => `${Number(mm.toFixed(1))} mm, ${(mm / 25.4).toFixed(3)} in`;

/** @param {string} name of a piece */
const pieceName = (name) => (name === "sheet" ? "the sheet" : `piece ${name}`);

/**
 * The pieces after `count` cuts, by name; those that no later cut goes through and that are waste say so.
 *
 * @param {Cut[]} cuts
 * @param {number} count
 * @returns {Map<string, Piece>}
 */
export function piecesAfter(cuts, count) {
  const [x, y, width, height] = cuts[0].first;
  /** @type {Map<string, Piece>} */
  const pieces = new Map([["sheet", { x, y, width, height }]]);
  for (const { step, piece: name, from_mm: [at_x, at_y], to_mm: [end_x] } of cuts.slice(0, count)) {
    const piece = pieces.get(name);
    if (!piece) continue;
    pieces.delete(name);
    if (Math.abs(at_x - end_x) < 1e-6) {
      pieces.set(`${step}a`, { ...piece, width: at_x - piece.x });
      pieces.set(`${step}b`, { ...piece, x: at_x, width: piece.x + piece.width - at_x });
    } else {
      pieces.set(`${step}a`, { ...piece, height: at_y - piece.y });
      pieces.set(`${step}b`, { ...piece, y: at_y, height: piece.y + piece.height - at_y });
    }
  }
  return pieces;
}

export class CutsView {
  /** @param {HTMLElement} holder of the sheet's drawing */
  constructor(holder) {
    this.holder = holder;
    /** @type {Cut[]} */
    this.cuts = [];
    this.step = 0;
    /** @type {SVGSVGElement|null} */
    this.sheet = null;
    this.on = need("[data-cuts-on]");
    this.bar = need("[data-cuts-bar]");
    this.on.addEventListener("change", () => { this.step = 0; this.#draw(); });
    need("[data-cut-prev]").addEventListener("click", () => this.#go(this.step - 1));
    need("[data-cut-next]").addEventListener("click", () => this.#go(this.step + 1));
    need("[data-cut-first]").addEventListener("click", () => this.#go(0));
  }

  /** @param {{cuts: Cut[], stops: number}} answer whose drawing has just been put into the holder */
  show({ cuts, stops }) {
    this.cuts = cuts;
    this.sheet = this.holder.querySelector("svg");
    this.step = Math.min(this.step, cuts.length);
    need("[data-cuts-tick]").hidden = !cuts.length;
    need("[data-cuts-sum]").textContent = cuts.length
      ? `${cuts.length} straight cuts for this sheet, one piece at a time; the stop is set ${stops} times. Strips laid together take one stroke.` : "";
    this.#list();
    this.#draw();
  }

  /** @param {number} step */
  #go(step) {
    this.step = Math.max(0, Math.min(step, this.cuts.length));
    this.#draw();
  }

  #list() {
    need("[data-cuts-list]").replaceChildren(...this.cuts.map((cut) => el("li", {},
      el("button", { class: "cut-row", type: "button", data: { step: cut.step }, on: { click: () => this.#go(cut.step - 1) } },
        el("span", { class: "cut-number measure", text: String(cut.step) }),
        el("span", { text: `Through ${pieceName(cut.piece)}: stop ${lengths(cut.stop_mm)} from its ${cut.stop_from} edge; ${NAMES[cut.parts_off]}.` })))));
  }

  #draw() {
    const shown = this.on.checked && this.cuts.length > 0;
    this.bar.hidden = !shown;
    need("[data-cuts-section]").hidden = !shown;
    if (!this.sheet) return;
    this.holder.replaceChildren(shown ? this.#apart(this.sheet) : this.sheet);
    if (!shown) return;
    const next = this.cuts[this.step];
    need("[data-cut-says]").textContent = next
      ? `Cut ${next.step} of ${this.cuts.length}: ${pieceName(next.piece)}, stop ${lengths(next.stop_mm)} from the ${next.stop_from}`
      : `All ${this.cuts.length} cuts made`;
    need("[data-cut-prev]").disabled = this.step === 0;
    need("[data-cut-first]").disabled = this.step === 0;
    need("[data-cut-next]").disabled = this.step === this.cuts.length;
    for (const row of document.querySelectorAll("[data-cuts-list] [data-step]")) {
      const now = Number(/** @type {HTMLElement} */ (row).dataset.step) === this.step + 1;
      if (now) row.setAttribute("aria-current", "step");
      else row.removeAttribute("aria-current");
    }
  }

  /** @param {SVGSVGElement} sheet @returns {SVGElement} the sheet in its pieces, and the cuts to come on them */
  #apart(sheet) {
    const [x, y, width, height] = this.cuts[0].first;
    const apart = this.step === 0 ? 0 : APART;
    const middle = [x + width / 2, y + height / 2];
    const whole = /** @type {SVGGElement} */ (shape("g", { id: "cut-sheet" }, ...Array.from(sheet.childNodes, (node) => node.cloneNode(true))));
    const defs = shape("defs", {}, whole);
    const pieces = piecesAfter(this.cuts, this.step);
    /** @param {Piece} piece */
    const drift = (piece) => [(piece.x + piece.width / 2 - middle[0]) * apart, (piece.y + piece.height / 2 - middle[1]) * apart];
    const drawn = Array.from(pieces, ([name, piece], number) => {
      const [dx, dy] = drift(piece);
      defs.append(shape("clipPath", { id: `cut-clip-${number}` }, shape("rect", { ...piece })));
      return shape("g", { transform: `translate(${dx} ${dy})`, "data-piece": name },
        shape("g", { "clip-path": `url(#cut-clip-${number})` }, shape("use", { href: "#cut-sheet" })),
        shape("rect", { ...piece, fill: "none", stroke: "#3c3832", "stroke-width": 0.3 }));
    });
    const lines = this.cuts.slice(this.step).filter((cut, ahead) => pieces.has(cut.piece) && (this.step === 0 || ahead === 0) || this.step === 0);
    const marks = lines.flatMap((cut) => {
      const piece = pieces.get(cut.piece);
      const [dx, dy] = piece ? drift(piece) : [0, 0];
      const [[x1, y1], [x2, y2]] = [cut.from_mm, cut.to_mm];
      // Numbers stand along their line, each at a place of its own.
      const share = this.step === 0 ? 0.06 + 0.88 * ((cut.step * 0.382) % 1) : 0.5;
      const at = [x1 + (x2 - x1) * share + dx, y1 + (y2 - y1) * share + dy];
      return [
        shape("line", { x1: x1 + dx, y1: y1 + dy, x2: x2 + dx, y2: y2 + dy, class: "cut-line" }),
        shape("circle", { cx: at[0], cy: at[1], r: 4, class: "cut-disc" }),
        Object.assign(shape("text", { x: at[0], y: at[1] + 1.6, class: "cut-text" }), { textContent: String(cut.step) }),
      ];
    });
    const grown = [width * (1 + apart), height * (1 + apart)];
    return /** @type {SVGElement} */ (shape("svg", { viewBox: `${middle[0] - grown[0] / 2} ${middle[1] - grown[1] / 2} ${grown[0]} ${grown[1]}`, role: "img",
      "aria-label": `The sheet after ${this.step} of ${this.cuts.length} cuts`, "data-cut-sheet": "" }, defs, ...drawn, ...marks));
  }
}
