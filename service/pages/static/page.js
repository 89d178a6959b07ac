/** What any page can do beyond being read: copy a text, take a picture in hand, wait for what is worked out. */

import { follow } from "./following.js";
import { holding } from "./holding.js";

/** Milliseconds for which a button says that the text was copied. */
const SAID = 1_600;

/** @param {HTMLButtonElement} button */
function copying(button) {
  // Only where the page comes from a safe place do browsers let it write to the clipboard.
  if (!navigator.clipboard) return;
  const words = button.firstChild;
  const label = words?.textContent ?? "";
  button.hidden = false;
  button.addEventListener("click", async () => {
    let said = "Copied";
    try {
      await navigator.clipboard.writeText(button.dataset.copy ?? "");
    } catch {
      said = "Not copied";
    }
    if (words) words.textContent = said;
    setTimeout(() => {
      if (words) words.textContent = label;
    }, SAID);
  });
}

/**
 * Make what stands in a part of the page work.
 *
 * @param {Element} part
 */
export function enhance(part) {
  for (const button of part.querySelectorAll("button.copy")) {
    copying(/** @type {HTMLButtonElement} */ (button));
  }
  for (const figure of part.querySelectorAll("figure[data-drawing]")) {
    holding(/** @type {HTMLElement} */ (figure));
  }
  const awaited = part.matches("[data-follow]") ? part : part.querySelector("[data-follow]");
  if (awaited instanceof HTMLElement) follow(awaited, enhance);
}

enhance(document.documentElement);
