/**
 * The Output page: what to fix first, the PDF, and how to print and build.
 */

import { api, ApiError } from "../common/api.js";
import { OpenDeck } from "../common/open-deck.js";
import { bindHead } from "../common/deck-head.js";
import { counted, drawing, el, icon, need, ready, sized } from "../common/dom.js";
import { hasEnded, watch } from "./watch-job.js";
import { keep, recall } from "../common/browser-store.js";
import { notice, say, tellError } from "../common/messages.js";
import { ownPrinter } from "./own-printer.js";
import { bindVersions } from "./versions.js";
import { showSwap } from "./changes.js";
import { ReleaseForm } from "./release.js";
import { showReleased } from "./released.js";
import { dated, loadPrinters } from "../common/printer-choice.js";
import { groups, makeBackUrl, worthALine } from "../common/problems.js";
import { showFigures } from "../common/plan-facts.js";

/** @typedef {import("../common/api.js").Job} Job */
/** @typedef {{title: string, says: string, why: string}} Step */

/** @param {import("../common/types.js").GuideOut} guide */
function showGuide(guide) {
  for (const list of document.querySelectorAll("[data-steps]")) {
    const name = /** @type {HTMLElement} */ (list).dataset.steps ?? "";
    /** @type {(Step & {cautions?: Step[], drawing?: string})[]} */
    const steps = /** @type {any} */ (guide)[name] ?? [];
    list.replaceChildren(...steps.map((step) => el("li", {},
      // What can hurt is read before the step is begun.
      ...(step.cautions ?? []).map((caution) => el("div", { class: "caution" }, icon("warning"),
        el("p", {}, el("strong", { text: `${caution.title}. ` }), `${caution.says} ${caution.why}`.trim()))),
      step.drawing && el("figure", { class: "step-drawing" }, drawing(step.drawing)),
      el("div", { class: "step-words" }, el("h3", { text: step.title }), el("p", { text: step.says }),
        step.why && el("p", { class: "why", text: step.why })))));
  }
}

/**
 * Problems of files and of the sheet, each once.
 *
 * @param {OpenDeck} deck
 * @param {import("../common/api.js").Problem[]} problems
 * @param {any} method how the cards are built
 */
function showProblems(deck, problems, method) {
  const art = `/decks/${encodeURIComponent(deck.id)}/art`;
  const grave = problems.filter((problem) => problem.severity !== "note");
  const blank = deck.record.cards.filter((card) => !card.back && card.copies > 0).length;
  const parts = groups(problems);
  if (!grave.length) parts.unshift(notice("good", !method?.has_backs ? "Nothing to fix: every card has its front, and no backs are printed."
    : blank ? `Nothing to fix. ${counted(blank, "card has no back and prints", "cards have no back and print")} blank there.`
    : "Nothing to fix: every card has its front and its back."));
  // Playtesters have no Art page, and make no backs.
  else if (!document.querySelector("[data-own-printer]")) {
    parts.push(el("p", { class: "row" }, el("a", { class: "button button-small", href: art }, icon("art"), "Look at them on the Art page"),
      problems.some(({ code }) => code === "missing-back") && el("a", { class: "button button-small",
        href: makeBackUrl(deck.id) }, icon("glow"), "Make a back")));
  }
  need("[data-problems]").replaceChildren(...parts);
}

/** @param {import("../common/types.js").TablesOut} tables @param {import("../common/types.js").PlanSummary} summary */
const methodOf = (tables, summary) => tables.methods.find((one) => one.name === summary.method);

/**
 * @param {import("../common/types.js").PlanSummary} summary of the plan
 * @param {import("../common/types.js").TablesOut} tables
 * @param {Record<string, any>} settings
 */
function showMadeFor(summary, tables, settings) {
  const method = methodOf(tables, summary);
  const paper = tables.papers.find((one) => one.name === settings.paper)?.label ?? settings.paper;
  const flip = method?.honours.includes("flip") ? `, flip on the ${settings.flip.replace("-", " ")}` : "";
  need("[data-made-for]").textContent = `${paper}, ${method?.label.toLowerCase() ?? summary.method}${flip}. `
    + "One PDF, how to print it, and how to build the cards from it.";
  need("[data-method-line]").textContent = method ? `${method.label}: ${method.summary}` : "";
}

/**
 * Which printer the sheets are made for, and since when it is known.
 *
 * @param {{id: string, name: string, state: string, trued_up: string|null}|null} printer
 * @param {boolean} onePass whether one pass prints everything, so that its drift doesn't count
 */
function showPrinter(printer, onePass) {
  const line = need("[data-printer-line]");
  const deck = encodeURIComponent(document.body.dataset.deck ?? "");
  const way = (/** @type {string} */ text) => el("a", { href: `/decks/${deck}/true-up${printer ? `?${new URLSearchParams({ printer: printer.id })}` : ""}`, class: "no-print" }, text);
  const good = onePass || printer?.state === "trued up";
  line.hidden = onePass && !printer;
  line.dataset.tone = good ? "good" : "warning";
  line.replaceChildren(icon(good ? "good" : printer ? "warning" : "note"), el("span", {}, ...(!printer
    ? ["Made for any printer, not trued up. ", way("True yours up"), ...(document.body.dataset.role === "playtester" ? [", or choose it below."] : [])]
    : onePass ? [`Made for the edges of ${printer.name}. One pass prints everything, so its drift doesn't count.`]
    : !printer.trued_up ? [`Made for ${printer.name}, not trued up. `, way("Read its test sheet")]
      : [`Made for ${printer.name}, trued up ${dated(printer.trued_up)}.`, ...(good ? [] : [" That is more than half a year ago. ", way("Read it again")])])));
}

class Build {
  /** @param {OpenDeck} deck @param {() => Record<string, any>} chosen settings for these builds alone */
  constructor(deck, chosen) {
    this.deck = deck;
    this.chosen = chosen;
    /** @returns {{version?: string, since?: string}} what the button builds */
    this.which = () => ({});
    this.button = need("[data-build]");
    this.cancel = need("[data-cancel]");
    /** @type {string|null} */
    this.job = null;
    this.button.addEventListener("click", () => this.start());
    this.cancel.addEventListener("click", () => this.job && api.cancelJob(this.job).catch(tellError));
  }

  /** A build of this very revision that was started before the page was loaded again. */
  async resume() {
    const kept = recall("build");
    if (kept?.deck !== this.deck.id || kept?.revision !== this.deck.record.revision) return;
    try {
      const job = await api.job(kept.job);
      if (job.state === "done" || !hasEnded(job)) await this.follow(job.id);
    } catch { /* the host has forgotten it: it can be built again */ }
  }

  /** @param {{version?: string, since?: string}} [which] version to build, or to build from */
  async start(which = this.which()) {
    this.button.disabled = true;
    need("[data-build-message]").replaceChildren();
    need("[data-result]").hidden = true;
    need("[data-swap]").hidden = true;
    try {
      const { job } = await api.build(this.deck.id, { settings: this.chosen(), ...which, ...(which.since ? {} : { part: need("[data-part]").value }) });
      keep("build", { deck: this.deck.id, revision: this.deck.record.revision, job });
      await this.follow(job);
    } catch (error) {
      this.#fail(error instanceof ApiError ? error : new ApiError("The build broke off.", { fix: "Try again." }));
    }
    this.button.disabled = false;
  }

  /** @param {string} id */
  async follow(id) {
    this.job = id;
    this.cancel.hidden = false;
    need("[data-progress]").hidden = false;
    const ended = await watch(id, (job) => this.#progress(job));
    this.job = null;
    this.cancel.hidden = true;
    need("[data-progress]").hidden = true;
    if (ended.state === "done") this.#done(ended);
    else if (ended.state === "cancelled") this.#message("note", "Cancelled; nothing was kept.");
    else this.#fail(new ApiError(ended.message, { fix: ended.fix }));
  }

  /** @param {Job} job */
  #progress({ state, done, total, message }) {
    const bar = need("[data-progress-bar]");
    if (total) bar.value = done / total;
    else bar.removeAttribute("value");
    need("[data-progress-says]").textContent = state === "queued" ? "Waiting for its turn"
      : message || (total ? `Page ${done} of ${total}` : "Starting");
  }

  /** @param {Job} job */
  #done({ result, message }) {
    if (!result) return;
    if (result.changes) showSwap(result.changes);
    if (result.left_out?.length) this.#message("note", message);
    if (!result.pdf || !result.plan) {
      this.#message("note", message, result.changes ? `Every card is as it was in ${result.changes.since}.` : "");
      return;
    }
    need("[data-result]").hidden = false;
    need("[data-result-name]").textContent = result.name;
    need("[data-result-facts]").textContent = [counted(result.pages, "page"), counted(result.papers, "sheet of paper", "sheets of paper"),
      result.changes ? `${result.cards} of ${counted(result.changes.cards, "card")}` : counted(result.cards, "card"), sized(result.bytes)].join(" · ");
    if (result.ink && need("[data-part]").value === "sheets") {
      const { cyan_percent: c, magenta_percent: m, yellow_percent: y, black_percent: k } = result.ink;
      need("[data-result-facts]").textContent += ` · ink, cover of the page: C ${c.toFixed(0)} M ${m.toFixed(0)} Y ${y.toFixed(0)} K ${k.toFixed(0)} %`
        + (result.ink_saved_percent ? `, ${result.ink_saved_percent.toFixed(0)} % saved` : "");
    }
    need("[data-contours]").hidden = !this.deck.record.settings.registration;
    need("[data-pdf]").href = result.pdf;
    need("[data-pdf]").setAttribute("download", result.name);
    need("[data-view]").href = `${result.pdf}?inline=1`;
    need("[data-plan]").href = result.plan;
    need("[data-plan]").setAttribute("download", result.name.replace(/\.pdf$/i, "-plan.json"));
    this.button.textContent = "Build it again";
    this.button.classList.remove("button-main", "button-large");
    say(`${result.name} is ready.`);
  }

  /** @param {ApiError} error */
  #fail({ message, fix }) {
    this.#message("error", message, fix);
  }

  /**
   * @param {"error"|"note"} tone
   * @param {string} message
   * @param {string} [fix]
   */
  #message(tone, message, fix) {
    need("[data-build-message]").replaceChildren(notice(tone, message, fix));
    say(`${message} ${fix ?? ""}`.trim());
  }
}

async function start() {
  const deck = await OpenDeck.load(document.body.dataset.deck ?? "");
  bindHead(deck);
  need("[data-print-page]").addEventListener("click", () => window.print());
  const [tables, printers] = await Promise.all([api.tables(), loadPrinters()]);
  ready();
  const chosen = ownPrinter(tables, printers, deck.record.settings, () => show(deck, tables, chosen(), build));
  const build = new Build(deck, chosen);
  const versions = bindVersions(deck, (which) => build.start(which), () => show(deck, tables, chosen(), build));
  build.which = versions.which;
  const listed = () => versions.load().catch(tellError);
  listed();
  if (document.querySelector("[data-released]")) showReleased(deck.record, tables, printers).catch(tellError);
  else new ReleaseForm(deck.id, tables, deck.record.settings, listed).load().catch(tellError);
  if (await show(deck, tables, chosen(), build)) await build.resume();
}

/**
 * @param {OpenDeck} deck
 * @param {import("../common/types.js").TablesOut} tables
 * @param {Record<string, string>} changes to the deck's settings, for this page alone
 * @param {Build} build
 * @returns {Promise<boolean>} whether it could be laid out
 */
async function show(deck, tables, changes, build) {
  build.button.disabled = true;
  try {
    const [plan, guide] = await Promise.all([
      api.plan(deck.id, { settings: changes, sheet: 0, face: "front" }), api.guide(deck.id, changes)]);
    showFigures(plan.summary);
    const method = methodOf(tables, plan.summary);
    showProblems(deck, worthALine(plan.problems), method);
    showGuide(guide);
    showPrinter(plan.printer, method?.drift === "one pass");
    showMadeFor(plan.summary, tables, { ...deck.record.settings, ...changes });
    build.button.disabled = false;
    return true;
  } catch (error) {
    const { plain, fix } = error instanceof ApiError ? error : new ApiError("The deck could not be laid out.");
    need("[data-problems]").replaceChildren(notice("error", plain, fix));
    return false;
  }
}

start().catch(tellError);
