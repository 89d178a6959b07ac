/** What the pages share on which one asks and builds: the drawing, elements, and steps through turns. */

import { pause } from "./connection.js";
import { Drawing } from "./drawing.js";
import { button, counted, element, part, sentence, told } from "./element.js";
import { cycles, effectOf, parse, write } from "./state.js";

/** @typedef {import("./state.js").DrawingData} DrawingData */
/** @typedef {import("./state.js").Effect} Effect */
/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./ink.js").Kind} Kind */
/** @typedef {import("./picks.js").Place} Place */

/**
 * Let the address hold what the page shows, so that it can be kept and sent.
 * @param {Record<string, string>} query empty values are left out
 * @param {boolean} [anew] whether the browser is to come back to what was there before
 */
export function addressed(query, anew = false) {
  const own = new URLSearchParams(Object.entries(query).filter(([, value]) => value !== ""));
  const text = own.toString().replaceAll("%2C", ",").replaceAll("%40", "@");
  const href = text ? `?${text}` : location.pathname;
  if (anew && text !== location.search.slice(1)) history.pushState(null, "", href);
  else history.replaceState(null, "", href);
}

/**
 * Put the drawing of a puzzle in the place of its picture.
 * @param {HTMLElement} stage `data-drawing` says where the data are, `data-name` what is drawn
 * @param {(text: string) => void} say
 */
export async function drawn(stage, say) {
  /** @type {DrawingData} */
  const data = await told(stage.dataset.drawing ?? "", say);
  const canvas = element("canvas", {
    "aria-label": `${stage.dataset.name}. The question mark says the keys.`,
  });
  stage.querySelector("img")?.replaceWith(canvas);
  return new Drawing(canvas, data);
}

/**
 * Let a field say whether what stands in it is wrong, as #wrong explains.
 * @param {Element} field
 * @param {boolean} wrong
 */
export function mark(field, wrong) {
  for (const [name, value] of [["aria-invalid", "true"], ["aria-describedby", "wrong"]]) {
    if (wrong) field.setAttribute(name, value);
    else field.removeAttribute(name);
  }
}

/**
 * A cycle of placements as people write it.
 * @param {Tables} tables
 * @param {readonly number[]} cycle
 */
export function cycleText(tables, cycle) {
  const slots = new Set(cycle.map((place) => tables.slotOf[place]));
  if (slots.size === 1) return `${tables.slotNames[tables.slotOf[cycle[0]]]} twisted`;
  return cycle.map((place) => tables.placementNames[place]).join(" → ");
}

/**
 * Mark a three-cycle on a drawing, with arrows; other effects by what is moved and what is twisted.
 * @param {Drawing} drawing
 * @param {readonly number[][]} found cycles of placements
 */
export function markCycles(drawing, found) {
  const { slotOf } = drawing.tables;
  /** @type {Map<Place, Kind>} */
  const marks = new Map();
  /** @type {[Place, Place][]} */
  const arrows = [];
  const kinds = /** @type {const} */ (["first", "second", "third"]);
  const only = found.length === 1 && found[0].length === 3 && distinct(found[0], slotOf) === 3;
  for (const cycle of found) {
    const twisted = distinct(cycle, slotOf) === 1;
    cycle.forEach((place, k) => {
      marks.set(`p${place}`, only ? kinds[k] : twisted ? "twisted" : "moved");
      if (!twisted && found.length <= 3) arrows.push([`p${place}`, `p${cycle[(k + 1) % cycle.length]}`]);
    });
  }
  drawing.mark(marks);
  drawing.arrows(arrows);
}

/**
 * What a drawing shows at this moment as a small picture, for the eye alone.
 * @param {Drawing} drawing
 * @param {number} side in CSS pixels
 */
export function snapshot(drawing, side) {
  const { canvas } = drawing;
  const ratio = window.devicePixelRatio || 1;
  const small = element("canvas", { "aria-hidden": "true", class: "small" });
  small.width = Math.round(side * ratio);
  small.height = Math.round((side * ratio * canvas.height) / Math.max(canvas.width, 1));
  drawing.paintNow();
  const ctx = small.getContext("2d");
  if (ctx) ctx.imageSmoothingQuality = "high";
  ctx?.drawImage(canvas, 0, 0, small.width, small.height);
  return small;
}

/**
 * @param {readonly number[]} cycle
 * @param {Uint16Array} slotOf
 */
function distinct(cycle, slotOf) {
  return new Set(cycle.map((place) => slotOf[place])).size;
}

/**
 * The turns of a sequence that the server has written.
 * @param {Tables} tables
 * @param {string} text
 * @returns {number[]}
 */
export function word(tables, text) {
  const own = parse(tables, text);
  if (!own) throw new Error(`${text}: exact names of turns were expected`);
  return own;
}

export { button, counted, cycles, effectOf, element, part, pause, sentence, told, write };
