/**
 * Light, dark, or as the system says. A plain script, not a module, so that it runs before the first paint.
 */
(function theme() {
  const KEY = "lampfold.theme";
  const ORDER = ["", "light", "dark"];
  /** @type {Record<string, string>} */
  const NAMES = { "": "system", light: "light", dark: "dark" };

  /** @returns {string} "", "light" or "dark"; "" too where storage is closed to us */
  function kept() {
    try {
      const found = localStorage.getItem(KEY) || "";
      return ORDER.includes(found) ? found : "";
    } catch {
      return "";
    }
  }

  /** @param {string} choice */
  function apply(choice) {
    if (choice) document.documentElement.dataset.theme = choice;
    else delete document.documentElement.dataset.theme;
  }

  /** @param {string} choice */
  function tell(choice) {
    const next = ORDER[(ORDER.indexOf(choice) + 1) % ORDER.length];
    for (const button of document.querySelectorAll("[data-theme-switch]")) {
      const label = button.querySelector("[data-theme-label]");
      if (label) label.textContent = `Colours: ${NAMES[choice]}`;
      button.setAttribute("title", `Switch to ${NAMES[next]}`);
    }
  }

  let choice = kept();
  apply(choice);
  document.addEventListener("DOMContentLoaded", () => {
    tell(choice);
    for (const button of document.querySelectorAll("[data-theme-switch]")) {
      button.addEventListener("click", () => {
        choice = ORDER[(ORDER.indexOf(choice) + 1) % ORDER.length];
        try {
          localStorage.setItem(KEY, choice);
        } catch { /* private windows may refuse; the choice then lasts for this page */ }
        apply(choice);
        tell(choice);
      });
    }
  });
})();
