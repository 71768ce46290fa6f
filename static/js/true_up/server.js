/**
 * What the True-up page asks of the server.
 */

import { ApiError, call, errorFrom, steady } from "../common/api.js";

/** @typedef {import("../common/types.js").DriftOut} Drift */
/** @typedef {import("../common/types.js").ReadingOut} Reading */
/** @typedef {import("../common/types.js").TrueUpModelsPrinterOut} Printer */
/** @typedef {import("../common/types.js").FitOut} Fit */
/** @typedef {import("../common/types.js").StationsOut} Stations */
/** @typedef {{readings?: Partial<Reading>[], plain?: Record<string, number>}} Measured */

const part = encodeURIComponent;
const at = (/** @type {string} */ id, rest = "") => `/printers/${part(id)}${rest}`;

export const server = {
  /** @returns {Promise<{printers: Printer[], deleted: Printer[]}>} */
  printers: () => call("GET", "/printers"),
  /** @param {Record<string, any>} form @param {string} once its mark @returns {Promise<Printer>} */
  create: (form, once) => call("POST", "/printers", form, { once }),
  /** @param {string} id @param {Record<string, any>} form @param {number} revision @returns {Promise<Printer>} */
  change: (id, form, revision) => call("PUT", at(id, `?revision=${revision}`), form),
  /** @param {string} id */
  remove: (id) => steady("DELETE", at(id)),
  /** @param {string} id @param {"restore"|"undo"|"refine"} what @returns {Promise<Printer>} */
  step: (id, what) => steady("POST", at(id, `/${what}`)),
  /** @param {string} id @param {Measured} measured @param {number} revision @returns {Promise<Printer>} */
  trueUp: (id, measured, revision) => call("PUT", at(id, `/readings?revision=${revision}`), measured),
  /** @param {string} id @returns {Promise<Printer>} */
  forget: (id) => steady("DELETE", at(id, "/readings")),
  /** @param {string} id @param {Measured} measured @param {number} revision @returns {Promise<Printer>} */
  confirm: (id, measured, revision) => call("PUT", at(id, `/confirmation?revision=${revision}`), measured),
  /** @param {any} file what a printer file holds @returns {Promise<Printer>} */
  takeIn: (file) => steady("POST", "/printers/import", file),
  /** @param {string} paper @returns {Promise<Stations>} */
  stations: (paper) => call("GET", `/test-sheet/stations?${new URLSearchParams({ paper })}`),
  /** Ask for a phone's way here. @param {Record<string, string>} how paper and flip @returns {Promise<import("../common/types.js").PostMade>} */
  post: (how) => call("POST", `/read/posts?${new URLSearchParams(how)}`),
  /** What the phone has sent since. @param {string} id @param {number} after @returns {Promise<import("../common/types.js").PostOut>} */
  posted: (id, after) => call("GET", `/read/posts/${part(id)}?after=${after}`),
  /** @param {Measured & {paper: string}} ask @param {AbortSignal} signal @returns {Promise<Fit>} */
  fit: (ask, signal) => call("POST", "/fit", ask, { signal }),
};

/**
 * Have a photograph of a test sheet read.
 *
 * @param {File} file
 * @param {Record<string, string>} how paper, flip, and the desk's post that it goes to, too
 * @returns {Promise<import("../common/types.js").PhotosRead>}
 */
export const readPhoto = (file, how) => sendFile("read", file, { ...how, name: file.name.slice(-200) });

/** @param {string} id */
export const exportUrl = (id) => `/api${at(id, "/export")}`;

/** @param {Record<string, string>} how paper and flip, or a printer to be confirmed */
export const testSheetUrl = (how) => `/api/test-sheet.pdf?${new URLSearchParams(how)}`;

/**
 * Have the backs of a ready PDF moved.
 *
 * @param {File} file
 * @param {string} printer
 * @param {string} backs "even", "odd" or a list
 * @returns {Promise<{pdf: string, name: string, bytes: number, says: string, note: string, warnings: string[]}>}
 */
export async function nudge(file, printer, backs) {
  return sendFile("nudge", file, { printer, backs, name: file.name.slice(-200) });
}

/** @param {string} where @param {File} file @param {Record<string, string>} how */
async function sendFile(where, file, how) {
  let answer;
  try {
    answer = await fetch(`/api/${where}?${new URLSearchParams(how)}`, { method: "POST", body: file, credentials: "same-origin" });
  } catch {
    throw new ApiError("The file could not be sent.", { fix: "See that Lampfold still runs and the file is still there." });
  }
  const told = await answer.json().catch(() => null);
  if (!answer.ok) throw errorFrom(answer.status, told);
  return told;
}
