/**
 * A station of the test sheet as it looks against the light, drawn from the marks that the server prints.
 */

const SVG = "http://www.w3.org/2000/svg";
const PEN_MM = 0.16;
const HALF_MM = 23;
/** @typedef {"dx"|"dy"} Axis */
/** @typedef {{outwards: 1|-1, whole: number, tenth: number}} Seen */

/**
 * @param {string} tag
 * @param {Record<string, string|number>} [attributes]
 * @param {...(Node|string)} children
 */
export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, String(value));
  node.append(...children);
  return node;
}

/**
 * How a number is seen: the arm whose pointer has moved outwards, whole mm, and which of the back's lines coincides.
 *
 * @param {number} mm
 * @param {{least_count_mm: number}} vernier
 * @returns {Seen}
 */
export function seen(mm, { least_count_mm: least }) {
  const tenths = Math.round(Math.abs(mm) / least);
  return { outwards: mm < 0 && tenths ? -1 : 1, whole: Math.floor(tenths / 10), tenth: tenths % 10 };
}

/** An arm's turn, clockwise: right, low, left, high. @param {Axis} axis @param {Seen} one */
const armOf = (axis, { outwards }) => (axis === "dx" ? (outwards > 0 ? 0 : 180) : (outwards > 0 ? 90 : 270));

const path = (/** @type {number[][]} */ lines) => lines.map(([a, b, c, d]) => `M${a} ${b}L${c} ${d}`).join("");

/** @param {import("../common/types.js").TextOut} text @param {string} words */
const words = ({ x, y, size_mm: size, anchor }, words) =>
  svg("text", { x, y: y + 0.36 * size, "font-size": size, "text-anchor": anchor }, words);

/**
 * @param {import("../common/types.js").ShapesOut} shapes of one face
 * @param {number} number of the station
 * @param {string} name class of the group
 */
function face(shapes, number, name) {
  return svg("g", { class: name },
    svg("path", { d: path(shapes.lines), "stroke-width": PEN_MM, fill: "none" }),
    ...shapes.rings.map((/** @type {number[]} */ [cx, cy, r]) => svg("circle", { cx, cy, r, "stroke-width": PEN_MM, fill: "none" })),
    ...shapes.discs.map((/** @type {number[]} */ [cx, cy, r]) => svg("circle", { cx, cy, r, class: "st-solid" })),
    ...shapes.texts.map((text) => words(text, text.text)), words(shapes.number, String(number)));
}

/**
 * The pair of lines that runs straight on, marked by a bar of its own and a wedge at either end.
 *
 * @param {import("../common/types.js").VernierOut} vernier
 * @param {Axis} axis
 * @param {number} mm
 */
function mark(vernier, axis, mm) {
  const one = seen(mm, vernier);
  const turn = armOf(axis, one);
  if (Math.abs(mm) > vernier.range_mm + 1e-9) return svg("g");
  const u = lineAt(one, vernier);
  const top = vernier.main_band_mm[0];
  const end = vernier.vernier_band_mm[1];
  return svg("g", { class: "st-mark", transform: `rotate(${turn})` },
    svg("path", { d: `M${u} ${top}V${end}`, "stroke-width": 0.3 }),
    svg("path", { d: `M${u} ${top - 0.25}l-.55 -1.1h1.1zM${u} ${end + 0.8}l-.55 1.1h1.1z`, class: "st-wedge" }));
}

/**
 * A whole station, or with `axis` the arm on which that number is read. Null numbers lie at 0 and are marked by nothing.
 *
 * @param {import("../common/types.js").StationsOut} sheet as the server tells of a test sheet
 * @param {number} number of the station
 * @param {{dx: number|null, dy: number|null}} read
 * @param {{axis?: Axis, label?: string, marks?: boolean}} [how]
 */
export function stationPicture(sheet, number, read, { axis, label = "", marks = true } = {}) {
  const { vernier, front, back } = sheet;
  const [dx, dy] = [read.dx ?? 0, read.dy ?? 0];
  const one = axis ? seen(axis === "dx" ? dx : dy, vernier) : null;
  const picture = svg("svg", {
    viewBox: one && axis ? loupeBox(armOf(axis, one), lineAt(one, vernier)) : `${-HALF_MM} ${-HALF_MM} ${2 * HALF_MM} ${2 * HALF_MM}`,
    ...(label ? { role: "img", "aria-label": label } : { "aria-hidden": "true" }), class: "station",
  });
  const behind = face(back, number, "st-back");
  behind.setAttribute("transform", `translate(${dx} ${dy})`);
  picture.append(behind, face(front, number, "st-front"));
  if (marks && read.dx !== null && axis !== "dy") picture.append(mark(vernier, "dx", dx));
  if (marks && read.dy !== null && axis !== "dx") picture.append(mark(vernier, "dy", dy));
  return picture;
}

/** How far from the centre the pair of lines is that coincides. @param {Seen} one @param {import("../common/types.js").VernierOut} vernier */
const lineAt = ({ whole, tenth }, vernier) => vernier.gap_mm + Math.min(whole + tenth, vernier.main_lines - 1) * vernier.main_pitch_mm;

/**
 * What the loupe shows of an arm: some millimetres either way along it, and across it the place where both scales meet.
 *
 * @param {number} turn
 * @param {number} at
 */
function loupeBox(turn, at) {
  const [near, far, above, below] = [at - 6, at + 6, -7.6, 4];
  const across = below - above;
  return {
    0: `${near} ${above} ${far - near} ${across}`, 90: `${-below} ${near} ${across} ${far - near}`,
    180: `${-far} ${-below} ${far - near} ${across}`, 270: `${above} ${-far} ${across} ${far - near}`,
  }[turn] ?? "";
}

/**
 * The same in words, for those who can't see the picture and those who want to be sure.
 *
 * @param {import("../common/types.js").StationsOut} sheet
 * @param {Axis} axis
 * @param {number|null} mm
 */
export function seenInWords({ vernier }, axis, mm) {
  if (mm === null) return "Not read.";
  const one = seen(mm, vernier);
  const [sign, way] = axis === "dx" ? (one.outwards > 0 ? ["+", "right"] : ["−", "left"]) : (one.outwards > 0 ? ["+", "low"] : ["−", "high"]);
  const value = `${one.whole}.${one.tenth} mm`;
  if (one.whole === 0 && one.tenth === 0) return "0: the back's line 0 runs straight on, on both arms.";
  if (Math.abs(mm) > vernier.range_mm + 1e-9) return `${value} ${way}, beyond the fine scale: by the small ruler on arm ${axis} ${sign}.`;
  return `${value} ${way}: on arm ${axis} ${sign} the pointer is at or past ${one.whole}, and line ${one.tenth} of the back runs straight on.`;
}
