/** A state by which piece sits in which slot, as far as it was said. */

import { nothing } from "./state.js";

/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./state.js").Effect} Effect */
/**
 * The piece, by its home slot, that sits in a slot, and how far it is twisted there.
 * @typedef {{piece: number, twist: number}} Seat
 */

export class Seats {
  /** What was said, by slot. @type {Map<number, Seat>} */
  #said = new Map();

  /** @param {Tables} tables */
  constructor(tables) {
    this.tables = tables;
  }

  /** The slots of which something was said, with what sits there. */
  get said() {
    return [...this.#said].sort((one, other) => one[0] - other[0]);
  }

  /**
   * Say that what is at a placement when all is solved is now at another; it is nowhere else then.
   * What sits as it does when solved is not kept. Raises RangeError for pieces of two types.
   * @param {number} place
   * @param {number} here the placement at home of what is there
   */
  put(place, here) {
    const { slotOf, twistOf, typeOf, twists } = this.tables;
    const [slot, piece] = [slotOf[place], slotOf[here]];
    if (typeOf[slot] !== typeOf[piece]) throw new RangeError("this piece does not fit there");
    const count = twists[typeOf[slot]];
    const twist = (twistOf[place] - twistOf[here] + count) % count;
    for (const [other, seat] of this.#said) if (seat.piece === piece) this.#said.delete(other);
    if (slot === piece && twist === 0) this.#said.delete(slot);
    else this.#said.set(slot, { piece, twist });
  }

  /** Say nothing of a slot. @param {number} slot */
  take(slot) {
    this.#said.delete(slot);
  }

  clear() {
    this.#said.clear();
  }

  /** Say where an effect brings every piece. @param {Effect} effect */
  follow(effect) {
    this.clear();
    for (const here of this.tables.home) if (effect[here] !== here) this.put(effect[here], here);
  }

  /** The same said of the same puzzle, to be changed by itself. */
  copy() {
    const result = new Seats(this.tables);
    for (const [slot, seat] of this.#said) result.#said.set(slot, seat);
    return result;
  }

  /** Slots of which nothing was said though their own pieces are elsewhere. */
  get open() {
    const away = new Set([...this.#said.values()].map(({ piece }) => piece));
    return [...away].filter((slot) => !this.#said.has(slot)).sort((one, other) => one - other);
  }

  /** Pieces, by their home slots, that were crowded out and are nowhere yet. */
  get missing() {
    const away = new Set([...this.#said.values()].map(({ piece }) => piece));
    return [...this.#said.keys()].filter((slot) => !away.has(slot)).sort((one, other) => one - other);
  }

  /**
   * Seat the last piece of a type that shows no twist where it must be; its slot, or null where
   * there is a choice.
   * @returns {number | null}
   */
  complete() {
    const { typeOf, twists, home } = this.tables;
    for (const slot of this.open) {
      const left = this.missing.filter((piece) => typeOf[piece] === typeOf[slot]);
      if (left.length !== 1 || twists[typeOf[slot]] > 1) continue;
      this.put(home[slot], home[left[0]]);
      return slot;
    }
    return null;
  }

  /**
   * The state, with the pieces that are nowhere in the open slots in any order; these are `blank`.
   * @returns {{effect: Effect, blank: Set<number>}}
   */
  state() {
    const effect = nothing(this.tables);
    const { missing } = this;
    for (const [slot, { piece, twist }] of this.#said) this.#seat(effect, piece, slot, twist);
    const { typeOf } = this.tables;
    for (const slot of this.open) {
      const next = missing.findIndex((piece) => typeOf[piece] === typeOf[slot]);
      this.#seat(effect, missing[next], slot, 0);
      missing.splice(next, 1);
    }
    return { effect, blank: new Set(this.missing) };
  }

  /** @param {Effect} effect @param {number} piece @param {number} slot @param {number} twist */
  #seat(effect, piece, slot, twist) {
    const { home, twists, typeOf } = this.tables;
    const count = twists[typeOf[slot]];
    for (let x = 0; x < count; x++) effect[home[piece] + x] = home[slot] + ((twist + x) % count);
  }

  /** The name of what is at the first placement of a slot. @param {number} slot */
  at(slot) {
    const seat = this.#said.get(slot);
    const { home, twists, typeOf, placementNames } = this.tables;
    if (!seat) return placementNames[home[slot]];
    const count = twists[typeOf[slot]];
    return placementNames[home[seat.piece] + ((count - seat.twist) % count)];
  }

  /** What was said as people write it, and the service reads it. */
  get text() {
    const { home, placementNames } = this.tables;
    return this.said.map(([slot]) => `${placementNames[home[slot]]}=${this.at(slot)}`).join(" ");
  }

  /**
   * Take up a text of exact names; false, and nothing is changed, where there is anything else.
   * @param {string} text
   */
  read(text) {
    const { placementNames, slotOf, typeOf } = this.tables;
    const rows = text.split(/[\s;]+/).filter((row) => row !== "");
    const pairs = rows.map((row) => row.split("=").map((name) => placementNames.indexOf(name)));
    const fit = pairs.every((row) => row.length === 2 && !row.includes(-1) && typeOf[slotOf[row[0]]] === typeOf[slotOf[row[1]]]);
    const once = [0, 1].every((k) => new Set(pairs.map((row) => slotOf[row[k]])).size === pairs.length);
    if (!fit || !once) return false;
    this.clear();
    for (const [place, here] of pairs) this.put(place, here);
    return true;
  }
}
