/** A written-down puzzle on the canvas: places as discs that go from place to place as turns do. */

/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./stickers.js").Standing} Standing */
/** @typedef {import("./view.js").View} View */
/** @typedef {{piece: number, x: number, y: number, radius: number, lie: number | null}} Disc */

/** The radius of discs as a share of the least distance, and the largest, of the board's radius. */
const SHARE = 0.42;
const LARGEST = 0.2;

export class Board {
  /** @param {Tables} tables */
  constructor(tables) {
    const { places, unit } = tables.data;
    if (!places) throw new Error("a puzzle without places has no board");
    this.tables = tables;
    this.points = places.x.map((x, k) => [x / unit, places.y[k] / unit]);
    this.colours = [...places.colour];
    this.inks = [...places.ink];
    let least = Infinity;
    this.points.forEach(([x, y], k) => {
      for (const [a, b] of this.points.slice(0, k)) least = Math.min(least, Math.hypot(x - a, y - b));
    });
    this.radius = Math.min(LARGEST, Number.isFinite(least) ? least * SHARE : LARGEST);
    /** The steps of slots in each layer's first turn, as lines between places. */
    const first = tables.layerNames.map((_, layer) => tables.turnLayer.indexOf(layer));
    this.ways = first.flatMap((turn) =>
      turn < 0 ? [] : this.#steps(turn).map(([from, to]) => [this.points[from], this.points[to]]),
    );
    /** The middle of each cycle of slots of a turn, by turn and slot. */
    this.middles = tables.moves.map((_, turn) => this.#middles(turn));
  }

  /** @param {number} turn @returns {[number, number][]} from slot to slot */
  #steps(turn) {
    const { tables } = this;
    const table = tables.moves[turn];
    /** @type {[number, number][]} */
    const steps = tables.slotNames.map((_, slot) => [slot, tables.slotOf[table[tables.home[slot]]]]);
    return steps.filter(([from, to]) => from !== to);
  }

  /** @param {number} turn */
  #middles(turn) {
    const next = new Map(this.#steps(turn));
    /** @type {Map<number, number[]>} */
    const result = new Map();
    for (const start of next.keys()) {
      if (result.has(start)) continue;
      /** @type {number[]} */
      const cycle = [];
      let slot = start;
      do {
        cycle.push(slot);
        slot = /** @type {number} */ (next.get(slot));
      } while (slot !== start);
      const middle = [0, 1].map((i) => cycle.reduce((sum, k) => sum + this.points[k][i], 0) / cycle.length);
      for (const own of cycle) result.set(own, middle);
    }
    return result;
  }

  /**
   * @param {View} view
   * @param {Standing} standing
   * @returns {Disc[]}
   */
  discs(view, standing) {
    return [...standing.places].map((place, piece) => {
      const [x, y] = this.#where(place, standing);
      return {
        piece,
        x: view.x + x * view.scale,
        y: view.y - y * view.scale,
        radius: this.radius * view.scale,
        lie: this.#lie(place, standing),
      };
    });
  }

  /** @param {number} place @param {Standing} standing */
  #where(place, { motion }) {
    const { tables } = this;
    const slot = tables.slotOf[place];
    const from = this.points[slot];
    if (!motion) return from;
    const end = tables.slotOf[tables.moves[motion.turn][place]];
    const middle = this.middles[motion.turn].get(slot);
    if (end === slot || !middle) return from;
    const to = this.points[end];
    const [start, stop] = [from, to].map(([x, y]) => ({
      radius: Math.hypot(x - middle[0], y - middle[1]),
      angle: Math.atan2(y - middle[1], x - middle[0]),
    }));
    // About the middle of its cycle, the shorter way; clockwise where both are as long.
    let angle = stop.angle - start.angle;
    angle -= 2 * Math.PI * Math.floor(angle / (2 * Math.PI) + 0.5);
    if (angle > Math.PI - 1e-6) angle -= 2 * Math.PI;
    const radius = start.radius + (stop.radius - start.radius) * motion.share;
    const at = start.angle + angle * motion.share;
    return [middle[0] + radius * Math.cos(at), middle[1] + radius * Math.sin(at)];
  }

  /**
   * How a piece with twists lies: the angle of its line, clockwise from upright; null for others.
   * @param {number} place
   * @param {Standing} standing
   */
  #lie(place, { motion }) {
    const { tables } = this;
    const twists = tables.twists[tables.typeOf[tables.slotOf[place]]];
    if (twists === 1) return null;
    const lie = (tables.twistOf[place] * Math.PI) / twists;
    if (!motion) return lie;
    const end = (tables.twistOf[tables.moves[motion.turn][place]] * Math.PI) / twists;
    let angle = end - lie;
    angle -= Math.PI * Math.floor(angle / Math.PI + 0.5);
    return lie + angle * motion.share;
  }

  /**
   * Where a place is on the canvas.
   * @param {View} view
   * @param {number} slot
   */
  anchor(view, slot) {
    const [x, y] = this.points[slot];
    const room = this.radius * view.scale;
    return { x: view.x + x * view.scale, y: view.y - y * view.scale, room, facing: 1, seen: true };
  }
}
