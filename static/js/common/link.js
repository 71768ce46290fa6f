/**
 * The link to the server, which may be lost: what can be tried again is, soon and then ever less often, and at once when
 * the link may be back.
 */

import { toast } from "./messages.js";

const RETRY_MS = [500, 1000, 2000, 4000, 8000];

/** Whether trying again, with nothing changed, can help. @param {any} error as the API throws it */
export const mayPass = (error) => error?.status === 0 || error?.status === 429 || error?.status >= 500;

/** Call `act` soon and ever less often, and at once when the link may be back. Returns what ends it. @param {() => void} act @param {number} tries */
export function again(act, tries) {
  const timer = setTimeout(() => go(), RETRY_MS[Math.min(tries, RETRY_MS.length - 1)]);
  const go = () => { stop(); act(); };
  const stop = () => { clearTimeout(timer); window.removeEventListener("online", go); };
  window.addEventListener("online", go);
  return stop;
}

/**
 * Do it, and do it again for as long as the link is lost. Throws what trying again can't mend.
 *
 * @template T
 * @param {() => Promise<T>} act
 * @param {(error: any) => void} [waits] called each time that it has to wait
 * @returns {Promise<T>}
 */
export async function untilLinked(act, waits = () => {}) {
  for (let tries = 0; ; tries++) {
    try {
      return await act();
    } catch (error) {
      if (!mayPass(error)) throw error;
      waits(error);
      await new Promise((go) => { again(() => go(null), tries); });
    }
  }
}

/** A change's mark, the same on each try. */
export const onceMark = () => Math.random().toString(36).slice(2) + Date.now().toString(36);

/**
 * Send one change until it is there, and say so meanwhile. It has a mark, by which the server does it once although it
 * may come again, its answer lost.
 *
 * @template T
 * @param {(once: string) => Promise<T>} send
 * @returns {Promise<T>}
 */
export async function steadily(send) {
  const once = onceMark();
  /** @type {(() => void)[]} */
  const told = [];
  try {
    return await untilLinked(() => send(once), (error) => {
      if (!told.length) told.push(toast(`Not done yet: ${error.message} It goes on by itself.`, { stay: true }));
    });
  } finally {
    for (const close of told) close();
  }
}
