/**
 * Choices that a browser keeps for itself: which deck was open last, mm or inch. Lost without harm.
 */

/** @param {string} name @returns {any} */
export function recall(name) {
  try {
    return JSON.parse(localStorage.getItem(`lampfold.${name}`) ?? "null");
  } catch {
    return null;
  }
}

/** @param {string} name @param {any} value */
export function keep(name, value) {
  try {
    localStorage.setItem(`lampfold.${name}`, JSON.stringify(value));
  } catch { /* a full or closed store costs only the comfort */ }
}

/** @param {string} name */
export function forget(name) {
  try {
    localStorage.removeItem(`lampfold.${name}`);
  } catch { /* as above */ }
}
