/**
 * What was typed and isn't saved yet: kept in this browser, since paper has to be printed in between.
 */

import { forget, keep, recall } from "../common/browser-store.js";

/** @typedef {{setup: Record<string, any>, way: "sheet"|"plain", sheets: import("./read-sheets.js").Sheet[],
 *   plain: Record<string, number>|null}} Draft */

const name = (/** @type {string|null} */ id) => `true-up.${id ?? "new"}`;

/** @param {string|null} id null for a printer that isn't saved @returns {Draft|null} */
export function recallDraft(id) {
  const found = recall(name(id));
  return found && Array.isArray(found.sheets) && found.sheets.length && found.setup ? found : null;
}

/** @param {string|null} id @param {Draft} draft */
export const keepDraft = (id, draft) => keep(name(id), draft);

/** @param {string|null} id */
export const forgetDraft = (id) => forget(name(id));
