/** Fresh answers take the place of old ones; what was opened, stepped through or focused stays so. */

import { enhance } from "./page.js";

/** What names the answer in which something stands: its turns. @param {Element} within */
export function keyOf(within) {
  const li = within.closest("li[data-a]");
  return li?.querySelector("[data-copy]")?.getAttribute("data-copy") ?? "";
}

/**
 * @param {HTMLElement} old
 * @param {HTMLElement} fresh
 */
export function replace(old, fresh) {
  const opened = [...old.querySelectorAll("details[open]")].filter((one) => one.parentElement?.dataset.a !== undefined);
  const open = new Set(opened.map((one) => `${one.className} ${keyOf(one)}`));
  const strips = new Map([...old.querySelectorAll(".strip")].map((one) => [keyOf(one), one]));
  const focused = document.activeElement;
  const key = focused && old.contains(focused) ? keyOf(focused) : null;
  if (old.querySelector("li")) {
    for (const own of fresh.querySelectorAll("details[class]")) {
      own.toggleAttribute("open", open.has(`${own.className} ${keyOf(own)}`));
    }
  }
  old.replaceWith(fresh);
  for (const li of fresh.querySelectorAll("li[data-a]")) {
    const strip = strips.get(keyOf(li));
    if (strip) li.querySelector(":scope > .how")?.before(strip);
    if (key === keyOf(li) && document.activeElement === document.body) {
      /** @type {HTMLElement | null} */ (li.querySelector("summary, a"))?.focus();
    }
  }
  if (key !== null && document.activeElement === document.body) {
    fresh.tabIndex = -1;
    fresh.focus({ preventScroll: true });
  }
  enhance(fresh);
}
