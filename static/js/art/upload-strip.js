/**
 * The strip that tells how an upload goes: phase, files, bytes, what failed and why.
 */

import { counted, el, icon, need, sized } from "../common/dom.js";
import { say } from "../common/messages.js";

/** @typedef {import("./uploader.js").Uploader} Uploader */

const PHASES = {
  idle: "", comparing: "Comparing with what is here", sending: "Sending the art",
  waiting: "Waiting for Lampfold to answer; the rest goes on by itself", finished: "Sent", cancelled: "Cancelled",
};

/**
 * Show an uploader's figures as they change, at most once a frame.
 *
 * @param {Uploader} uploader
 */
export function showUpload(uploader) {
  const section = need("[data-sending]");
  const retry = need("[data-sending-retry]");
  const cancel = need("[data-sending-cancel]");
  const close = need("[data-sending-close]");
  let due = false;

  const draw = () => {
    due = false;
    const { phase, retryable, busy } = uploader;
    section.hidden = phase === "idle";
    need("[data-sending-phase]").textContent = headline(uploader);
    const bar = need("[data-sending-bar]");
    bar.hidden = !busy;
    if (uploader.bytes && phase !== "comparing") bar.value = uploader.bytesSent / uploader.bytes;
    else bar.removeAttribute("value");
    need("[data-sending-figures]").replaceChildren(...figures(uploader));
    retry.hidden = busy || !retryable.length;
    retry.lastElementChild.textContent = `Retry ${counted(retryable.length, "file")}`;
    cancel.hidden = !busy;
    close.hidden = busy;
    drawFailures(uploader);
  };
  const soon = () => {
    if (due) return;
    due = true;
    requestAnimationFrame(draw);
  };
  uploader.addEventListener("change", soon);
  uploader.addEventListener("finished", () => { soon(); say(`${headline(uploader)}.`); });
  retry.addEventListener("click", () => uploader.retry());
  cancel.addEventListener("click", () => uploader.cancel());
  close.addEventListener("click", () => { section.hidden = true; });
}

/** @param {Uploader} uploader */
function headline(uploader) {
  const { phase, failures, filesDone, known } = uploader;
  if (phase !== "finished") return PHASES[phase];
  if (failures.length) return `${counted(failures.length, "file")} could not be taken`;
  if (!filesDone) return known ? "All of it is here already" : "Nothing to send";
  return `${counted(filesDone, "file")} taken`;
}

/** @param {Uploader} uploader */
function figures(uploader) {
  const { files, filesDone, bytes, known, duplicates, failures, left } = uploader;
  const figure = (/** @type {string} */ value, /** @type {string} */ label) =>
    el("div", {}, el("dd", { class: "measure", text: value }), el("dt", { text: label }));
  return [
    figure(`${filesDone} of ${files}`, "files sent"),
    figure(`${sized(Math.min(uploader.bytesSent, bytes))} of ${sized(bytes)}`, "sent"),
    known ? figure(String(known), "here already") : null,
    duplicates.length ? figure(String(duplicates.length), "the same picture twice") : null,
    failures.length ? figure(String(failures.length), "failed") : null,
    left.length ? figure(String(left.length), "system files left out") : null,
  ].filter((one) => one !== null);
}

/** Each cause once, with the files that it kept out. @param {Uploader} uploader */
function drawFailures({ failures, ignored }) {
  const list = need("[data-sending-failed]");
  /** @type {Map<string, {tone: string, reason: string, fix: string, paths: string[]}>} */
  const causes = new Map();
  const told = [...failures.map(({ item, reason, fix }) => ({ tone: "error", path: item.path, reason, fix })),
    ...ignored.map(({ path, reason }) => ({ tone: "note", path, reason: `Left out: it ${reason}.`, fix: "" }))];
  for (const { tone, path, reason, fix } of told) {
    const key = `${tone} ${reason} ${fix}`;
    const cause = causes.get(key) ?? { tone, reason, fix, paths: [] };
    cause.paths.push(path);
    causes.set(key, cause);
  }
  const shown = JSON.stringify([...causes.values()]);
  if (list.dataset.shown === shown) return;
  list.dataset.shown = shown;
  list.replaceChildren(...[...causes.values()].map(({ tone, reason, fix, paths }) => {
    const names = paths.map((path) => el("p", { class: "problem-file", text: path }));
    return el("li", { class: "notice", data: { tone } }, icon(tone), el("div", { class: "notice-body" },
      ...(paths.length > 3 ? [el("details", {}, el("summary", { text: counted(paths.length, "file") }), ...names)] : names),
      el("p", { text: reason }), fix && el("p", { class: "soft", text: fix })));
  }));
}
