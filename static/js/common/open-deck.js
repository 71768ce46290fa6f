/**
 * The open deck: one record, changed by revisions. Saves go one after another; if somebody else changed the deck
 * meanwhile, what doesn't touch the same things is put on top, and for the rest the person is asked.
 */

import { api, ApiError } from "./api.js";
import { tellError, toast } from "./messages.js";

/** @typedef {import("./api.js").DeckRecord} DeckRecord */
/** @typedef {{name?: string, settings?: Record<string, any>, cards?: Record<string, Record<string, any>>,
 *   order?: string[], proposals?: Record<string, boolean|null>}} Changes */
/** @typedef {"saved"|"saving"|"failed"} SaveState */

/**
 * Lay later changes over earlier ones that are still waiting.
 *
 * @param {Changes} first
 * @param {Changes} second
 * @returns {Changes}
 */
export function merged(first, second) {
  const all = { ...first, ...second };
  if (first.settings || second.settings) all.settings = { ...first.settings, ...second.settings };
  if (first.proposals || second.proposals) all.proposals = { ...first.proposals, ...second.proposals };
  if (first.cards || second.cards) {
    all.cards = { ...first.cards };
    for (const [file, change] of Object.entries(second.cards ?? {})) {
      all.cards[file] = { ...all.cards[file], ...change };
    }
  }
  return all;
}

/**
 * What of `changes` somebody else changed too, between `base` and `current`, in words.
 *
 * @param {Changes} changes
 * @param {DeckRecord} base
 * @param {DeckRecord} current
 * @returns {string[]}
 */
export function clashes(changes, base, current) {
  const found = [];
  if (changes.name !== undefined && base.name !== current.name && current.name !== changes.name) {
    found.push(`name: ${current.name}`);
  }
  for (const [key, value] of Object.entries(changes.settings ?? {})) {
    const now = /** @type {Record<string, any>} */ (current.settings)[key];
    if (now !== /** @type {Record<string, any>} */ (base.settings)[key] && now !== value) found.push(`${key}: ${now}`);
  }
  const cards = (/** @type {DeckRecord} */ record) => new Map(record.cards.map((card) => [card.file, card]));
  const [before, after] = [cards(base), cards(current)];
  for (const [file, change] of Object.entries(changes.cards ?? {})) {
    const [was, now] = [before.get(file), after.get(file)];
    if (!was || !now) continue;
    if ("copies" in change && now.copies !== was.copies && now.copies !== change.copies) {
      found.push(`${now.name}: ${now.copies} copies`);
    }
    if ("name" in change && now.name !== was.name && now.name !== change.name) found.push(`${was.name}: ${now.name}`);
    if ("back" in change && now.back?.file !== was.back?.file && (now.back?.file ?? "") !== change.back) {
      found.push(`${now.name}: back ${now.back?.file ?? "none"}`);
    }
  }
  return found;
}

/** Fires "record" when the record was replaced (`detail.cause`), "save" when the state of saving changed. */
export class OpenDeck extends EventTarget {
  /** @param {DeckRecord} record */
  constructor(record) {
    super();
    this.record = record;
    /** @type {SaveState} */
    this.state = "saved";
    /** @type {Changes|null} */
    this.waiting = null;
    this.chain = Promise.resolve();
    /** Whether the page holds changes that it hasn't handed over yet. */
    this.dirty = () => false;
  }

  /** @param {string} id */
  static async load(id) {
    return new OpenDeck(await api.deck(id));
  }

  get id() {
    return this.record.id;
  }

  /**
   * Save changes soon, in order. Resolves when they are kept or given up; errors are told, not thrown.
   *
   * @param {Changes} changes
   */
  save(changes) {
    this.waiting = merged(this.waiting ?? {}, changes);
    this.tell("saving");
    return this.#queue(() => this.#send());
  }

  /** @param {"undo"|"redo"} what */
  step(what) {
    return this.#queue(async () => this.replace(await api.step(this.id, what), what));
  }

  /** Read the record again, after files came or went. */
  refresh() {
    return this.#queue(async () => this.replace(await api.deck(this.id), "files"));
  }

  /** @param {string} path */
  removeFile(path) {
    return this.#queue(async () => this.replace(await api.removeFile(this.id, path), "files"));
  }

  /**
   * @param {DeckRecord} record
   * @param {string} cause "saved", "undo", "redo", "files" or "theirs"
   */
  replace(record, cause) {
    this.record = record;
    this.dispatchEvent(new CustomEvent("record", { detail: { cause } }));
  }

  /** @param {() => Promise<void>} act */
  #queue(act) {
    this.chain = this.chain.then(act).catch((error) => {
      this.tell("failed");
      tellError(error);
    });
    return this.chain;
  }

  async #send() {
    const changes = this.waiting;
    if (!changes) return;
    this.waiting = null;
    try {
      this.replace(await api.change(this.id, this.record.revision, changes), "saved");
    } catch (error) {
      if (!(error instanceof ApiError) || error.status !== 409 || !error.body?.current) throw error;
      this.#meet(changes, error.body.current);
      return;
    }
    if (!this.waiting) this.tell(this.dirty() ? "saving" : "saved");
  }

  /**
   * @param {Changes} changes
   * @param {DeckRecord} current
   */
  #meet(changes, current) {
    const theirs = clashes(changes, this.record, current);
    this.replace(current, theirs.length ? "theirs" : "rebased");
    if (!theirs.length) {
      this.save(changes);
      return;
    }
    this.tell("saved");
    toast(`Somebody changed this deck meanwhile (${theirs.join("; ")}). Theirs is shown; yours is not lost.`, {
      action: "Use mine", act: () => this.save(changes), stay: true,
    });
  }

  /**
   * Say how saving stands. A page says "saving" from the first keystroke on, long before anything is sent.
   *
   * @param {SaveState} state
   */
  tell(state) {
    this.state = state;
    this.dispatchEvent(new CustomEvent("save", { detail: { state } }));
  }
}
