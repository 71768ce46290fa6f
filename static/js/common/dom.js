/**
 * Small helpers for making and finding elements. Text goes in as text, never as markup.
 */

const SVG = "http://www.w3.org/2000/svg";

/**
 * Make an element. Props: `class`, `text`, `on` ({event: handler}), `data` ({name: value}); a key of the element
 * itself (such as `value` or `disabled`) is set as a property, anything else as an attribute. `null` leaves out.
 *
 * @param {string} tag
 * @param {Record<string, any>} [props]
 * @param {...(Node|string|null|undefined|false)} children
 * @returns {HTMLElement}
 */
export function el(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined) continue;
    if (name === "class") node.className = value;
    else if (name === "text") node.textContent = value;
    else if (name === "on") for (const [event, handler] of Object.entries(value)) node.addEventListener(event, handler);
    else if (name === "data") Object.assign(node.dataset, value);
    else if (name in node && !name.startsWith("aria")) /** @type {Record<string, any>} */ (/** @type {unknown} */ (node))[name] = value;
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  node.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

/**
 * One of the page's own icons, for the eye only: say the same in words beside it.
 *
 * @param {string} name as in templates/_icons.svg, without the "i-"
 * @param {string} [extra] more classes
 */
export function icon(name, extra = "") {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", `icon ${extra}`.trim());
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("focusable", "false");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", name.startsWith("#") ? name : `#i-${name}`);
  svg.append(use);
  return svg;
}

/**
 * The one element for a selector; the page is broken without it, so say so early.
 *
 * @param {string} selector
 * @param {ParentNode} [root]
 * @returns {any}
 */
export function need(selector, root = document) {
  const found = root.querySelector(selector);
  if (!found) throw new Error(`This page lacks ${selector}.`);
  return found;
}

/**
 * Parse a drawing that the server made. Scripts in it would not run (the policy forbids them), and are dropped too.
 *
 * @param {string} text
 * @returns {SVGSVGElement}
 */
export function drawing(text) {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml");
  const root = parsed.documentElement;
  if (root.nodeName !== "svg") throw new Error("The sheet could not be drawn.");
  for (const script of root.querySelectorAll("script, foreignObject")) script.remove();
  return /** @type {any} */ (document.adoptNode(root));
}

/** The page listens to all that it holds, so its fields and buttons may be used. */
export function ready() {
  need("[data-until-ready]").disabled = false;
}

/**
 * Run `act` once things have been quiet for `wait_ms`.
 *
 * @template {any[]} T
 * @param {(...args: T) => void} act
 * @param {number} wait_ms
 */
export function settled(act, wait_ms) {
  let timer = 0;
  return (/** @type {T} */ ...args) => {
    clearTimeout(timer);
    timer = setTimeout(() => act(...args), wait_ms);
  };
}

/**
 * "1 card", "12 cards".
 *
 * @param {number} count
 * @param {string} one
 * @param {string} [many]
 */
export function counted(count, one, many = `${one}s`) {
  return `${count.toLocaleString("en-GB")} ${count === 1 ? one : many}`;
}

/**
 * Bytes for people, in powers of 1000 as file managers show them.
 *
 * @param {number} bytes
 */
export function sized(bytes) {
  if (bytes < 1000) return `${bytes} B`;
  const units = ["kB", "MB", "GB", "TB"];
  let value = bytes;
  let unit = -1;
  do {
    value /= 1000;
    unit += 1;
  } while (value >= 999.5 && unit < units.length - 1);
  return `${value < 10 ? value.toFixed(1) : Math.round(value)} ${units[unit]}`;
}
