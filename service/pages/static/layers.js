/** Buttons and keys that turn layers. */

import { button, element } from "./live.js";

/** @typedef {import("./state.js").Tables} Tables */

/**
 * Put buttons for the turns on the page, a row for each layer, and let keys turn them as well.
 * @param {HTMLElement} own
 * @param {Tables} tables
 * @param {(turn: number) => unknown} does
 * @param {() => unknown} undo
 */
export function turnables(own, tables, does, undo) {
  const rows = tables.layerNames.map((name, layer) => {
    const turns = tables.turnNames.map((_, turn) => turn).filter((t) => tables.turnLayer[t] === layer);
    return element(
      "div",
      { role: "group", "aria-label": `layer ${name}`, class: "layer" },
      ...turns.map((turn) => button(tables.turnNames[turn], () => does(turn))),
    );
  });
  const keys = letters(tables.layerNames);
  const every = tables.layerNames.every((name) => keys.has(name));
  const help = keys.size
    ? `With the focus in here the letter of ${every ? "a layer" : "a layer that has one letter"} turns it, with Shift the other way; Backspace undoes.`
    : "With the focus in here Backspace undoes.";
  own.setAttribute("role", "group");
  own.setAttribute("aria-label", "Turns");
  own.append(...rows, element("p", { class: "soft" }, help));
  own.hidden = false;
  own.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Backspace") void undo();
    const meant = keys.get(event.key);
    if (meant) {
      const [layer, amount] = meant;
      const turn = turnOf(tables, layer, amount);
      if (turn !== null) void does(turn);
    }
    if (meant || event.key === "Backspace") event.preventDefault();
  });
}

/**
 * Which key turns which layer, and how far: its letter, with Shift back. Where two layers differ by
 * the size of their letter alone, each has its own and none goes back.
 * @param {readonly string[]} names
 * @returns {Map<string, [number, 1 | -1]>}
 */
function letters(names) {
  /** @type {Map<string, [number, 1 | -1]>} */
  const keys = new Map();
  names.forEach((name, layer) => {
    if ([...name].length !== 1 || name.toLowerCase() === name.toUpperCase()) return;
    const other = name === name.toUpperCase() ? name.toLowerCase() : name.toUpperCase();
    if (names.includes(other)) {
      keys.set(name, [layer, 1]);
    } else {
      keys.set(name.toLowerCase(), [layer, 1]);
      keys.set(name.toUpperCase(), [layer, -1]);
    }
  });
  return keys;
}

/**
 * The turn of a layer by the least amount one way or the other; null where it has none.
 * @param {Tables} tables
 * @param {number} layer
 * @param {1 | -1} way
 */
function turnOf(tables, layer, way) {
  const own = tables.turnNames.map((_, turn) => turn).filter((t) => tables.turnLayer[t] === layer);
  if (!own.length) return null;
  own.sort((one, other) => tables.amounts[one] - tables.amounts[other]);
  return way === 1 ? own[0] : tables.inverses[own[0]];
}
