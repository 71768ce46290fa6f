/**
 * From a drop or a file chooser to a flat list of files with their paths in the deck.
 */

/** @typedef {{path: string, file: File}} Item */
/** @typedef {{items: Item[], left: string[]}} Collected `left`: paths that are no business of a deck */

const SIDES = ["fronts", "backs"];
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
  return tidied(items);
}

/**
 * What an `<input type="file">` holds; with `webkitdirectory` the paths come along.
 *
 * @param {FileList} files
 * @returns {Collected}
 */
export function fromInput(files) {
  return tidied(Array.from(files, (file) => ({ path: file.webkitRelativePath || file.name, file })));
}

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
 * Paths as a deck has them: the folder that was dropped is not part of the deck; without a fronts folder, loose
 * art is taken as fronts, and one file called back (or card back) as the back.
 *
 * @param {Item[]} items
 * @returns {Collected}
 */
export function tidied(items) {
  const left = items.filter((item) => isSystem(item.path)).map((item) => item.path);
  let kept = items.filter((item) => !isSystem(item.path));
  const head = (/** @type {string} */ path) => path.split("/")[0];
  const isDeckPart = (/** @type {string} */ name) => SIDES.includes(name.toLowerCase());
  // Strip the top folder, more than once for a deck that was zipped into a folder of its own name.
  while (kept.length && kept.every((item) => item.path.includes("/") && head(item.path) === head(kept[0].path))
         && !isDeckPart(head(kept[0].path))) {
    kept = kept.map((item) => ({ ...item, path: item.path.slice(head(item.path).length + 1) }));
  }
  // Where fronts and backs are told apart, a stray file stays outside, and the server says what it makes of it.
  const sorted = kept.some((item) => item.path.includes("/") && isDeckPart(head(item.path)));
  return { items: kept.map((item) => ({ ...item, path: inDeck(item.path, sorted) })), left };
}

/**
 * @param {string} path
 * @param {boolean} sorted whether the drop has a folder of fronts or backs
 */
function inDeck(path, sorted) {
  const [top, ...rest] = path.split("/");
  if (SIDES.includes(top.toLowerCase()) && rest.length) return [top.toLowerCase(), ...rest].join("/");
  if (!rest.length && top.toLowerCase() === LIST) return LIST;
  if (!rest.length && /^(card[ _-]?)?backs?\.[^.]+$/i.test(top)) return `backs/${top}`;
  return sorted ? path : `fronts/${path}`;
}
