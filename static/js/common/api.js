/**
 * The server's JSON API. Each call resolves with the body or throws an ApiError that names cause and way out.
 */

import { steadily } from "./link.js";

/** @typedef {import("./types.js").ProblemOut} Problem */
/** @typedef {import("./types.js").ArtOut} ArtRecord */
/** @typedef {import("./types.js").CardOut} CardRecord */
/** @typedef {import("./types.js").FileOut} FileRecord */
/** @typedef {import("./types.js").DeckRecord} DeckRecord */
/** @typedef {import("./types.js").DeckSummary} DeckSummary */
/** @typedef {import("./types.js").JobOut} Job */
/** @typedef {import("./types.js").VersionOut} Version */

export class ApiError extends Error {
  /**
   * @param {string} message
   * @param {{fix?: string, field?: string, status?: number, body?: any}} [more]
   */
  constructor(message, { fix = "", field = "", status = 0, body = null } = {}) {
    super(message);
    this.fix = fix;
    this.field = field;
    this.status = status;
    this.body = body;
  }

  /** The message without the name of a setting at its front, for where the page itself says what is meant. */
  get plain() {
    const bare = this.message.replace(new RegExp(`^(?:${this.field || "deck"}|deck): `), "");
    return `${bare.charAt(0).toUpperCase()}${bare.slice(1)}`;
  }
}

/**
 * @param {number} status
 * @param {any} body
 * @returns {ApiError}
 */
export function errorFrom(status, body) {
  return new ApiError(body?.message ?? `The server answered with ${status}.`, {
    fix: body?.fix ?? "", field: body?.field ?? "", status, body,
  });
}

/**
 * @param {string} method
 * @param {string} path below /api
 * @param {any} [body] sent as JSON, a file as its bytes
 * @param {{signal?: AbortSignal, keepalive?: boolean, once?: string}} [how] `keepalive`: it goes on where the page
 *   doesn't; `once`: a change's mark, by which it is done once however often it is sent
 * @returns {Promise<any>}
 */
export async function call(method, path, body, { signal, keepalive = false, once } = {}) {
  let response;
  let text;
  try {
    response = await fetch(`/api${path}`, {
      method, signal, keepalive, credentials: "same-origin",
      headers: { ...(body === undefined ? {} : { "Content-Type": body instanceof Blob ? "application/octet-stream" : "application/json" }),
        ...(once ? { "Lampfold-Once": once } : {}) },
      body: body === undefined || body instanceof Blob ? body : JSON.stringify(body),
    });
    text = await response.text();
  } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") throw error;
    throw new ApiError("Lampfold doesn't answer.", { fix: "See that it still runs, then try again." });
  }
  let parsed = null;
  try {
    parsed = text ? JSON.parse(text) : null;
  } catch { /* not ours; the status says enough */ }
  if (!response.ok) throw errorFrom(response.status, parsed);
  return parsed;
}

/**
 * A change that is sent until it is there, although the link may be lost meanwhile.
 *
 * @param {string} method
 * @param {string} path below /api
 * @param {any} [body]
 * @returns {Promise<any>}
 */
export const steady = (method, path, body) => steadily((once) => call(method, path, body, { once }));

const part = encodeURIComponent;

/** @param {string} path @returns {string} each part escaped, slashes kept */
const parts = (path) => path.split("/").map(part).join("/");

export const api = {
  /** @returns {Promise<import("./types.js").DeskOut>} */
  decks: () => call("GET", "/decks"),
  /** @param {string} name @returns {Promise<DeckRecord>} */
  create: (name) => steady("POST", "/decks", { name }),
  /** @returns {Promise<import("./types.js").DemosOut>} */
  demos: () => call("GET", "/demo"),
  /** @param {string} which @returns {Promise<DeckRecord>} */
  openDemo: (which) => steady("POST", "/demo", { which }),
  /** @param {string} id @returns {Promise<DeckRecord>} */
  deck: (id) => call("GET", `/decks/${part(id)}`),
  /** Null where it is still at that revision. @param {string} id @param {number} revision @returns {Promise<DeckRecord|null>} */
  newer: (id, revision) => call("GET", `/decks/${part(id)}?known=${revision}`),
  /** @param {string} id @param {number} revision @param {Record<string, any>} changes @param {boolean} [keepalive]
   *  @returns {Promise<DeckRecord>} */
  change: (id, revision, changes, keepalive) => call("PATCH", `/decks/${part(id)}`, { revision, ...changes }, { keepalive }),
  /** @param {string} id */
  bin: (id) => steady("DELETE", `/decks/${part(id)}`),
  /** @param {string} id @param {"restore"|"undo"|"redo"} what @returns {Promise<DeckRecord>} */
  step: (id, what) => steady("POST", `/decks/${part(id)}/${what}`),
  /** @param {string} id @param {{path: string, bytes: number, modified: number}[]} files
   *  @returns {Promise<import("./types.js").MissingOut>} */
  missing: (id, files) => call("POST", `/decks/${part(id)}/missing`, { files }),
  /** @param {string} id @param {string} path @returns {Promise<DeckRecord>} */
  removeFile: (id, path) => steady("DELETE", `/decks/${part(id)}/files/${parts(path)}`),
  /** @param {string} id @param {Record<string, any>} ask @param {AbortSignal} [signal]
   *  @returns {Promise<import("./types.js").PlanOut>} */
  plan: (id, ask, signal) => call("POST", `/decks/${part(id)}/plan`, ask, { signal }),
  /** @param {string} id @param {import("./types.js").BleedAsk} ask @param {AbortSignal} [signal]
   *  @returns {Promise<import("./types.js").BleedSeen>} */
  bleed: (id, ask, signal) => call("POST", `/decks/${part(id)}/bleed`, ask, { signal }),
  /** @param {string} id @param {import("./types.js").CostAsk} ask @returns {Promise<import("./types.js").CostOut>} */
  cost: (id, ask) => call("POST", `/decks/${part(id)}/cost`, ask),
  /** @param {string} id @param {Record<string, string>} [settings] paper and flip, where they aren't the deck's
   *  @returns {Promise<import("./types.js").GuideOut>} */
  guide: (id, settings = {}) => call("GET", `/decks/${part(id)}/guide?${new URLSearchParams(settings)}`),
  /** @param {string} id @param {import("./types.js").BuildAsk} [ask] settings for this build alone; which version
   *  @returns {Promise<import("./types.js").JobStarted>} */
  build: (id, ask = {}) => steady("POST", `/decks/${part(id)}/builds`, ask),
  /** @param {string} id @returns {Promise<import("./types.js").VersionsOut>} */
  versions: (id) => call("GET", `/decks/${part(id)}/versions`),
  /** @param {string} id @param {string} name @param {number|null} revision the one that was looked at
   *  @returns {Promise<Version>} */
  keepVersion: (id, name, revision) => steady("POST", `/decks/${part(id)}/versions`, { name, revision }),
  /** @param {string} id @param {string} version @param {{name?: string, removed?: boolean}} change
   *  @returns {Promise<Version>} */
  changeVersion: (id, version, change) => steady("PATCH", `/decks/${part(id)}/versions/${part(version)}`, change),
  /** @param {string} id @param {string} version @returns {Promise<DeckRecord>} */
  restoreVersion: (id, version) => steady("POST", `/decks/${part(id)}/versions/${part(version)}/restore`),
  /** @param {string} id @param {string} from @param {string} to "" for the deck as it is now
   *  @returns {Promise<import("./types.js").ChangesOut>} */
  changes: (id, from, to) => call("GET", `/decks/${part(id)}/versions/${part(from)}/changes?${new URLSearchParams({ to })}`),
  /** @param {string} id @param {string} from @param {string} to @returns {Promise<import("./types.js").Looked>} */
  looked: (id, from, to) => call("GET", `/decks/${part(id)}/versions/${part(from)}/looked?${new URLSearchParams({ to })}`),
  /** @param {string} job @returns {Promise<Job>} */
  job: (job) => call("GET", `/jobs/${part(job)}`),
  /** @param {string} job */
  cancelJob: (job) => steady("DELETE", `/jobs/${part(job)}`),
  /** @param {string} id @returns {Promise<import("./types.js").ReleasesOut>} newest first */
  releases: (id) => call("GET", `/decks/${part(id)}/releases`),
  /** @param {string} id @param {import("./types.js").NewRelease} ask @returns {Promise<import("./types.js").ReleaseStarted>} */
  release: (id, ask) => steady("POST", `/decks/${part(id)}/releases`, ask),
  /** @param {string} id @param {string} release @returns {Promise<import("./types.js").ReleasesOut>} */
  removeRelease: (id, release) => steady("DELETE", `/decks/${part(id)}/releases/${part(release)}`),
  /** @param {string} id @returns {Promise<import("./types.js").ExtrasOut>} */
  extras: (id) => call("GET", `/decks/${part(id)}/releases/extras`),
  /** @param {string} id @param {string} name @param {Blob} content @returns {Promise<import("./types.js").ExtrasOut>} */
  putExtra: (id, name, content) => steady("PUT", `/decks/${part(id)}/releases/extras/${part(name)}`, content),
  /** @param {string} id @param {string} name @returns {Promise<import("./types.js").ExtrasOut>} */
  removeExtra: (id, name) => steady("DELETE", `/decks/${part(id)}/releases/extras/${part(name)}`),
  /** @param {string} id @param {string} release @param {Record<"paper"|"method"|"ink", string>} chosen
   *  @returns {Promise<import("./types.js").ChoiceLooks>} */
  looks: (id, release, chosen) => call("GET", `/decks/${part(id)}/releases/${part(release)}/looks?${new URLSearchParams(chosen)}`),
  /** @param {string} id @param {string} release @param {string} since another release
   *  @returns {Promise<import("./types.js").ChangesOut>} */
  releasedChanges: (id, release, since) => call("GET", `/decks/${part(id)}/releases/${part(release)}/changes?${new URLSearchParams({ since })}`),
  /** @param {string} id @param {string} release @param {string} since @returns {Promise<import("./types.js").Looked>} */
  releasedLooked: (id, release, since) => call("GET", `/decks/${part(id)}/releases/${part(release)}/looked?${new URLSearchParams({ since })}`),
  /** @param {string} id @param {string} release @param {import("./types.js").ChangeSheetAsk} ask
   *  @returns {Promise<import("./types.js").JobStarted>} */
  changeSheet: (id, release, ask) => steady("POST", `/decks/${part(id)}/releases/${part(release)}/change-sheet`, ask),
  /** @returns {Promise<import("./types.js").TablesOut>} */
  tables: () => call("GET", "/tables"),
};

/** @param {string} id @param {string} path @param {number} modified ms since 1970 */
export const fileUrl = (id, path, modified) =>
  `/api/decks/${part(id)}/files/${parts(path)}?modified=${Math.round(modified)}`;

/** @param {string} id */
export const archiveUrl = (id) => `/api/decks/${part(id)}/archive`;

/** @param {string} id @param {string} release */
export const packUrl = (id, release) => `/api/decks/${part(id)}/releases/${part(release)}/pack.zip`;

/** @param {string} id @param {string} release @param {string} file its name in the manifest */
export const releaseFileUrl = (id, release, file) => `/api/decks/${part(id)}/releases/${part(release)}/files/${parts(file)}`;

/** @param {string} job */
export const jobEventsUrl = (job) => `/api/jobs/${part(job)}/events`;

/** The picture of an art in the size that an upload leaves. @param {string} key */
export const thumbUrl = (key) => `/api/art/${part(key)}?longest=512`;
