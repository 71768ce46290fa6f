/**
 * A folder dropped again: what is the same, changed, new, gone and renamed, with pictures; and what to make of it.
 */

import { call, steady, thumbUrl } from "../common/api.js";
import { counted, el, need } from "../common/dom.js";
import { allArt } from "./back-choice.js";
import { contentKey } from "./content-key.js";

/** @typedef {import("./dropped-files.js").Collected} Collected */
/** @typedef {import("../common/open-deck.js").OpenDeck} OpenDeck */
/** @typedef {{same: string[], changed: string[], fresh: string[], renamed: {was: string, path: string}[],
 *   gone: string[], unsure: string[]}} Compared */

const SHOWN = 6;

/**
 * Compare what was dropped with the deck, and ask where more than new files came. Resolves with what is left to send,
 * or null where nobody wants it. What needs no bytes is done by then.
 *
 * @param {OpenDeck} deck
 * @param {Collected} collected
 * @returns {Promise<Collected|null>}
 */
export async function settleFolder(deck, collected) {
  const isFolder = collected.items.some(({ path }) => path.includes("/")) || collected.items.length > 1;
  if (!deck.record.files.length || !isFolder || collected.items.some(({ file }) => /\.zip$/i.test(file.name))) return collected;
  const found = await compared(deck.id, collected);
  if (!found.changed.length && !found.renamed.length && !found.gone.length) return collected;
  const answer = await ask(deck, collected, found);
  if (!answer) return null;
  const stamps = new Map(collected.items.map(({ path, file }) => [path, file]));
  if (answer === "equal") {
    const renamed = found.renamed.map(({ was, path }) => stamp(path, /** @type {File} */ (stamps.get(path)), { was }));
    deck.take(await steady("POST", `/decks/${deck.id}/folder`, { gone: found.gone, renamed }), "files");
  } else deck.take(await steady("POST", `/decks/${deck.id}/folder`, {}), "files");
  const wanted = new Set([...found.changed, ...found.fresh]);
  return { ...collected, items: collected.items.filter(({ path }) => wanted.has(path)) };
}

/** @param {string} path @param {File} file @param {Record<string, string>} more */
const stamp = (path, file, more) => ({ path, bytes: file.size, modified: Math.round(file.lastModified), ...more });

/** @param {string} id @param {Collected} collected @returns {Promise<Compared>} */
async function compared(id, { items }) {
  const ask = (/** @type {Map<string, string>} */ keys) => call("POST", `/decks/${id}/compare`, {
    files: items.map(({ path, file }) => stamp(path, file, keys.has(path) ? { key: keys.get(path) ?? "" } : {})) });
  const first = await ask(new Map());
  if (!first.unsure.length) return first;
  const unsure = new Set(first.unsure);
  const keys = new Map();
  for (const { path, file } of items) if (unsure.has(path)) keys.set(path, await contentKey(file));
  return ask(keys);
}

/**
 * @param {OpenDeck} deck
 * @param {Collected} collected
 * @param {Compared} found
 * @returns {Promise<"equal"|"add"|null>}
 */
function ask(deck, collected, found) {
  const dialog = /** @type {HTMLDialogElement} */ (need("[data-again-dialog]"));
  const arts = new Map(allArt(deck.record).map((art) => [art.file.replace(/#1$/, ""), art.key]));
  const files = new Map(collected.items.map(({ path, file }) => [path, file]));
  /** @type {string[]} */
  const urls = [];
  const picture = (/** @type {string} */ src, /** @type {string} */ alt) => el("span", { class: "card-face" },
    el("img", { src, alt, loading: "lazy", on: { error: (/** @type {any} */ event) => event.target.remove() } }));
  const ours = (/** @type {string} */ path) => picture(thumbUrl(arts.get(path) ?? ""), `Here: ${path}`);
  const theirs = (/** @type {string} */ path) => {
    const url = URL.createObjectURL(/** @type {File} */ (files.get(path)));
    urls.push(url);
    return picture(url, `In the folder: ${path}`);
  };
  const group = (/** @type {string} */ title, /** @type {any[]} */ some, /** @type {(one: any) => Node[]} */ row) => some.length > 0
    && el("section", {}, el("h3", { text: `${title}: ${some.length}` }),
      el("ul", { class: "again-list" }, ...some.slice(0, SHOWN).map((one) => el("li", {}, ...row(one))),
        some.length > SHOWN && el("li", { class: "soft", text: `and ${some.length - SHOWN} more` })));
  // Some files were chosen rather than the whole folder: it isn't offered first that all others leave.
  const few = found.gone.length > found.same.length + found.changed.length + found.renamed.length;
  for (const [answer, first] of [["equal", !few], ["add", few]]) need(`[value="${answer}"]`, dialog).classList.toggle("button-main", Boolean(first));
  const name = (/** @type {string} */ text) => el("span", { class: "problem-file", text });
  need("[data-again]").replaceChildren(...[
    group("Changed", found.changed, (path) => [ours(path), theirs(path), name(path)]),
    group("Renamed", found.renamed, ({ was, path }) => [ours(was), name(`${was} is now ${path}`)]),
    group("New", found.fresh, (path) => [theirs(path), name(path)]),
    group(few ? "Not among these files" : "Gone", found.gone, (path) => [ours(path), name(path)]),
    el("p", { class: "soft", text: `${counted(found.same.length, "file")} the same.` }),
  ].filter((one) => one !== false));
  return new Promise((resolve) => {
    dialog.returnValue = "";
    dialog.addEventListener("close", () => {
      for (const url of urls) URL.revokeObjectURL(url);
      resolve(/** @type {any} */ (dialog.returnValue) || null);
    }, { once: true });
    dialog.showModal();
  });
}
