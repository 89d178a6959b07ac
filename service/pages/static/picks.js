/** Places by name and number, and what is said of the stickers that a pointer or a key is at. */

import { undone } from "./state.js";

/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./state.js").Effect} Effect */
/** @typedef {import("./ink.js").Kind} Kind */
/** @typedef {number | string} Place a placement (12 or "p12") or a slot ("s7") */
/**
 * A sticker's place and who is there. `placement` is the one that the sticker names (a slot's first
 * where it shows no twist), `here` the placement, at home, of what is there now.
 * @typedef {object} Pick
 * @property {number} sticker -1 on a board
 * @property {string} stickerName
 * @property {number} slot
 * @property {string} slotName
 * @property {number} placement
 * @property {number} piece the home slot of the piece that is there
 * @property {number} here
 * @property {string} pieceName empty where nobody has said which piece is there
 * @property {string} type
 */

/**
 * The placement, if it is one, and the slot that a place is.
 * @param {Tables} tables
 * @param {Place} place
 * @returns {{placement: number | null, slot: number}}
 */
export function placed(tables, place) {
  const text = String(place);
  const isSlot = text.startsWith("s");
  const digits = text.replace(/^[ps]/, "");
  const number = digits === "" ? NaN : Number(digits);
  const count = isSlot ? tables.slotNames.length : tables.slotOf.length;
  if (!Number.isInteger(number) || number < 0 || number >= count) {
    const wanted = '"p" with a placement or "s" with a slot';
    throw new RangeError(`place ${text}: ${wanted} was expected, below ${count}`);
  }
  if (isSlot) return { placement: null, slot: number };
  return { placement: number, slot: tables.slotOf[number] };
}

/**
 * Where what is at a place goes by a turn.
 * @param {Tables} tables
 * @param {Place} place
 * @param {number} turn
 * @returns {Place}
 */
export function moved(tables, place, turn) {
  const table = tables.moves[turn];
  const { placement, slot } = placed(tables, place);
  if (placement !== null) return `p${table[placement]}`;
  return `s${tables.slotOf[table[tables.home[slot]]]}`;
}

/**
 * The kinds of marks on places by the pieces that are there.
 * @param {Tables} tables
 * @param {Effect} effect
 * @param {ReadonlyMap<Place, Kind>} marks
 */
export function byPiece(tables, effect, marks) {
  /** @type {Map<number, Kind>} */
  const result = new Map();
  const back = marks.size ? undone(effect) : effect;
  for (const [place, kind] of marks) {
    const { slot } = placed(tables, place);
    result.set(tables.slotOf[back[tables.home[slot]]], kind);
  }
  return result;
}

/**
 * A sticker's place, or on a board a slot's, and who is there.
 * @param {Tables} tables
 * @param {Effect} effect
 * @param {number} number
 * @param {ReadonlySet<number>} [unknown] pieces that are somewhere, and nobody has said where
 * @returns {Pick}
 */
export function pickOf(tables, effect, number, unknown = new Set()) {
  const own = tables.data.stickers;
  const slot = own ? own.slot[number] : number;
  const shown = own ? own.placement[number] : -1;
  const placement = shown < 0 ? tables.home[slot] : shown;
  const here = undone(effect)[placement];
  const piece = tables.slotOf[here];
  return {
    sticker: own ? number : -1,
    stickerName: own ? tables.stickerNames[number] : tables.slotNames[slot],
    slot,
    slotName: tables.slotNames[slot],
    placement,
    piece,
    here,
    pieceName: unknown.has(piece) ? "" : shown < 0 && own ? tables.slotNames[piece] : tables.placementNames[here],
    type: tables.typeNames[tables.typeOf[slot]],
  };
}

/**
 * What is said of a place: its name, and who is there if it is another.
 * @param {Pick} found
 */
export function told(found) {
  const away = found.here !== found.placement;
  if (!found.pieceName) return `${found.stickerName}: what is here is not said yet`;
  return away ? `${found.stickerName}: here is ${found.pieceName}` : found.stickerName;
}
