/**
 * A puzzle's tables in the page, and pure functions on words: what turns do, and what they disturb.
 *
 * A word is a list of turn numbers, done left to right. An effect says for every placement where
 * what is there goes; a piece is called by the number of its home slot, and stands, after an effect,
 * at the placement `effect[home[piece]]`. These are the tables of the compiled puzzle and nothing
 * else; what words mean beyond exact names of turns is for the server to say.
 */

/**
 * What the server sends to draw a puzzle: see `puzzles/drawing.py`, where every field is explained.
 * Lists of things of one kind are tables: an object with a list for each field.
 * @typedef {object} DrawingData
 * @property {string} puzzle
 * @property {string} description
 * @property {string} digest
 * @property {"solid" | "ball" | "written"} shape
 * @property {number} unit
 * @property {string} up
 * @property {string} front
 * @property {number[]} toward
 * @property {number[]} right
 * @property {number[]} upward
 * @property {number} radius
 * @property {string} unpainted
 * @property {{name: string[], normal: number[][], distance: number[], colour: string[],
 *   core: string[], ink: string[]} | null} faces
 * @property {{name: string[], axis: number[][], low: (number | null)[], high: (number | null)[],
 *   steps: number[], slots: number[][], cuts: [number[], number[]][]}} layers
 * @property {{name: string[], layer: number[], amount: number[], inverse: number[],
 *   cycles: (number[][] | null)[], of: number[], times: number[], forbidden: number[][]}} turns
 * @property {{name: string[], first_slot: number[], count: number[], twists: number[],
 *   moves: boolean[], stickered: boolean[]}} types
 * @property {string[]} slots
 * @property {string[]} placements
 * @property {number[][]} rotations
 * @property {{name: string[], slot: number[], face: number[], kind: number[],
 *   placement: number[], outline: number[][]} | null} stickers
 * @property {number[][]} bonds
 * @property {number[][]} bars
 * @property {{x: number[], y: number[], colour: string[], ink: string[]} | null} places
 */

/** @typedef {readonly number[]} Word */
/** @typedef {Uint16Array} Effect */
/** @typedef {"moved" | "twisted"} Disturbance */
/**
 * What a turn slipped in between a word and its undoing gives: its effect in short, its word.
 * @typedef {object} Insert
 * @property {number} turn
 * @property {"three-cycle" | "pair of twists" | "nothing" | "other"} gives
 * @property {number[][]} cycles placements, as `cycles` has them
 */

/** The frozen tables of a puzzle. */
export class Tables {
  /** @param {DrawingData} data */
  constructor(data) {
    this.data = data;
    const { turns, layers, types } = data;
    /** Names of turns, their layers, amounts and inverses, by number. */
    this.turnNames = turns.name;
    this.turnLayer = turns.layer;
    this.amounts = turns.amount;
    this.inverses = turns.inverse;
    /** @type {ReadonlyMap<string, number>} */
    this.turnNumbers = new Map(turns.name.map((name, number) => [name, number]));
    this.layerNames = layers.name;
    this.steps = layers.steps;
    this.slotNames = data.slots;
    this.placementNames = data.placements;
    this.stickerNames = data.stickers?.name ?? [];
    this.typeNames = types.name;

    const count = data.placements.length;
    /** The slot and twist of each placement, the type of each slot, and each slot's placement 0. */
    this.slotOf = new Uint16Array(count);
    this.twistOf = new Uint16Array(count);
    this.typeOf = new Uint16Array(data.slots.length);
    this.home = new Uint16Array(data.slots.length);
    this.twists = types.twists;
    let placement = 0;
    types.name.forEach((_, type) => {
      for (let k = 0; k < types.count[type]; k++) {
        const slot = types.first_slot[type] + k;
        this.typeOf[slot] = type;
        this.home[slot] = placement;
        for (let twist = 0; twist < types.twists[type]; twist++, placement++) {
          this.slotOf[placement] = slot;
          this.twistOf[placement] = twist;
        }
      }
    });

    /** @type {Uint16Array[]} where each turn carries what is at each placement */
    this.moves = [];
    for (let turn = 0; turn < turns.name.length; turn++) {
      const table = Uint16Array.from({ length: count }, (_, p) => p);
      const cycles = turns.cycles[turn];
      if (cycles) {
        for (const cycle of cycles) {
          cycle.forEach((p, k) => (table[p] = cycle[(k + 1) % cycle.length]));
        }
      } else {
        const once = this.moves[turns.of[turn]];
        for (let k = 0; k < turns.times[turn]; k++) {
          for (let p = 0; p < count; p++) table[p] = once[table[p]];
        }
      }
      this.moves.push(table);
    }

    /** Whether a layer holds a slot, by layer and slot. */
    this.inLayer = layers.slots.map((slots) => {
      const inside = new Uint8Array(data.slots.length);
      for (const slot of slots) inside[slot] = 1;
      return inside;
    });
    /** Whether some turn of a layer moves or twists what is in a slot, by layer and slot. */
    this.reaches = layers.name.map((_, layer) => {
      const own = this.moves.filter((_, turn) => turns.layer[turn] === layer);
      return this.home.map((home) => (own.some((table) => table[home] !== home) ? 1 : 0));
    });
    this.forbidden = turns.forbidden.map((places) => new Set(places));
  }

  /** Whether there are states in which some turn is not possible. */
  get canBlock() {
    return this.data.bonds.length > 0 || this.forbidden.some((places) => places.size > 0);
  }
}

/**
 * The effect of no turns.
 * @param {Tables} tables
 * @returns {Effect}
 */
export function nothing(tables) {
  return Uint16Array.from({ length: tables.slotOf.length }, (_, p) => p);
}

/**
 * The effect of a word, after another effect if one is given.
 * @param {Tables} tables
 * @param {Word} word
 * @param {Effect} [before]
 * @returns {Effect}
 */
export function effectOf(tables, word, before) {
  const result = before ? before.slice() : nothing(tables);
  for (const turn of word) {
    const table = tables.moves[turn];
    for (let p = 0; p < result.length; p++) result[p] = table[result[p]];
  }
  return result;
}

/**
 * The effect that undoes another.
 * @param {Effect} effect
 * @returns {Effect}
 */
export function undone(effect) {
  const result = new Uint16Array(effect.length);
  effect.forEach((end, start) => (result[end] = start));
  return result;
}

/**
 * The word that undoes a word.
 * @param {Tables} tables
 * @param {Word} word
 * @returns {number[]}
 */
export function inverse(tables, word) {
  return [...word].reverse().map((turn) => tables.inverses[turn]);
}

/**
 * A word as it is written.
 * @param {Tables} tables
 * @param {Word} word
 */
export function write(tables, word) {
  return word.map((turn) => tables.turnNames[turn]).join(" ");
}

/**
 * A word from exact names of turns with blanks between; null where there is anything else, which
 * only the server can read.
 * @param {Tables} tables
 * @param {string} text
 * @returns {number[] | null}
 */
export function parse(tables, text) {
  const names = text.split(/\s+/).filter((name) => name !== "");
  const word = names.map((name) => tables.turnNumbers.get(name));
  return word.every((turn) => turn !== undefined) ? /** @type {number[]} */ (word) : null;
}

/**
 * One cycle of placements for every cycle of pieces, each begun at its first piece with twist 0.
 * @param {Tables} tables
 * @param {Effect} effect
 * @returns {number[][]}
 */
export function cycles(tables, effect) {
  const result = [];
  /** @type {Set<number>} */
  const seen = new Set();
  for (let slot = 0; slot < tables.home.length; slot++) {
    const start = tables.home[slot];
    if (seen.has(slot) || effect[start] === start) continue;
    const cycle = [];
    let place = start;
    do {
      cycle.push(place);
      seen.add(tables.slotOf[place]);
      place = effect[place];
    } while (place !== start);
    result.push(cycle);
  }
  return result;
}

/**
 * The slots that do not hold their own piece as it was: "moved" where another piece is in it,
 * "twisted" where its own is.
 * @param {Tables} tables
 * @param {Effect} effect
 * @returns {Map<number, Disturbance>}
 */
export function disturbed(tables, effect) {
  /** @type {Map<number, Disturbance>} */
  const result = new Map();
  for (let piece = 0; piece < tables.home.length; piece++) {
    const place = effect[tables.home[piece]];
    if (place === tables.home[piece]) continue;
    const slot = tables.slotOf[place];
    result.set(slot, slot === piece ? "twisted" : "moved");
  }
  return new Map([...result].sort((one, other) => one[0] - other[0]));
}

/**
 * The layers that hold exactly one disturbed slot, with that slot. What a layer holds and none of
 * its turns moves or twists, such as a centre on its axis, does not count.
 * @param {Tables} tables
 * @param {Effect} effect
 * @returns {{layer: number, slot: number, kind: Disturbance}[]}
 */
export function singles(tables, effect) {
  const out = [...disturbed(tables, effect)];
  const result = [];
  for (let layer = 0; layer < tables.inLayer.length; layer++) {
    const held = out.filter(([slot]) => tables.reaches[layer][slot]);
    if (held.length === 1) result.push({ layer, slot: held[0][0], kind: held[0][1] });
  }
  return result;
}

/**
 * What slipping a turn in gives: the effect of `word turn word' turn'`, in short.
 * @param {Tables} tables
 * @param {Effect} effect that of the word
 * @param {number} turn
 * @returns {Insert}
 */
export function insert(tables, effect, turn) {
  const there = tables.moves[turn];
  const back = tables.moves[tables.inverses[turn]];
  const undo = undone(effect);
  const whole = effect.map((place) => back[undo[there[place]]]);
  const found = cycles(tables, whole);
  const slots = found.map((cycle) => new Set(cycle.map((p) => tables.slotOf[p])).size);
  /** @type {Insert["gives"]} */
  let gives = "other";
  if (found.length === 0) gives = "nothing";
  else if (found.length === 1 && slots[0] === 3 && found[0].length === 3) gives = "three-cycle";
  else if (found.length === 2 && slots[0] === 1 && slots[1] === 1) gives = "pair of twists";
  return { turn, gives, cycles: found };
}

/**
 * The first turn of a word that is not possible where it stands: its place in the word and the home
 * slots of the pieces that hold it up; null if all can be done.
 * @param {Tables} tables
 * @param {Word} word
 * @param {Effect} [before]
 * @returns {{at: number, turn: number, slots: number[]} | null}
 */
export function firstBlocked(tables, word, before) {
  if (!tables.canBlock) return null;
  let effect = before ?? nothing(tables);
  for (let at = 0; at < word.length; at++) {
    const turn = word[at];
    const slots = inTheWay(tables, turn, effect);
    if (slots.length) return { at, turn, slots };
    effect = effectOf(tables, [turn], effect);
  }
  return null;
}

/**
 * @param {Tables} tables
 * @param {number} turn
 * @param {Effect} effect
 * @returns {number[]}
 */
function inTheWay(tables, turn, effect) {
  const inside = tables.inLayer[tables.turnLayer[turn]];
  for (const group of tables.data.bonds) {
    const held = group.filter((piece) => inside[tables.slotOf[effect[tables.home[piece]]]]);
    if (held.length && held.length < group.length) return group;
  }
  const forbids = tables.forbidden[turn];
  if (!forbids.size) return [];
  const first = tables.home.findIndex((home) => forbids.has(effect[home]));
  return first < 0 ? [] : [first];
}
