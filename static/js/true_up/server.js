/**
 * What the True-up page asks of the server.
 */

import { ApiError, call, errorFrom } from "../common/api.js";

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
  /** @param {Record<string, any>} form @returns {Promise<Printer>} */
  create: (form) => call("POST", "/printers", form),
  /** @param {string} id @param {Record<string, any>} form @returns {Promise<Printer>} */
  change: (id, form) => call("PUT", at(id), form),
  /** @param {string} id */
  remove: (id) => call("DELETE", at(id)),
  /** @param {string} id @param {"restore"|"undo"|"refine"} what @returns {Promise<Printer>} */
  step: (id, what) => call("POST", at(id, `/${what}`)),
  /** @param {string} id @param {Measured} measured @returns {Promise<Printer>} */
  trueUp: (id, measured) => call("PUT", at(id, "/readings"), measured),
  /** @param {string} id @returns {Promise<Printer>} */
  forget: (id) => call("DELETE", at(id, "/readings")),
  /** @param {string} id @param {Measured} measured @returns {Promise<Printer>} */
  confirm: (id, measured) => call("PUT", at(id, "/confirmation"), measured),
  /** @param {any} file what a printer file holds @returns {Promise<Printer>} */
  takeIn: (file) => call("POST", "/printers/import", file),
  /** @param {string} paper @returns {Promise<Stations>} */
  stations: (paper) => call("GET", `/test-sheet/stations?${new URLSearchParams({ paper })}`),
  /** @param {Measured & {paper: string}} ask @param {AbortSignal} signal @returns {Promise<Fit>} */
  fit: (ask, signal) => call("POST", "/fit", ask, { signal }),
};

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
  let answer;
  try {
    answer = await fetch(`/api/nudge?${new URLSearchParams({ printer, backs, name: file.name.slice(-200) })}`,
      { method: "POST", body: file, credentials: "same-origin" });
  } catch {
    throw new ApiError("The file could not be sent.", { fix: "See that Lampfold still runs and the file is still there." });
  }
  const told = await answer.json().catch(() => null);
  if (!answer.ok) throw errorFrom(answer.status, told);
  return told;
}
