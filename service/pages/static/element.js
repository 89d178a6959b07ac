/** Elements, what is said, and JSON of the service, for pages with a drawing and without. */

import { AGAIN, LOST, pause } from "./connection.js";

/**
 * An element by its name, attributes and contents; what is null is left out.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} name
 * @param {Record<string, string | boolean | null>} [attributes]
 * @param {...(Node | string | null)} contents
 * @returns {HTMLElementTagNameMap[K]}
 */
export function element(name, attributes = {}, ...contents) {
  const own = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === true) own.setAttribute(key, "");
    else if (typeof value === "string") own.setAttribute(key, value);
  }
  own.append(...contents.filter((one) => one !== null));
  return own;
}

/**
 * A button that does something.
 * @param {string} text
 * @param {() => unknown} does
 * @param {Record<string, string | boolean | null>} [attributes]
 */
export function button(text, does, attributes = {}) {
  const own = element("button", { type: "button", ...attributes }, text);
  own.addEventListener("click", () => void does());
  return own;
}

/**
 * The element with an id, which is in the page.
 * @param {string} id
 */
export function part(id) {
  const own = document.getElementById(id);
  if (!own) throw new Error(`there is no #${id}`);
  return own;
}

/**
 * JSON from this service. Where the connection is lost this is said, and it is tried again until it
 * is back; raises Error with what the service says is wrong.
 * @param {string} href
 * @param {(text: string) => void} say
 * @param {RequestInit} [options]
 * @returns {Promise<any>}
 */
export async function told(href, say, options) {
  for (let lost = false; ; lost = true) {
    /** @type {Response} */
    let answer;
    try {
      answer = await fetch(href, options);
    } catch {
      say(LOST);
      await pause(AGAIN);
      continue;
    }
    if (lost) say("The connection is back.");
    const body = await answer.json().catch(() => null);
    if (answer.ok) return body;
    throw new Error(sentence(body?.detail ?? "this was not done"));
  }
}

/**
 * A text with a capital and a full stop.
 * @param {string} text
 */
export function sentence(text) {
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1).replace(/\.$/, "")}.`;
}

/**
 * How many of something, in words.
 * @param {number} count
 * @param {string} one
 * @param {string} [many]
 */
export function counted(count, one, many = `${one}s`) {
  return `${count} ${count === 1 ? one : many}`;
}
