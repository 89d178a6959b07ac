/** Stickers painted by hand: which colour each was said to have, and what is drawn of it. */

import { undone } from "./state.js";

/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./seats.js").Seats} Seats */

/** The letters of a slot's name, between the name of its type and a number. */
const LETTERS = /^(?:[^\s:@+]+:)?(\p{L}+(?:\.\p{L}+)*)\d*$/u;

export class Coats {
  /** The faces whose colours stickers were said to have, by sticker. @type {Map<number, number>} */
  said = new Map();
  /** The rows of a text that only the service can read; they stand behind what is painted. */
  rest = "";

  /** @param {Tables} tables one that has stickers */
  constructor(tables) {
    const { stickers, faces } = tables.data;
    if (!stickers || !faces) throw new Error("a puzzle without stickers has nothing to paint");
    this.stickers = stickers;
    this.faces = faces.name;
    /** @type {number[][]} the painted stickers of each slot */
    this.ofSlot = tables.slotNames.map(() => []);
    stickers.slot.forEach((slot, k) => stickers.face[k] >= 0 && this.ofSlot[slot].push(k));
    this.tables = tables;
    /** Stickers by their kind and the placement that each is called by. */
    this.named = new Map(stickers.kind.map((kind, k) => [`${kind} ${stickers.placement[k]}`, k]));
  }

  /**
   * Paint a sticker, or with null let its slot be as it is when solved.
   * @param {number} sticker
   * @param {number | null} face
   */
  paint(sticker, face) {
    const slot = this.ofSlot[this.stickers.slot[sticker]];
    if (face === null) for (const own of slot) this.said.delete(own);
    else if (slot.includes(sticker)) this.said.set(sticker, face);
    this.#tidy(this.stickers.slot[sticker]);
  }

  /** Say nothing of a slot that is as it is when solved. @param {number} slot */
  #tidy(slot) {
    const own = this.ofSlot[slot];
    if (own.every((k) => this.said.get(k) === this.stickers.face[k])) for (const k of own) this.said.delete(k);
  }

  /** Stickers of which nothing was said though others of their slots were painted. */
  get open() {
    return this.ofSlot.flatMap((slot) =>
      slot.some((own) => this.said.has(own)) ? slot.filter((own) => !this.said.has(own)) : [],
    );
  }

  /**
   * What was said as the service reads it.
   * @param {ReadonlyMap<string, string>} called what colours are called, by face
   */
  text(called) {
    const rows = [...this.said].sort((one, other) => one[0] - other[0]);
    const own = rows.map(([sticker, face]) => `${this.stickers.name[sticker]}=${called.get(this.faces[face]) ?? this.faces[face]}`);
    return [...own, this.rest].filter((row) => row).join(" ");
  }

  /**
   * Take up a text, one colour for a sticker or all of a slot, as far as it can be read here; false
   * where there is anything else, which is kept as `rest`.
   * @param {string} text
   * @param {ReadonlyMap<string, string>} called
   */
  read(text, called) {
    const names = this.faces.map((face) => (called.get(face) ?? face).toLowerCase());
    const rows = text.split(/[\s;]+/).filter((row) => row !== "");
    this.said.clear();
    const left = rows.filter((row) => {
      const pairs = this.#row(row, names);
      for (const [sticker, face] of pairs) this.said.set(sticker, face);
      return !pairs.length;
    });
    this.rest = left.join(" ");
    return !left.length;
  }

  /**
   * The stickers of one row with the faces whose colours they have; none where it cannot be read.
   * @param {string} row
   * @param {readonly string[]} names what colours are called, in small letters
   * @returns {[number, number][]}
   */
  #row(row, names) {
    const [where, what = "", more] = row.split("=");
    const sticker = this.stickers.name.indexOf(where);
    const slot = sticker < 0 ? this.#slot(where) : this.stickers.slot[sticker];
    if (slot < 0 || !what || more !== undefined) return [];
    const own = this.#order(slot, where);
    let words = what.split(/[,/]/).filter((word) => word !== "");
    const [first] = words;
    if (words.length === 1 && names.includes(first.toLowerCase())) {
      const one = sticker < 0 ? own[0] : sticker;
      return one === undefined ? [] : [[one, names.indexOf(first.toLowerCase())]];
    }
    if (words.length === 1 && [...first].length === own.length) words = [...first];
    const faces = words.map((word) => names.indexOf(word.toLowerCase()));
    if (faces.length !== own.length || faces.includes(-1)) return [];
    return own.map((k, at) => [k, faces[at]]);
  }

  /** The slot of a name that is no sticker's, its letters in any order; -1 for none or several. @param {string} where */
  #slot(where) {
    const { slotNames, placementNames, slotOf } = this.tables;
    if (slotNames.includes(where)) return slotNames.indexOf(where);
    if (placementNames.includes(where)) return slotOf[placementNames.indexOf(where)];
    /** @param {string} name */
    const sorted = (name) => [...name].sort().join("");
    const found = slotNames.flatMap((name, slot) => (sorted(name) === sorted(where) ? [slot] : []));
    return found.length === 1 ? found[0] : -1;
  }

  /** The stickers of a slot in the order of a name's letters; none where these are not its faces. @param {number} slot @param {string} where */
  #order(slot, where) {
    const own = this.ofSlot[slot];
    const letters = [...(LETTERS.exec(where)?.[1] ?? "").replaceAll(".", "")].slice(0, own.length);
    if (own.length === 1 && letters.length) return own;
    const at = new Map(own.map((k) => [this.faces[this.stickers.face[k]], k]));
    const found = letters.map((letter) => at.get(letter) ?? -1);
    return found.length === own.length && new Set(found).size === own.length && !found.includes(-1) ? found : [];
  }

  /**
   * Be painted as pieces sit; false, and nothing is painted, where colours do not say how they do.
   * @param {Seats} seats
   */
  wear(seats) {
    const { home, slotOf, typeOf, data } = this.tables;
    this.said.clear();
    this.rest = "";
    if (seats.said.some(([slot]) => !data.types.stickered[typeOf[slot]] || !this.ofSlot[slot].length)) return false;
    const back = undone(seats.state().effect);
    for (const [slot] of seats.said) {
      for (const k of this.ofSlot[slot]) {
        const face = this.#shows(k, slotOf[back[home[slot]]], back);
        if (face >= 0) this.said.set(k, face);
      }
      this.#tidy(slot);
    }
    return true;
  }

  /**
   * The face whose colour a sticker has while a piece sits in its slot; -1 for none.
   * @param {number} k
   * @param {number} piece
   * @param {ArrayLike<number>} back what is at each placement, by its placement at home
   */
  #shows(k, piece, back) {
    const { kind, placement, face } = this.stickers;
    const axial = () => this.ofSlot[piece].find((own) => kind[own] === kind[k] && placement[own] < 0);
    const own = placement[k] < 0 ? axial() : this.named.get(`${kind[k]} ${back[placement[k]]}`);
    return own === undefined ? -1 : face[own];
  }

  /**
   * Let pieces sit as they are painted; false, and none is seated, unless each slot says which one.
   * @param {Seats} seats
   */
  seat(seats) {
    const { home, slotNames, twists, typeOf } = this.tables;
    seats.clear();
    /** @type {[number, number][]} */
    const found = [];
    for (const slot of slotNames.keys()) {
      const own = this.ofSlot[slot].filter((k) => this.said.has(k));
      if (!own.length) continue;
      const count = twists[typeOf[slot]];
      const back = { length: 0, [home[slot]]: 0 };
      const fits = [];
      for (const piece of slotNames.keys()) {
        if (typeOf[piece] !== typeOf[slot]) continue;
        for (let twist = 0; twist < count; twist++) {
          for (let x = 0; x < count; x++) back[home[slot] + x] = home[piece] + ((x - twist + count) % count);
          if (own.every((k) => this.#shows(k, piece, back) === this.said.get(k))) fits.push(back[home[slot]]);
        }
      }
      if (fits.length !== 1) return false;
      found.push([home[slot], fits[0]]);
    }
    if (this.rest || new Set(found.map(([, here]) => this.tables.slotOf[here])).size < found.length) return false;
    for (const [place, here] of found) seats.put(place, here);
    return true;
  }
}
