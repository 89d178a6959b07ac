/** What stands beside a drawing: its keys, for everybody, and what is said to those who do not see it. */

import { keysOf } from "./hands.js";

/**
 * An element after the canvas, for what is said to those who do not see it.
 * @param {HTMLCanvasElement} canvas
 */
export function saying(canvas) {
  const own = document.createElement("p");
  own.className = "drawing-says";
  own.setAttribute("role", "status");
  canvas.after(own);
  return own;
}

/**
 * What can be done with the drawing, folded; the question mark opens it. Whether it is open is kept
 * at the canvas, for that stays when another drawing comes on it.
 * @param {HTMLCanvasElement} canvas
 * @param {boolean} turnable
 */
export function helping(canvas, turnable) {
  const own = document.createElement("details");
  own.className = "drawing-keys";
  own.open = canvas.dataset.keys === "open";
  own.addEventListener("toggle", () => (canvas.dataset.keys = own.open ? "open" : ""));
  const summary = document.createElement("summary");
  summary.textContent = turnable ? "drag it to turn it; its keys" : "its keys";
  const list = document.createElement("dl");
  for (const [keys, does] of keysOf(turnable)) {
    const [row, name, what] = ["div", "dt", "dd"].map((tag) => document.createElement(tag));
    name.textContent = keys;
    what.textContent = does;
    row.append(name, what);
    list.append(row);
  }
  own.append(summary, list);
  canvas.after(own);
  return own;
}
