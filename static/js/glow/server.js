/**
 * What the Glow page asks of the server. Nothing here is called while anything moves.
 */

import { ApiError, fileUrl } from "../common/api.js";

const part = encodeURIComponent;

/**
 * @param {string} path
 * @param {RequestInit} [how]
 * @returns {Promise<Response>}
 */
async function ask(path, how = {}) {
  let answer;
  try {
    answer = await fetch(path, { credentials: "same-origin", ...how });
  } catch {
    throw new ApiError("Lampfold doesn't answer.", { fix: "See that it still runs, then try again." });
  }
  if (!answer.ok) {
    const told = await answer.json().catch(() => null);
    throw new ApiError(told?.message ?? "Something went wrong here.", { status: answer.status, fix: told?.fix ?? "" });
  }
  return answer;
}

/** @param {Record<string, string|number|null|undefined>} values */
const query = (values) => {
  const given = Object.entries(values).filter(([, value]) => value !== null && value !== undefined);
  return given.length ? `?${new URLSearchParams(given.map(([name, value]) => [name, String(value)]))}` : "";
};

const glow = (/** @type {string} */ id) => `/api/decks/${part(id)}/glow`;

/** @typedef {{printer: string|null, paper?: string, flip?: string}} Print a null printer is the deck's own; paper and flip where they are others */

/** @param {string} id @param {number} sheet @param {Print} print @returns {Promise<import("../common/types.js").GlowOut>} */
export const getGlow = async (id, sheet, print) => (await ask(`${glow(id)}${query({ sheet, ...print })}`)).json();

/** @param {string} id @param {Print} print @returns {Promise<import("../common/types.js").LeewaysOut>} */
export const getLeeways = async (id, print) => (await ask(`${glow(id)}/leeway${query({ ...print })}`)).json();

/** @param {string} id @returns {Promise<import("../common/types.js").BackChoices>} */
export const getBackChoices = async (id) => (await ask(`${glow(id)}/backs`)).json();

/** @param {string} id @param {Record<string, any>} design @returns {Promise<import("../common/types.js").BackSeen>} */
export const seeBack = async (id, design) => (await ask(`${glow(id)}/back`, {
  method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(design) })).json();

/** @param {string} id @param {Record<string, any>} design @returns {Promise<Blob>} */
export const fetchBackPdf = async (id, design) => (await ask(`${glow(id)}/back.pdf${query(design)}`)).blob();

/** Have a printed sheet's photograph read. @param {string} id @param {File} file @param {Print} print @returns {Promise<import("../common/types.js").PhotosRead>} */
export const readSheet = async (id, file, print) => (await ask(`${glow(id)}/read${query({ ...print, name: file.name.slice(-200) })}`, {
  method: "POST", body: file })).json();

/** @param {string} id @param {string} path @param {Blob} content */
export const sendFile = (id, path, content) => ask(fileUrl(id, path, Date.now()), { method: "PUT", body: content });
