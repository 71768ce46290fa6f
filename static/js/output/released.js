/**
 * What was released, for playtesters: paper, method and ink by their pictures, and the PDF for just that.
 */

import { api, packUrl, releaseFileUrl, thumbUrl } from "../common/api.js";
import { counted, el, icon, need, sized } from "../common/dom.js";
import { keep, recall } from "../common/browser-store.js";
import { dated } from "../common/printer-choice.js";
import { notice } from "../common/messages.js";

/** @typedef {import("../common/types.js").ReleaseOut} Release */
/** @typedef {import("../common/types.js").TablesOut} Tables */

/** @param {string} name @param {string} viewBox */
function method(name, viewBox = "0 0 168 96") {
  const picture = icon(document.getElementById(`method-${name}`) ? `#method-${name}` : "#method-other", "method-art");
  picture.setAttribute("viewBox", viewBox);
  return picture;
}

/**
 * A paper's outline, all at one scale so that they can be told apart.
 *
 * @param {{width_mm: number, height_mm: number}|undefined} size
 */
function outline(size) {
  const { width_mm: width, height_mm: height } = size ?? { width_mm: 210, height_mm: 297 };
  const sheet = el("span", { class: "paper-shape" });
  sheet.style.width = `${width / 60}rem`;
  sheet.style.height = `${height / 60}rem`;
  return el("span", { class: "released-art", "aria-hidden": "true" }, sheet);
}

/** @param {string} ink @param {string|undefined} key of a card's art */
function inked(ink, key) {
  return el("span", { class: "released-art", "aria-hidden": "true" }, el("span", { class: "card-face released-card", data: { ink } },
    key && el("img", { src: thumbUrl(key, 256), alt: "" })));
}

/**
 * Show the newest release of the deck; nothing where there is none.
 *
 * @param {import("../common/types.js").DeckRecord} deck
 * @param {Tables} tables
 */
export async function showReleased(deck, tables) {
  const [newest] = (await api.releases(deck.id)).releases;
  if (!newest) return;
  const sheets = newest.files.filter(({ ink }) => ink);
  const labelled = (/** @type {{name: string, label: string}[]} */ table, /** @type {string} */ name) =>
    table.find((one) => one.name === name)?.label ?? name;
  const cards = deck.cards[0]?.front.key;
  /** @type {{name: "paper"|"method"|"ink", wanted: string, label: (value: string) => string, picture: (value: string) => Node}[]} */
  const choices = [
    { name: "paper", wanted: recall("own-printer")?.paper ?? deck.settings.paper ?? "", label: (value) => labelled(tables.papers, value),
      picture: (value) => outline(tables.papers.find((one) => one.name === value)) },
    { name: "method", wanted: deck.settings.method ?? "", label: (value) => labelled(tables.methods, value), picture: (value) => method(value) },
    { name: "ink", wanted: "full", label: (value) => (value === "pale" ? "Pale, half the ink" : "Full"), picture: (value) => inked(value, cards) },
  ];
  const form = need("[data-released-form]");
  for (const { name, wanted, label, picture } of choices) {
    const values = [...new Set(sheets.map((file) => file[name]))];
    const first = values.includes(wanted) ? wanted : values[0] ?? "";
    need(`[data-released-choice="${name}"]`).append(...values.map((value) => el("label", { class: "method" },
      el("input", { type: "radio", name, value, checked: value === first }), picture(value),
      el("span", { class: "method-text" }, el("span", { class: "method-name", text: label(value) })))));
  }
  const show = () => {
    const chosen = Object.fromEntries(new FormData(form));
    const fits = (/** @type {Release["files"][number]} */ one) => one.paper === chosen.paper && one.method === chosen.method;
    const pdf = sheets.find((one) => fits(one) && one.ink === chosen.ink);
    link("[data-released-pdf]", deck.id, newest, pdf);
    link("[data-released-guide]", deck.id, newest, newest.files.find((one) => fits(one) && !one.ink));
    need("[data-released-facts]").textContent = pdf ? `${counted(pdf.papers, "sheet of paper", "sheets of paper")} · ${sized(pdf.bytes)}`
      : "The cards don't fit on this paper that way: choose another.";
  };
  form.addEventListener("change", show);
  show();
  need("[data-released-what]").textContent = `${newest.version}, released ${dated(newest.made.slice(0, 10))}`;
  const pack = need("[data-released-pack]");
  [pack.href, pack.download] = [packUrl(deck.id, newest.id), newest.name];
  need("[data-released-pack-size]").textContent = `The whole pack (${sized(newest.bytes)})`;
  follow(deck.id, newest);
  need("[data-released]").hidden = false;
}

/**
 * @param {string} selector
 * @param {string} deck
 * @param {Release} release
 * @param {Release["files"][number]|undefined} file none where this wasn't released
 */
function link(selector, deck, release, file) {
  const anchor = need(selector);
  anchor.hidden = !file;
  if (file) [anchor.href, anchor.download] = [releaseFileUrl(deck, release.id, file.file), file.file.split("/").pop() ?? ""];
}

/**
 * Say whether this is newer than what was taken last in this browser, and remember what is taken now.
 *
 * @param {string} deck
 * @param {Release} newest
 */
function follow(deck, newest) {
  const taken = (recall("released") ?? {})[deck];
  const told = !taken ? [] : taken.id === newest.id
    ? [notice("good", `You have taken ${newest.version} already; it is still the newest.`)]
    : [notice("warning", `${newest.version} is newer than ${taken.version}, which you took last.`, "Get it, so that you play with what the others have.")];
  need("[data-released-newer]").replaceChildren(...told);
  for (const anchor of document.querySelectorAll("[data-released] a[download]")) {
    anchor.addEventListener("click", () => keep("released", { ...recall("released"), [deck]: { id: newest.id, version: newest.version } }));
  }
}
