/**
 * The open deck: one record, changed by revisions, and what is changed here and waits to be kept.
 */

import { api, ApiError } from "./api.js";
import { tellError } from "./messages.js";
import { Saver } from "./saver.js";

/** @typedef {import("./api.js").DeckRecord} DeckRecord */
/** @typedef {import("./api.js").CardRecord} CardRecord */
/** @typedef {import("./saver.js").Fields} Fields */
/** @typedef {{name?: string, settings?: Record<string, any>, cards?: Record<string, import("./types.js").CardChange>,
 *   order?: string[], proposals?: Record<string, boolean|null>}} Changes */

const LOOK_AGAIN_MS = 5000;
const LOOK_SURELY_MS = 60_000;
// Reading a deck, which takes long for a large one that others fill, leaves so many parts of ten to all else.
export const OTHER_PARTS = 9;

// A field is "name", "order", "settings/bleed_mm", "proposals/its id", or of a card "copies/fronts/fog.png" and the like.
/** @param {Changes} changes @returns {Fields} */
function fieldsOf({ name, order, settings = {}, proposals = {}, cards = {} }) {
  return {
    ...(name === undefined ? {} : { name }),
    ...(order === undefined ? {} : { order }),
    ...Object.fromEntries(Object.entries(proposals).map(([id, yes]) => [`proposals/${id}`, yes])),
    ...Object.fromEntries(Object.entries(settings).map(([key, value]) => [`settings/${key}`, value])),
    ...Object.fromEntries(Object.entries(cards).flatMap(([file, card]) =>
      Object.entries(card).map(([what, value]) => [`${what}/${file}`, value]))),
  };
}

/** @param {string} field @returns {[string, string]} */
const parts = (field) => [field.split("/", 1)[0], field.slice(field.indexOf("/") + 1)];

/** @param {Fields} fields @returns {Changes} */
function changesOf(fields) {
  /** @type {Changes} */
  const found = {};
  for (const [field, value] of Object.entries(fields)) {
    const [what, key] = parts(field);
    if (field === "name" || field === "order") found[/** @type {"name"} */ (field)] = value;
    else if (what === "settings" || what === "proposals") (found[/** @type {"settings"} */ (what)] ??= {})[key] = value;
    else ((found.cards ??= {})[key] ??= {})[/** @type {"name"} */ (what)] = value;
  }
  return found;
}

/** @param {DeckRecord} record @param {string} field */
function read(record, field) {
  const [what, key] = parts(field);
  if (field === "name") return record.name;
  if (field === "order") return record.cards.map(({ file }) => file);
  if (what === "settings") return /** @type {Record<string, any>} */ (record.settings)[key];
  if (what === "proposals") return null;  // an answer to one is the same whoever gave it first
  if (what === "out") return record.out.includes(key) ? true : null;
  const card = record.cards.find(({ file }) => file === key);
  if (what === "swapped") return card && card.front.file !== key;
  return what === "back" ? card && (card.back?.file ?? "") : card?.[/** @type {"name"} */ (what)];
}

/** @param {DeckRecord} record @param {string} field */
function says(record, field) {
  const [what, key] = parts(field);
  const now = read(record, field);
  const card = record.cards.find(({ file }) => file === key)?.name ?? key;
  if (what === "copies") return `${card}: ${now ?? "no"} copies`;
  if (what === "back") return `${card}: back ${now || "none"}`;
  if (what === "bleed") return `${card}: bleed ${now ?? "as the deck's"}`;
  if (what === "swapped") return `${card}: sides ${now ? "swapped" : "as they came"}`;
  return field === "order" ? "the order of the cards" : field === "name" ? `name: ${now}` : `${key}: ${now}`;
}

/** @extends {Saver<DeckRecord>} */
export class OpenDeck extends Saver {
  /** @param {DeckRecord} record */
  constructor(record) {
    super(record, {
      name: `deck.${record.id}`, what: "deck", read, says,
      send: (fields, revision, last) => api.change(record.id, revision, changesOf(fields), last),
    });
    /** @type {Promise<void>} */
    this.chain = Promise.resolve();
    /** Read again by the page itself, as files come in. */
    this.followed = false;
    /** Before then nobody looks again. */
    this.due = 0;
    setInterval(() => this.look(), LOOK_AGAIN_MS);
    document.addEventListener("visibilitychange", () => this.look());
  }

  /** @param {string} id */
  static async load(id) {
    return new OpenDeck(await api.deck(id));
  }

  get id() {
    return this.record.id;
  }

  /** The record as the person left it, with what waits laid over it. @returns {DeckRecord} */
  get view() {
    const { name = this.record.name, cards = {}, order } = changesOf(this.waiting);
    const place = new Map(order?.map((file, at) => [file, at]));
    const arts = new Map(this.record.cards.flatMap(({ back }) => (back ? [[back.file, back]] : [])));
    for (const { path, key, width_px, height_px } of this.record.files) {
      if (!arts.has(path)) arts.set(path, { key, file: path, width_px, height_px, vector: false });
    }
    return { ...this.record, name, settings: this.settings,
      cards: this.record.cards.filter(({ file }) => !cards[file]?.out).map((card) => {
        const change = cards[card.file];
        if (!change) return card;
        const back = change.back === undefined ? card.back : arts.get(change.back ?? "") ?? null;
        return { ...card, copies: change.copies ?? card.copies, name: change.name ?? card.name, back,
          bleed: change.bleed === undefined ? card.bleed : change.bleed };
      }).sort((one, other) => (place.get(one.file) ?? place.size) - (place.get(other.file) ?? place.size)) };
  }

  /** Settings with those over them that wait. @returns {Record<string, any>} */
  get settings() {
    return { ...this.record.settings, ...this.waitingSettings };
  }

  /** @returns {Record<string, any>} */
  get waitingSettings() {
    return changesOf(this.waiting).settings ?? {};
  }

  /** Note changes, to be sent by `flush`. @param {Changes} changes */
  note(changes) {
    this.set(fieldsOf(changes));
  }

  /** Save changes at once. Resolves when they are kept, or wait for the link. @param {Changes} changes */
  save(changes) {
    this.note(changes);
    return this.flush();
  }

  /** @param {"undo"|"redo"} what */
  step(what) {
    return this.#queue(async () => {
      const now = await api.step(this.id, what);
      if (now.revision >= this.record.revision) this.take(now, what);  // an answer that came late may be an old one
    });
  }

  /** Read the record again, after files came or went. */
  refresh() {
    return this.#queue(async () => this.take(await api.deck(this.id), "files"));
  }

  /** @param {string} path */
  removeFile(path) {
    return this.#queue(async () => this.take(await api.removeFile(this.id, path), "files"));
  }

  /** See whether somebody else has changed the deck, now and then while nothing of one's own is on its way. */
  async look() {
    const { record } = this;
    const began = Date.now();
    if (began < this.due || document.hidden || this.followed || this.sending || this.state === "waiting") return;
    try {
      const now = await api.newer(this.id, record.revision);
      if (now && !this.sending && this.record === record) this.take(now, "theirs");
      if (now) this.due = Date.now() + Math.min(LOOK_SURELY_MS, OTHER_PARTS * (Date.now() - began));
    } catch { /* the next save tells it, and the next look */ }
  }

  /** One after another, each after what waits; errors are told, not thrown. @param {() => Promise<void>} act */
  #queue(act) {
    this.chain = this.chain.then(() => this.flush()).then(() => {
      if (this.state === "waiting") throw new ApiError("What you changed isn't saved yet.", { fix: "It goes on by itself once Lampfold answers." });
      return act();
    }).catch(tellError);
    return this.chain;
  }
}
