/**
 * Sends files, one raw PUT each, four at a time. What the server has already isn't sent again; where the link is lost,
 * what is left waits for it and goes on by itself.
 */

import { api, ApiError, archiveUrl, errorFrom, fileUrl } from "../common/api.js";
import { mayPass, untilLinked } from "../common/link.js";

/** @typedef {import("./dropped-files.js").Item} Item */
/** @typedef {"idle"|"comparing"|"sending"|"waiting"|"finished"|"cancelled"} Phase */
/** @typedef {{item: Item, reason: string, fix: string, again: boolean}} Failure `again`: whether sending it once more can help */

const PARALLEL = 4;
// So often a file is sent whose connection breaks although the server answers.
const MOST_TRIES = 3;

/**
 * Fires "change" whenever a figure changes, and "finished" when nothing is left to do.
 */
export class Uploader extends EventTarget {
  /** @param {string} deckId */
  constructor(deckId) {
    super();
    this.deckId = deckId;
    /** @type {Phase} */
    this.phase = "idle";
    this.files = 0;
    this.filesDone = 0;
    this.bytes = 0;
    this.bytesDone = 0;
    this.known = 0;
    /** @type {{path: string, of: string}[]} */
    this.duplicates = [];
    /** @type {Failure[]} */
    this.failures = [];
    /** @type {string[]} */
    this.left = [];
    /** @type {{path: string, reason: string}[]} what an archive held that is no art */
    this.ignored = [];
    /** @type {Item[]} */
    this.queue = [];
    /** @type {Map<XMLHttpRequest, number>} */
    this.flying = new Map();
    /** @type {Map<Item, number>} */
    this.tries = new Map();
    this.holding = false;
  }

  #reset() {
    this.phase = "idle";
    this.files = 0;
    this.filesDone = 0;
    this.bytes = 0;
    this.bytesDone = 0;
    this.known = 0;
    this.duplicates = [];
    this.failures = [];
    this.left = [];
    this.ignored = [];
    this.queue = [];
    this.flying = new Map();
    this.tries = new Map();
  }

  get busy() {
    return ["comparing", "sending", "waiting"].includes(this.phase);
  }

  /** Bytes on the way count too. */
  get bytesSent() {
    let sent = this.bytesDone;
    for (const bytes of this.flying.values()) sent += bytes;
    return sent;
  }

  /**
   * Send what the deck lacks. May be called again while an earlier batch is on its way.
   *
   * @param {import("./dropped-files.js").Collected} collected
   */
  async add({ items, left }) {
    if (!this.busy) this.#reset();
    this.left.push(...left);
    this.#enter("comparing");
    let missing;
    try {
      missing = await untilLinked(() => this.#missing(items), () => this.#enter("waiting"));
      this.known += items.length - missing.size;
    } catch (error) {
      this.#count(items);
      this.failures.push(...items.map((item) => failure(item, error)));
      this.#end();
      return;
    }
    if (this.phase === "cancelled") return;
    const wanted = items.filter((item) => missing.has(item.path));
    this.#count(wanted);
    this.#send(wanted);
  }

  /** Say that files wait for the link, before there is a queue of them. */
  wait() {
    if (!this.busy) this.#reset();
    this.#enter("waiting");
  }

  /** Those that failed and may pass if they are sent again. */
  get retryable() {
    return this.failures.filter(({ again }) => again);
  }

  /** Send those again that may pass, and no others. */
  retry() {
    const items = this.retryable.map(({ item }) => item);
    this.failures = this.failures.filter(({ again }) => !again);
    this.#send(items);
  }

  /** Of these, the paths that the deck lacks. @param {Item[]} items @returns {Promise<Set<string>>} */
  async #missing(items) {
    const answer = await api.missing(this.deckId, items.map(({ path, file }) => (
      { path, bytes: file.size, modified: Math.round(file.lastModified) })));
    return new Set(answer.missing);
  }

  /** @param {Item[]} items */
  #count(items) {
    this.files += items.length;
    this.bytes += items.reduce((sum, { file }) => sum + file.size, 0);
  }

  cancel() {
    if (!this.busy) return;
    this.queue = [];
    for (const request of this.flying.keys()) request.abort();
    this.#end("cancelled");
  }

  /** @param {Item[]} items */
  #send(items) {
    this.queue.push(...items);
    this.#enter("sending");
    this.#fill();
  }

  /** The link is lost: see now and then whether it is back, what has arrived after all, and go on with the rest. */
  async #hold() {
    if (this.holding) return;
    this.holding = true;
    this.#enter("waiting");
    try {
      const missing = await untilLinked(() => this.#missing(this.queue), () => this.tries.clear());
      for (const item of this.queue) if (!missing.has(item.path) && !isArchive(item)) this.#arrived(item);
      this.queue = this.queue.filter((item) => missing.has(item.path) || isArchive(item));
    } catch (error) {
      this.failures.push(...this.queue.splice(0).map((item) => failure(item, error)));
    }
    this.holding = false;
    if (this.phase !== "waiting") return;
    this.#enter("sending");
    this.#fill();
  }

  /** @param {Item} item */
  #arrived(item) {
    this.filesDone += 1;
    this.bytesDone += item.file.size;
  }

  #fill() {
    while (this.phase === "sending" && this.flying.size < PARALLEL && this.queue.length) {
      this.#put(/** @type {Item} */ (this.queue.shift()));
    }
    if (this.phase === "sending" && !this.flying.size && !this.queue.length) this.#end();
  }

  /** @param {Item} item */
  #put(item) {
    const request = new XMLHttpRequest();
    this.flying.set(request, 0);
    // A ZIP is unpacked by the server and taken in as the folder that it holds.
    if (isArchive(item)) request.open("POST", archiveUrl(this.deckId));
    else request.open("PUT", fileUrl(this.deckId, item.path, item.file.lastModified));
    request.responseType = "json";
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.addEventListener("progress", (event) => {
      this.flying.set(request, event.loaded);
      this.#tell();
    });
    request.addEventListener("loadend", () => {
      this.flying.delete(request);
      if (this.phase === "cancelled") return;
      this.#settle(item, request);
      this.#tell();
      this.#fill();
    });
    request.send(item.file);
  }

  /**
   * @param {Item} item
   * @param {XMLHttpRequest} request
   */
  #settle(item, request) {
    if (request.status >= 200 && request.status < 300) {
      this.#arrived(item);
      const { duplicate_of: of, ignored = [] } = request.response ?? {};
      if (of) this.duplicates.push({ path: item.path, of });
      this.ignored.push(...ignored);
      return;
    }
    const error = request.status ? errorFrom(request.status, request.response)
      : new ApiError("The connection broke.", { fix: "Try again; what arrived is kept." });
    const tries = (this.tries.get(item) ?? 0) + 1;
    this.tries.set(item, tries);
    if ([0, 429, 502, 503, 504].includes(error.status) && tries <= MOST_TRIES) {
      this.queue.unshift(item);
      this.#hold();
      return;
    }
    this.tries.delete(item);
    this.failures.push(failure(item, error));
  }

  /** @param {Phase} phase */
  #enter(phase) {
    this.phase = phase;
    this.#tell();
  }

  /** @param {Phase} [phase] */
  #end(phase = "finished") {
    this.#enter(phase);
    this.dispatchEvent(new Event("finished"));
  }

  #tell() {
    this.dispatchEvent(new Event("change"));
  }
}

/** @param {Item} item */
const isArchive = ({ file }) => /\.zip$/i.test(file.name);

/** @param {Item} item @param {any} error @returns {Failure} */
function failure(item, error) {
  const reason = String(error.message ?? error).replace(`${item.path}: `, "");
  return { item, reason: `${reason.charAt(0).toUpperCase()}${reason.slice(1)}`, fix: error.fix ?? "", again: mayPass(error) };
}
