/** The cycles of an effect marked on a drawing: every step numbered, with arrows. */

import { steps } from "./effect_wish.js";
import { CYCLE } from "./ink.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./effect_wish.js").Effect} Effect */
/** @typedef {import("./ink.js").Kind} Kind */
/** @typedef {import("./picks.js").Place} Place */

/**
 * @param {Drawing} drawing
 * @param {Effect} effect
 */
export function markEffect(drawing, effect) {
  const own = steps(drawing.tables, effect);
  /** @type {Map<Place, Kind>} */
  const marks = new Map(own.steps.slice(0, CYCLE.length).map((place, k) => [`p${place}`, CYCLE[k]]));
  drawing.mark(marks);
  /** @type {[number, number][]} */
  const pairs = [...own.arrows, ...own.twisted.map((place) => /** @type {[number, number]} */ ([place, place]))];
  drawing.arrows(pairs.map(([from, to]) => [`p${from}`, `p${to}`]));
}
