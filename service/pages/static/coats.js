/** Stickers painted by hand: which colour each was said to have, and what is drawn of it. */

/** @typedef {import("./state.js").Tables} Tables */

export class Coats {
  /** The faces whose colours stickers were said to have, by sticker. @type {Map<number, number>} */
  said = new Map();

  /** @param {Tables} tables one that has stickers */
  constructor(tables) {
    const { stickers, faces } = tables.data;
    if (!stickers || !faces) throw new Error("a puzzle without stickers has nothing to paint");
    this.stickers = stickers;
    this.faces = faces.name;
    /** @type {number[][]} the painted stickers of each slot */
    this.ofSlot = tables.slotNames.map(() => []);
    stickers.slot.forEach((slot, k) => stickers.face[k] >= 0 && this.ofSlot[slot].push(k));
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
    if (slot.every((own) => this.said.get(own) === this.stickers.face[own])) {
      for (const own of slot) this.said.delete(own);
    }
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
    return rows
      .map(([sticker, face]) => `${this.stickers.name[sticker]}=${called.get(this.faces[face]) ?? this.faces[face]}`)
      .join(" ");
  }

  /**
   * Take up a text with one colour for each sticker; false where there is anything else.
   * @param {string} text
   * @param {ReadonlyMap<string, string>} called
   */
  read(text, called) {
    const names = this.faces.map((face) => (called.get(face) ?? face).toLowerCase());
    const rows = text.split(/[\s;]+/).filter((row) => row !== "");
    const pairs = rows.map((row) => {
      const [where, what = ""] = row.split("=");
      return [this.stickers.name.indexOf(where), names.indexOf(what.toLowerCase())];
    });
    if (pairs.flat().includes(-1)) return false;
    this.said.clear();
    for (const [sticker, face] of pairs) this.said.set(sticker, face);
    return true;
  }
}
