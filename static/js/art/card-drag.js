/**
 * Cards put in order by dragging: the dragged one, or all selected ones with it, before the card they are let go on.
 */

import { edgeScroll } from "./edge-scroll.js";

/** @param {Element} node */
export const labelOf = (node) => /** @type {HTMLElement} */ (node).dataset.label ?? "";

/**
 * @param {HTMLElement} list
 * @param {import("./selection.js").Selection} selection
 * @param {(labels: string[], before: string) => void} move `before`: a label, or "last"
 */
export function bindDrag(list, selection, move) {
  /** @type {string[]} */
  let dragged = [];
  const edge = edgeScroll();
  const near = (/** @type {DragEvent} */ event) => edge.at(event.clientY);
  const target = (/** @type {DragEvent} */ event) => /** @type {Element|null} */ (event.target)?.closest?.(".pair");
  const clear = () => { for (const one of list.querySelectorAll("[data-drop]")) one.removeAttribute("data-drop"); };
  const after = (/** @type {DragEvent} */ event, /** @type {Element} */ node) => {
    const { left, width } = node.getBoundingClientRect();
    return event.clientX > left + width / 2;
  };
  list.addEventListener("dragstart", (event) => {
    const node = target(event);
    if (!node) return;
    const label = labelOf(node);
    dragged = selection.chosen.has(label) ? selection.labels : [label];
    event.dataTransfer?.setData("text/plain", dragged.join("\n"));
    if (event.dataTransfer) event.dataTransfer.effectAllowed = "move";
    document.addEventListener("dragover", near);
  });
  list.addEventListener("dragover", (event) => {
    const node = target(event);
    if (!dragged.length || !node) return;
    event.preventDefault();
    clear();
    node.setAttribute("data-drop", after(event, node) ? "after" : "before");
  });
  list.addEventListener("drop", (event) => {
    const node = target(event);
    if (!dragged.length || !node) return;
    event.preventDefault();
    const at = selection.shown.indexOf(labelOf(node)) + (after(event, node) ? 1 : 0);
    if (!dragged.includes(labelOf(node))) move(dragged, selection.shown[at] ?? "last");
  });
  list.addEventListener("dragend", () => {
    dragged = [];
    clear();
    document.removeEventListener("dragover", near);
    edge.stop();
  });
}
