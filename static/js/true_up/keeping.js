/**
 * A printer is kept although the link is lost or somebody else changes it meanwhile: what both did is laid together, and
 * who comes second to the same thing is told.
 */

import { ApiError } from "../common/api.js";
import { onceMark, untilLinked } from "../common/link.js";
import { same } from "../common/saver.js";
import { server } from "./server.js";

/** @typedef {import("./server.js").Printer} Printer */
/** @typedef {Record<string, any>} Form */

/** The printer as it is now, where that is why it couldn't be kept. @param {unknown} error @returns {Printer|null} */
export const currentOf = (error) => (error instanceof ApiError && error.status === 409 ? error.body?.current ?? null : null);

/**
 * A form over what is kept now: mine where I changed it, else theirs; where both did, theirs, and its name in `lost`.
 *
 * @param {Form} mine
 * @param {Form} was
 * @param {Form} now
 * @param {string[]} lost
 * @returns {Form}
 */
export function laidOver(mine, was, now, lost) {
  return Object.fromEntries(Object.entries(mine).map(([field, value]) => {
    if (value !== null && typeof value === "object") return [field, laidOver(value, was[field] ?? {}, now[field] ?? {}, lost)];
    if (same(value, was[field]) || same(value, now[field])) return [field, now[field]];
    if (!same(now[field], was[field])) lost.push(field.replace("_mm", ""));
    return [field, same(now[field], was[field]) ? value : now[field]];
  }));
}

/**
 * Keep what the form says of a printer.
 *
 * @param {Printer} base as the form was filled
 * @param {Form} form
 * @param {() => void} waits called while the link is lost
 * @returns {Promise<{saved: Printer, lost: string[]}>}
 */
export async function keepForm(base, form, waits) {
  /** @type {string[]} */
  const lost = [];
  for (;;) {
    try {
      const [{ id, revision }, values] = [base, form];
      return { saved: await untilLinked(() => server.change(id, values, revision), waits), lost };
    } catch (error) {
      const now = currentOf(error);
      if (!now) throw error;
      form = laidOver(form, base, now, lost);
      base = now;
    }
  }
}

/** Keep a new printer, once, although its answer may be lost. @param {Form} form @param {() => void} waits @returns {Promise<Printer>} */
export function keepNew(form, waits) {
  const once = onceMark();
  return untilLinked(() => server.create(form, once), waits);
}

/**
 * Keep what was read. An answer that was lost is no trouble: where it is kept as it was sent, it is kept.
 *
 * @param {() => Promise<Printer>} send
 * @param {(printer: Printer) => boolean} isKept
 * @param {() => void} waits
 * @returns {Promise<Printer>}
 */
export const keepRead = (send, isKept, waits) => untilLinked(send, waits).catch((error) => {
  const now = currentOf(error);
  if (now && isKept(now)) return now;
  throw error;
});

/** @param {Partial<import("./server.js").Reading>[]} one @param {Partial<import("./server.js").Reading>[]} other */
export function sameReadings(one, other) {
  const plain = (/** @type {Partial<import("./server.js").Reading>[]} */ all) => all.map(({ sheet, station, dx_mm, dy_mm }) => [sheet, station, dx_mm, dy_mm]);
  return same(plain(one), plain(other));
}
