/**
 * From a drop or a file chooser to a flat list of files with their paths in the deck.
 */

/** @typedef {{path: string, file: File}} Item */
/** @typedef {{items: Item[], left: string[]}} Collected `left`: paths that are no business of a deck */

const LIST = "deck.csv";
const SYSTEM_FILES = ["thumbs.db", "desktop.ini"];

/**
 * Everything that was dropped. Call it inside the drop event: a browser empties the transfer afterwards.
 *
 * @param {DataTransfer} transfer
 * @returns {Promise<Collected>}
 */
export async function fromDrop(transfer) {
  const entries = [];
  const loose = [];
  for (const item of transfer.items) {
    if (item.kind !== "file") continue;
    const entry = item.webkitGetAsEntry?.();
    if (entry) entries.push(entry);
    else {
      const file = item.getAsFile();
      if (file) loose.push({ path: file.name, file });
    }
  }
  /** @type {Item[]} */
  const items = [...loose];
  for (const entry of entries) await walk(entry, "", items);
  return withoutSystem(items);
}

/**
 * What an `<input type="file">` holds; with `webkitdirectory` the paths come along.
 *
 * @param {FileList} files
 * @returns {Collected}
 */
export function fromInput(files) {
  return withoutSystem(Array.from(files, (file) => ({ path: file.webkitRelativePath || file.name, file })));
}

/** @param {Item[]} items @returns {Collected} */
const withoutSystem = (items) => ({ items: items.filter((item) => !isSystem(item.path)),
  left: items.filter((item) => isSystem(item.path)).map((item) => item.path) });

/**
 * @param {FileSystemEntry} entry
 * @param {string} folder
 * @param {Item[]} into
 */
async function walk(entry, folder, into) {
  const path = folder ? `${folder}/${entry.name}` : entry.name;
  if (entry.isFile) {
    const file = await new Promise((resolve, reject) => {
      /** @type {FileSystemFileEntry} */ (entry).file(resolve, reject);
    });
    into.push({ path, file });
    return;
  }
  const reader = /** @type {FileSystemDirectoryEntry} */ (entry).createReader();
  for (;;) {
    // A reader hands out a folder in batches (100 at a time in some browsers): read until a batch is empty.
    const batch = await new Promise((resolve, reject) => { reader.readEntries(resolve, reject); });
    if (batch.length === 0) return;
    for (const child of batch) await walk(child, path, into);
  }
}

/** @param {string} path */
function isSystem(path) {
  const names = path.split("/");
  const last = names[names.length - 1].toLowerCase();
  return names.some((name) => name.startsWith(".") || name === "__MACOSX") || SYSTEM_FILES.includes(last);
}

/**
 * Paths as a deck has them: the folder that was dropped is not part of the deck, unless its name says a side. Loose
 * files dropped on a deck that has a folder of fronts go into it; else the server makes of names what it can.
 *
 * @param {Collected} collected
 * @param {{sideWords: string[], fronts: string}} how `fronts`: the deck's folder of fronts, "" for none
 * @returns {Collected}
 */
export function tidied({ items, left }, { sideWords, fronts }) {
  const words = new Set(sideWords);
  const head = (/** @type {string} */ path) => path.split("/")[0];
  let kept = items;
  // Strip the top folder, more than once for a deck that was zipped into a folder of its own name.
  while (kept.length && kept.every((item) => item.path.includes("/") && head(item.path) === head(kept[0].path))
         && !saysSide(head(kept[0].path), words)) {
    kept = kept.map((item) => ({ ...item, path: item.path.slice(head(item.path).length + 1) }));
  }
  const loose = fronts && kept.every((item) => !item.path.includes("/"));
  return { left, items: kept.map((item) => ({ ...item, path: inDeck(item.path, loose ? fronts : "") })) };
}

/** @param {string} folder @param {Set<string>} words */
const saysSide = (folder, words) => folder.normalize("NFKD").replace(/\p{M}/gu, "").replace(/ł/gi, "l").toLowerCase()
  .split(/[^\p{L}]+/u).some((word) => words.has(word));

/** @param {string} path @param {string} fronts */
function inDeck(path, fronts) {
  if (path.toLowerCase() === LIST) return LIST;
  return fronts && !/^(card[ _-]?)?backs?\.[^.]+$/i.test(path) ? `${fronts}/${path}` : path;
}
