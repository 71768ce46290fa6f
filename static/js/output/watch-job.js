/**
 * Watches a job until it has ended: by server-sent events, or by asking where those don't come through.
 */

import { api, jobEventsUrl } from "../common/api.js";
import { untilLinked } from "../common/link.js";

/** @typedef {import("../common/api.js").Job} Job */

const ASK_EVERY_MS = 700;
const ENDED = ["done", "failed", "cancelled"];

/** @param {Job} job */
export const hasEnded = (job) => ENDED.includes(job.state);

/**
 * @param {string} id
 * @param {(job: Job) => void} seen called at each change
 * @returns {Promise<Job>} the job as it ended
 */
export function watch(id, seen) {
  return new Promise((resolve, reject) => {
    const take = (/** @type {Job} */ job) => {
      seen(job);
      if (hasEnded(job)) resolve(job);
      return hasEnded(job);
    };
    const ask = async () => {
      try {
        while (!take(await untilLinked(() => api.job(id)))) await new Promise((later) => { setTimeout(later, ASK_EVERY_MS); });
      } catch (error) {
        reject(error);
      }
    };
    if (!("EventSource" in window)) {
      ask();
      return;
    }
    const events = new EventSource(jobEventsUrl(id));
    events.addEventListener("message", (event) => {
      if (take(JSON.parse(event.data))) events.close();
    });
    events.addEventListener("error", () => {
      // The browser would try the stream again by itself; asking tells more surely what became of the job.
      events.close();
      ask();
    });
  });
}
