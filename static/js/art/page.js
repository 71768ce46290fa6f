/**
 * The Art page: files in, pairs of front and back out, and what is wrong with which.
 */

import { api } from "../common/api.js";
import { chooseBack } from "./back-choice.js";
import { BleedView } from "./bleed-view.js";
import { cardSizeOf } from "../common/card-size.js";
import { bindBulkBar, moveCards, showOut, takeOut } from "./bulk-bar.js";
import { labelOf } from "./card-drag.js";
import { fromDrop, fromInput, tidied } from "./dropped-files.js";
import { settleFolder } from "./folder-again.js";
import { bindProposals } from "./proposals.js";
import { bindRubberBand, Selection } from "./selection.js";
import { OpenDeck, OTHER_PARTS } from "../common/open-deck.js";
import { bindHead, bindTitle } from "../common/deck-head.js";
import { counted, el, icon, need, ready, settled, sized } from "../common/dom.js";
import { say, tellError } from "../common/messages.js";
import { CardGrid } from "./card-grid.js";
import { groups, waysOut, worthALine } from "../common/problems.js";
import { showUpload } from "./upload-strip.js";
import { untilLinked } from "../common/link.js";
import { Uploader } from "./uploader.js";

/** @typedef {import("../common/api.js").FileRecord} FileRecord */

// While files come in, the deck is read again this often at most, and not oftener than leaves most of the time to them.
const REFRESH_EVERY_MS = 2500;

/** @param {OpenDeck} deck @param {import("../common/types.js").TablesOut} tables */
function bindCards(deck, tables) {
  const selection = new Selection();
  const bleed = new BleedView(deck, selection, tables.settings.find(({ name }) => name === "edges")?.choices ?? []);
  const grid = new CardGrid(need("[data-pairs]"), selection, {
    copies: (file, copies) => deck.save({ cards: { [file]: { copies } } }),
    name: (file, name) => deck.save({ cards: { [file]: { name } } }),
    out: (files) => takeOut(deck, files),
    move: (files, where) => moveCards(deck, files, where),
    bleed: (card) => bleed.open(card.file),
    back: async (card) => {
      const back = await chooseBack(card, deck.record);
      if (back === null || back === deck.value(`back/${card.file}`)) return;
      await deck.save({ cards: { [card.file]: { back } } });
      say(`${card.name} has another back now.`);
    },
  });
  bindRubberBand(need("[data-pairs]"), selection, labelOf);
  bindBulkBar(deck, selection, () => bleed.open(selection.labels[0], "some"));
  bindSelect(deck, selection);
  bindProposals(deck);
  const find = need("[data-find]");
  const search = () => { need("[data-none-found]").hidden = grid.find(find.value) > 0; };
  find.addEventListener("input", () => {
    search();
    const cards = need("[data-cards-section]");
    if (cards.getBoundingClientRect().top < 0) cards.scrollIntoView();  // what is found stands at its top
  });
  const show = () => {
    const { cards } = deck.view;
    // That an empty deck has no card needs no saying.
    const problems = deck.record.files.length ? worthALine(deck.record.problems) : [];
    grid.show(cards, problems);
    search();
    need("[data-cards-section]").hidden = !cards.length;
    need("[data-none-found]").hidden ||= !cards.length;
    need("[data-next]").hidden = !cards.length;
    need("[data-drop]").toggleAttribute("data-small", deck.record.files.length > 0);
    need("[data-problems-section]").hidden = !problems.length;
    const folded = [...document.querySelectorAll(".problem-group")].map((one) => /** @type {any} */ (one));
    const closed = new Set(folded.filter((one) => !one.open).map((one) => one.dataset.tone));
    const ways = waysOut(deck.record, (card) => deck.save({ settings: { card } }));
    const fresh = /** @type {HTMLDetailsElement[]} */ (groups(problems, (file) => grid.anchor(file), ways));
    if (folded.length) for (const group of fresh) group.open = !closed.has(group.dataset.tone) && group.open;
    need("[data-problems]").replaceChildren(...fresh);
    need("[data-count]").textContent = summary(deck);
    showFiles(deck);
    showOut(deck);
  };
  deck.addEventListener("record", show);
  show();
}

/**
 * Select by folder, by what Find shows, or those that still want a back.
 *
 * @param {OpenDeck} deck
 * @param {Selection} selection
 */
function bindSelect(deck, selection) {
  const menu = /** @type {HTMLSelectElement} */ (need("[data-select]"));
  const folderOf = (/** @type {string} */ file) => file.split("/").slice(0, -1).join("/");
  const show = () => {
    const folders = [...new Set(deck.record.cards.map((card) => folderOf(card.file)))].filter((folder) => folder);
    menu.replaceChildren(el("option", { value: "", text: "Select" }), el("option", { value: "all", text: "All that are shown" }),
      el("option", { value: "bare", text: "Cards without a back" }), el("option", { value: "rest", text: "All that aren't selected" }),
      ...(folders.length > 1 ? folders.map((folder) => el("option", { value: `/${folder}`, text: `Folder ${folder}` })) : []));
  };
  menu.addEventListener("change", () => {
    const { value } = menu;
    menu.value = "";
    if (value === "all") selection.only(selection.shown);
    else if (value === "rest") selection.only(selection.shown.filter((label) => !selection.chosen.has(label)));
    else {
      const shown = new Set(selection.shown);
      selection.only(deck.record.cards.filter((card) => shown.has(card.file)
        && (value === "bare" ? !card.back : folderOf(card.file) === value.slice(1))).map((card) => card.file));
    }
  });
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLElement && event.target.matches("input:not([type=checkbox]), textarea, select");
    if (typing || document.querySelector("dialog[open]")) return;
    if (event.key === "Escape") selection.clear();
    else if (event.key.toLowerCase() === "a" && (event.ctrlKey || event.metaKey)) {
      event.preventDefault();
      selection.only(selection.shown);
    }
  });
  deck.addEventListener("record", show);
  show();
}

/** @param {OpenDeck} deck */
function summary({ view: { cards, files } }) {
  if (!files.length) return "No art yet.";
  const copies = cards.reduce((sum, card) => sum + card.copies, 0);
  const backs = new Set(cards.map((card) => card.back?.key).filter(Boolean)).size;
  const bytes = files.reduce((sum, file) => sum + file.bytes, 0);
  return [counted(copies, "card to print", "cards to print"), counted(cards.length, "front"), counted(backs, "back"),
    sized(bytes)].join(" · ");
}

/** @param {OpenDeck} deck */
function showFiles(deck) {
  const { files } = deck.record;
  need("[data-files-section]").hidden = !files.length;
  need("[data-files-title]").textContent = `All ${counted(files.length, "file")}`;
  const section = need("[data-files-section]");
  // Rows are made when they are first looked at: a deck may have thousands.
  if (section.open) need("[data-files]").replaceChildren(...files.map((file) => fileRow(deck, file)));
}

/**
 * @param {OpenDeck} deck
 * @param {FileRecord} file
 */
function fileRow(deck, file) {
  const size = file.width_px ? `${file.width_px} × ${file.height_px}` : "";
  return el("li", { data: file.problem ? { tone: file.problem.severity } : {} },
    el("span", { class: "problem-file", text: file.path }),
    el("span", { class: "measure", text: file.kind ?? "" }),
    el("span", { class: "measure", text: size }),
    el("span", { class: "measure", text: sized(file.bytes) }),
    el("button", { class: "button button-quiet button-icon button-small", type: "button", title: "Take out of the deck",
      "aria-label": `Take ${file.path} out of the deck`,
      on: { click: async () => { await deck.removeFile(file.path); say(`${file.path} is out. Undo brings it back.`); } } },
    icon("bin")));
}

/**
 * Files are taken from the first moment on, even while the deck itself is still being read.
 *
 * @param {string} id
 * @param {Promise<OpenDeck>} opening
 */
function bindUpload(id, opening) {
  const uploader = new Uploader(id);
  const refresh = () => opening.then((deck) => deck.refresh(), tellError);
  showUpload(uploader);
  uploader.addEventListener("finished", refresh);
  let due = Date.now() + REFRESH_EVERY_MS;
  uploader.addEventListener("change", async () => {
    const began = Date.now();
    if (uploader.phase !== "sending" || began < due || document.hidden) return;
    due = Infinity;
    await refresh();
    await new Promise((shown) => { setTimeout(shown); });
    due = Date.now() + Math.max(REFRESH_EVERY_MS, OTHER_PARTS * (Date.now() - began));
  });
  opening.then((deck) => uploader.addEventListener("change", () => { deck.followed = uploader.busy; }), () => {});
  const add = async (/** @type {import("./dropped-files.js").Collected} */ dropped) => {
    if (!dropped.items.length && !dropped.left.length) return;
    const { busy } = uploader;
    try {
      const [deck, tables] = await untilLinked(() => Promise.all([opening, api.tables()]), () => uploader.wait());
      const fronts = deck.record.files.map((file) => file.path.split("/")[0]).find((folder) => /^fronts$/i.test(folder));
      const collected = tidied(dropped, { sideWords: tables.side_words, fronts: fronts ?? "" });
      const wanted = busy ? collected : await untilLinked(() => settleFolder(deck, collected), () => uploader.wait());
      if (wanted) await uploader.add(wanted);
      else if (!busy) uploader.cancel();
    } catch (error) {
      if (!busy) uploader.cancel();
      tellError(error);
    }
  };
  for (const selector of ["[data-choose-folder]", "[data-choose-files]"]) {
    const input = /** @type {HTMLInputElement} */ (need(selector));
    input.addEventListener("change", () => {
      if (input.files?.length) add(fromInput(input.files));
      input.value = "";
    });
  }
  bindDrop(add);
  window.addEventListener("beforeunload", (event) => { if (uploader.busy) event.preventDefault(); });
}

/** The whole page takes a drop. @param {(collected: import("./dropped-files.js").Collected) => void} add */
function bindDrop(add) {
  const over = (/** @type {boolean} */ on) => document.body.toggleAttribute("data-dropping", on);
  const leave = settled(() => over(false), 120);
  document.addEventListener("dragover", (event) => {
    if (!event.dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    event.dataTransfer.dropEffect = "copy";
    over(true);
    leave();
  });
  document.addEventListener("drop", async (event) => {
    if (!event.dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    over(false);
    try {
      add(await fromDrop(event.dataTransfer));
    } catch {
      tellError({ message: "The browser could not read what was dropped.", fix: "Choose the folder with the button instead." });
    }
  });
}

async function start() {
  const id = document.body.dataset.deck ?? "";
  const opening = OpenDeck.load(id);
  const reading = api.tables();
  bindUpload(id, opening);
  const [deck, tables] = await Promise.all([opening, reading]);
  bindHead(deck);
  bindTitle(deck);
  need("[data-files-section]").addEventListener("toggle", () => showFiles(deck));
  const aspect = () => {
    const { width_mm, height_mm } = cardSizeOf(deck.record.settings.card ?? "", tables);
    document.documentElement.style.setProperty("--card-aspect", `${width_mm} / ${height_mm}`);
  };
  deck.addEventListener("record", aspect);
  aspect();
  bindCards(deck, tables);
  ready();
}

start().catch((error) => {
  need("[data-count]").textContent = "The deck could not be read.";
  tellError(error);
});
