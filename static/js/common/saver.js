/**
 * Keeps what a person changes until the server has it. Changes wait, field by field, over the record that they were made
 * on; they are sent in order, sent again for as long as the link is lost, laid over what others changed meanwhile, and
 * sent once more when the page is left. What can't be kept so long is in the browser's store for the next visit.
 */

import { ApiError } from "./api.js";
import { forget, keep, named, recall } from "./browser-store.js";
import { again, mayPass } from "./link.js";
import { tellError, toast } from "./messages.js";

/** @typedef {Record<string, any>} Fields by name; two values are the same where their JSON is */
/** @typedef {"saved"|"saving"|"waiting"|"failed"} SaveState "waiting": not saved, and tried again by itself */
/** @typedef {{revision: number}} Revised */
/** @typedef {{changes: Fields, base: Fields, tried: Record<string, any[]>}} Left what another page of this browser had to leave unsaved */

// A browser sends no more than 64 KiB for a page that is gone.
const LASTS_BYTES = 60_000;

/** @param {any} one @param {any} other */
export const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);

/**
 * Fires "record" when the record was replaced or what waits has changed (`detail.cause`), "save" when the state of
 * saving has.
 *
 * @template {Revised} R
 */
export class Saver extends EventTarget {
  /**
   * @param {R} record as the server has it
   * @param {{name: string, what: string, read: (record: R, field: string) => any, says: (record: R, field: string) => string,
   *   send: (changes: Fields, revision: number, last: boolean) => Promise<R>}} how `name` tells it from all other
   *   records, `what` it is in words, `read` gives a field, `says` how it stands in words, `send` keeps changes
   */
  constructor(record, how) {
    super();
    this.record = record;
    this.how = how;
    /** @type {SaveState} */
    this.state = "saved";
    /** Why it isn't saved, where it isn't. */
    this.why = "";
    /** @type {Fields} changed here and not known to be kept */
    this.waiting = {};
    /** @type {Record<string, any[]>} sent without an answer, so perhaps kept */
    this.tried = {};
    /** @type {Promise<void>|null} */
    this.sending = null;
    this.flying = false;
    this.leaving = false;
    this.alone = false;
    this.tries = 0;
    /** Ends the waiting for another try. */
    this.stopWaiting = () => {};
    this.mark = `unsaved.${how.name}.${Math.random().toString(36).slice(2)}`;
    this.#resume();
    window.addEventListener("pagehide", () => this.#leave());
    window.addEventListener("pageshow", (event) => { if (event.persisted) { this.leaving = false; this.flush(); } });
    document.addEventListener("visibilitychange", () => { if (!document.hidden && this.state === "waiting") this.flush(); });
  }

  /** Whether something waits. */
  get dirty() {
    return Object.keys(this.waiting).length > 0;
  }

  /** A field as the person left it. @param {string} field */
  value(field) {
    return field in this.waiting ? this.waiting[field] : this.how.read(this.record, field);
  }

  /** Note changes; `flush` sends them. @param {Fields} changes */
  set(changes) {
    for (const [field, value] of Object.entries(changes)) {
      if (same(value, this.how.read(this.record, field)) && !this.flying && !this.tried[field]) delete this.waiting[field];
      else this.waiting[field] = value;
    }
    this.#note();
    this.tell(this.dirty ? "saving" : "saved");
  }

  /** Send what waits. Resolves once it is kept, or has to wait for the link. */
  flush() {
    if (this.leaving) return Promise.resolve();
    this.stopWaiting();
    this.sending ??= this.#send().finally(() => { this.sending = null; });
    return this.sending;
  }

  async #send() {
    while (this.dirty && !this.leaving) {
      const sent = { ...this.waiting };
      if (this.alone) for (const field of Object.keys(sent).slice(1)) delete sent[field];
      this.flying = true;
      this.tell("saving");
      try {
        const record = await this.how.send(sent, this.record.revision, JSON.stringify(sent).length < LASTS_BYTES);
        this.flying = false;
        this.#kept(sent);
        this.take(record, "saved");
      } catch (error) {
        this.flying = false;
        if (!this.#missed(sent, error)) return;
      }
    }
    this.alone = false;
    this.tries = 0;
    if (!this.dirty) this.tell("saved");
  }

  /** @param {Fields} sent */
  #kept(sent) {
    for (const [field, value] of Object.entries(sent)) {
      if (same(this.waiting[field], value)) delete this.waiting[field];
      delete this.tried[field];
    }
    this.tries = 0;
    this.#note();
  }

  /** What didn't come back. @param {Fields} sent @param {unknown} error @returns {boolean} whether to go on at once */
  #missed(sent, error) {
    if (error instanceof ApiError && error.status === 409 && error.body?.current) {
      this.take(error.body.current, "rebased");
      return true;
    }
    if (mayPass(error)) {
      for (const [field, value] of Object.entries(sent)) (this.tried[field] ??= []).push(value);
      this.why = /** @type {ApiError} */ (error).message;
      this.tell("waiting");
      this.stopWaiting = again(() => this.flush(), this.tries++);
      return false;
    }
    if (error instanceof ApiError && [400, 413, 415, 422].includes(error.status)) return this.#refused(sent, error);
    this.why = error instanceof Error ? error.message : "";
    this.tell("failed");
    tellError(error);
    return false;
  }

  /** What is wrong in itself is taken back, and the rest goes on. @param {Fields} sent @param {ApiError} error */
  #refused(sent, error) {
    const fields = Object.keys(sent);
    const bad = fields.length === 1 ? fields : fields.filter((field) => error.field && field.split("/").includes(error.field));
    if (bad.length !== 1) {
      this.alone = true;
      return true;
    }
    delete this.waiting[bad[0]];
    this.#note();
    tellError({ message: `Not saved: ${error.plain}`, fix: error.fix });
    this.#changed("refused");
    return true;
  }

  /**
   * Another record in place of the one here. What waits stays over it, but for what somebody else changed too: there
   * theirs is shown, and the person asked.
   *
   * @param {R} record
   * @param {string} cause
   */
  take(record, cause) {
    const lost = this.#merge((field) => this.how.read(this.record, field), record);
    this.record = record;
    this.#note();
    this.#changed(lost ? "theirs" : cause);
    if (lost) this.#ask(lost);
  }

  /** @param {(field: string) => any} base @param {R} record @returns {Fields|null} what lost */
  #merge(base, record) {
    /** @type {Fields} */
    const lost = {};
    for (const [field, mine] of Object.entries(this.waiting)) {
      const now = this.how.read(record, field);
      if (same(now, base(field)) && !same(now, mine)) continue;
      const ours = (this.tried[field] ?? []).some((value) => same(value, now));
      if (same(now, mine)) delete this.waiting[field];
      else if (!ours) {
        lost[field] = mine;
        delete this.waiting[field];
      }
    }
    return Object.keys(lost).length ? lost : null;
  }

  /** @param {Fields} lost */
  #ask(lost) {
    const theirs = Object.keys(lost).map((field) => this.how.says(this.record, field));
    toast(`Somebody changed this ${this.how.what} meanwhile (${theirs.join("; ")}). Theirs is shown; yours is not lost.`, {
      action: "Use mine", act: () => { this.set(lost); this.#changed("mine"); this.flush(); }, stay: true,
    });
  }

  /** The page is going: what it holds goes out with it, in a request that outlasts it. */
  #leave() {
    this.leaving = true;
    // A field tells of its change when it is left, which a page that goes doesn't wait for.
    if (document.activeElement instanceof HTMLElement) document.activeElement.blur();
    if (!this.dirty) return;
    const revision = this.record.revision + (this.flying ? 1 : 0);
    this.how.send(this.waiting, revision, JSON.stringify(this.waiting).length < LASTS_BYTES).catch(() => {});
  }

  /** Write down what waits, for whatever may become of this page. */
  #note() {
    if (!this.dirty) {
      forget(this.mark);
      return;
    }
    const base = Object.fromEntries(Object.keys(this.waiting).map((field) => [field, this.how.read(this.record, field)]));
    keep(this.mark, /** @type {Left} */ ({ changes: this.waiting, base, tried: this.tried }));
  }

  /** Take up what an earlier page had to leave. */
  #resume() {
    for (const name of named(`unsaved.${this.how.name}.`)) {
      const left = /** @type {Left|null} */ (recall(name));
      forget(name);
      if (!left?.changes || !left.base) continue;
      this.waiting = left.changes;
      this.tried = left.tried ?? {};
      const lost = this.#merge((field) => left.base[field], this.record);
      if (lost) this.#ask(lost);
      break;
    }
    if (!this.dirty) return;
    this.state = "saving";
    queueMicrotask(() => { this.#note(); this.flush(); });
  }

  /** @param {string} cause */
  #changed(cause) {
    this.dispatchEvent(new CustomEvent("record", { detail: { cause } }));
  }

  /** Say how saving stands. A page says "saving" from the first keystroke on. @param {SaveState} state */
  tell(state) {
    this.state = state;
    if (state === "saved" || state === "saving") this.why = "";
    this.dispatchEvent(new CustomEvent("save", { detail: { state } }));
  }
}
