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

/** The names in use that begin so. @param {string} start @returns {string[]} */
export function named(start) {
  try {
    const whole = `lampfold.${start}`;
    return Object.keys(localStorage).filter((name) => name.startsWith(whole)).map((name) => name.slice("lampfold.".length));
  } catch {
    return [];
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
