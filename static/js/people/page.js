/**
 * The host's page of people: codes, links to one deck, who is in, and putting someone out.
 */

import { call, steady } from "../common/api.js";
import { el, icon, need, ready } from "../common/dom.js";
import { say, tellError } from "../common/messages.js";

const part = encodeURIComponent;
const LOOK_AGAIN_MS = 5000;

/** @typedef {{id: string, role: string, name: string, address: string, deck_id: string|null, started: string,
 *   you: boolean}} Person */
/** @typedef {{people: Person[], lan: boolean, doors: Record<string, {code: string, url: string}>}} People */

/** @type {Map<string, string>} deck names by id */
const decks = new Map();

/** @param {string} iso */
const since = (iso) => new Date(iso).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });

/** @param {Person} person */
function row(person) {
  const where = person.deck_id ? `, ${decks.get(person.deck_id) ?? "one deck"} only` : "";
  return el("li", {},
    el("span", { class: "people-name", text: person.you ? `${person.name} (this browser)` : person.name }),
    el("span", { class: "soft measure", text: `${person.role}${where} · ${person.address} · since ${since(person.started)}` }),
    !person.you && el("button", { class: "button button-small", type: "button", "aria-label": `Put ${person.name} out`,
      on: { click: () => putOut(person) } }, icon("bin"), "Remove"));
}

/** @param {Person} person */
async function putOut(person) {
  try {
    show(await steady("DELETE", `/people/${part(person.id)}`));
    say(`${person.name} is out.`);
    need("#in-title").closest("section").querySelector("button")?.focus();
  } catch (error) {
    tellError(error);
  }
}

let seen = "";

/** @param {People} people */
function show(people) {
  const now = JSON.stringify(people);
  if (now === seen) return;  // so that a focused button stays where it is
  seen = now;
  need("[data-people]").replaceChildren(...people.people.map(row));
  for (const [role, door] of Object.entries(people.doors)) {
    const card = document.querySelector(`[data-door="${role}"]`);
    if (!card) continue;
    const code = need("[data-code]", card);
    if (code.textContent !== door.code) need("[data-qr]", card).src = `/api/people/codes/${role}/qr.svg?${part(door.code)}`;
    code.textContent = door.code;
    need("[data-url]", card).textContent = door.url;
  }
}

/** @param {{id: string, deck_id: string, made: string}[]} links */
function showLinks(links) {
  need("[data-links]").replaceChildren(...links.map((link) => {
    const name = decks.get(link.deck_id) ?? "A deck";
    return el("li", {}, el("span", { class: "people-name", text: name }),
      el("span", { class: "soft measure", text: `made ${since(link.made)}` }),
      el("button", { class: "button button-small", type: "button", "aria-label": `Withdraw the link to ${name}`,
        on: { click: () => withdraw(link.id) } }, icon("bin"), "Withdraw"));
  }));
}

/** @param {string} id */
async function withdraw(id) {
  try {
    showLinks((await steady("DELETE", `/links/${part(id)}`)).links);
    need("[data-link-made]").hidden = true;
    show(await call("GET", "/people"));
    say("The link is withdrawn, and whoever came by it is out.");
  } catch (error) {
    tellError(error);
  }
}

/** @param {SubmitEvent} event */
async function makeLink(event) {
  event.preventDefault();
  try {
    const made = await steady("POST", "/links", { deck_id: need("[data-link-deck]").value });
    need("[data-link-url]").textContent = made.url;
    need("[data-link-made]").hidden = false;
    showLinks((await call("GET", "/links")).links);
    say("The link is made.");
  } catch (error) {
    tellError(error);
  }
}

async function start() {
  for (const deck of (await call("GET", "/decks")).decks) decks.set(deck.id, deck.name);
  show(await call("GET", "/people"));
  for (const card of document.querySelectorAll("[data-door]")) {
    need("[data-renew]", card).addEventListener("click", () => {
      steady("POST", `/people/codes/${part(/** @type {any} */ (card).dataset.door)}`).then(show).then(() => say("The code is new."), tellError);
    });
  }
  const form = /** @type {HTMLFormElement|null} */ (document.querySelector("[data-new-link]"));
  if (form) {
    need("[data-link-deck]").replaceChildren(...[...decks].map(([id, name]) => el("option", { value: id, text: name })));
    form.addEventListener("submit", makeLink);
    showLinks((await call("GET", "/links")).links);
  }
  ready();
  setInterval(() => {
    if (!document.hidden) call("GET", "/people").then(show, () => {});
  }, LOOK_AGAIN_MS);
}

start().catch(tellError);
