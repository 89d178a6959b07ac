/** What solids and balls have in common: stickers at home, carried by rotations, and their paint. */

import { clearance, holds, pale } from "./ink.js";
import { fromQuaternion, times, transposed } from "./view.js";

/** @typedef {import("./ink.js").Line} Line */
/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./view.js").View} View */
/** @typedef {import("./view.js").Matrix} Matrix */
/**
 * A layer on its way: by how far it is turned, as a rotation.
 * @typedef {{layer: number, turn: number, share: number, rotation: Matrix}} Motion
 */
/**
 * What is to be drawn: the placement of every piece, and what turns.
 * @typedef {{places: Uint16Array, motion: Motion | null}} Standing
 */
/**
 * A sticker on the canvas: its number at home, its piece, its outline, what is painted of it.
 * `outside` is true for a patch that reaches around the far side of a ball: all but its line.
 * @typedef {{sticker: number, piece: number, outline: Line, painted: Line, outside: boolean}} Patch
 */
/** @typedef {{x: number, y: number, room: number, facing: number, seen: boolean}} Anchor */

/** The stickers of a puzzle with a body. */
export class Stickers {
  /** @param {Tables} tables */
  constructor(tables) {
    const { data } = tables;
    const own = data.stickers;
    const faces = data.faces;
    if (!own || !faces) throw new Error("a puzzle without stickers has no body to draw");
    this.tables = tables;
    this.unpainted = data.unpainted;
    this.outlines = own.outline.map((row) => Float64Array.from(row, (x) => x / data.unit));
    this.faceOf = own.face;
    this.slotOf = own.slot;
    /** @type {number[][]} the stickers of each piece, by its home slot */
    this.ofSlot = tables.slotNames.map(() => []);
    own.slot.forEach((slot, k) => this.ofSlot[slot].push(k));
    this.normals = faces.normal.map((row) => row.map((x) => x / data.unit));
    this.colours = own.face.map((face) => (face < 0 ? data.unpainted : faces.colour[face]));
    this.cores = own.face.map((face) => (face < 0 ? "" : faces.core[face]));
    this.inks = own.face.map((face) => (face < 0 ? "#000000" : faces.ink[face]));
    this.paleColours = this.colours.map(pale);
    this.paleCores = this.cores.map((core) => core && pale(core));
    /** @type {Matrix[]} from a type's first slot to each placement */
    this.rotations = data.rotations.map(fromQuaternion);
  }

  /**
   * Paint a sticker otherwise than the puzzle has it.
   * @param {number} sticker
   * @param {string} colour
   * @param {string} core of another colour in its middle, empty for none
   * @param {string} ink
   */
  paint(sticker, colour, core, ink) {
    this.colours[sticker] = colour;
    this.cores[sticker] = core;
    this.inks[sticker] = ink;
    this.paleColours[sticker] = pale(colour);
    this.paleCores[sticker] = core && pale(core);
  }

  /**
   * The rotation of a piece from home to where it stands, and on with the turning layer.
   * @param {number} piece
   * @param {Standing} standing
   * @returns {Matrix}
   */
  matrix(piece, standing) {
    const { tables, rotations } = this;
    const place = standing.places[piece];
    const home = tables.home[piece];
    const still = times(rotations[place], transposed(rotations[home]));
    const { motion } = standing;
    const turning = motion && tables.inLayer[motion.layer][tables.slotOf[place]];
    return turning ? times(motion.rotation, still) : still;
  }

  /**
   * The sticker of a placement that says which it is: of the class that most of them are seen by.
   * @param {number[]} placements
   * @param {(sticker: number) => number} room how much of a sticker is seen
   * @returns {number[]} a sticker for each
   */
  standFor(placements, room) {
    const own = this.tables.data.stickers;
    if (!own) return [];
    const { slotOf, typeOf, data } = this.tables;
    const largest = placements.map((p) =>
      this.ofSlot[slotOf[p]].reduce((best, k) => (room(k) > room(best) ? k : best)),
    );
    if (!placements.every((p) => data.types.stickered[typeOf[slotOf[p]]])) return largest;
    let most = -1;
    let best = largest;
    for (const kind of new Set(this.ofSlot[slotOf[placements[0]]].map((k) => own.kind[k]))) {
      const chosen = placements.map((p) =>
        this.ofSlot[slotOf[p]].find(
          (k) => own.kind[k] === kind && (own.placement[k] === p || own.placement[k] < 0),
        ),
      );
      if (chosen.some((k) => k === undefined)) continue;
      const found = /** @type {number[]} */ (chosen);
      const value = found.reduce((sum, k) => sum + Math.min(room(k), 12), 0);
      if (value > most + 1e-6) [most, best] = [value, found];
    }
    return best;
  }
}

/**
 * Where in a flat shape there is most room: its middle, or for one that is bent a better point.
 * @param {Line} line
 * @param {number} x
 * @param {number} y
 */
export function spot(line, x, y) {
  /** @param {number} px @param {number} py */
  const room = (px, py) => (holds(line, px, py) ? clearance(line, px, py) : -clearance(line, px, py));
  let best = { x, y, room: room(x, y) };
  let step = 0;
  for (let k = 0; k < line.length; k += 2) step = Math.max(step, Math.hypot(line[k] - x, line[k + 1] - y));
  // Steps to where there is more, smaller and smaller, as in a search by compass.
  for (step /= 2; step > 0.4; ) {
    const tries = [[1, 0], [-1, 0], [0, 1], [0, -1], [0.7, 0.7], [-0.7, 0.7], [0.7, -0.7], [-0.7, -0.7]];
    const next = tries
      .map(([dx, dy]) => ({ x: best.x + dx * step, y: best.y + dy * step }))
      .map((one) => ({ ...one, room: room(one.x, one.y) }))
      .reduce((one, other) => (other.room > one.room ? other : one));
    if (next.room > best.room + 1e-6) best = next;
    else step /= 2;
  }
  return best;
}

/**
 * The outline in space under a rotation, as flat coordinates of the view before projection.
 * @param {Matrix} m
 * @param {Float64Array} points
 * @param {(x: number, y: number, z: number, line: Line, k: number) => void} put
 * @returns {Line}
 */
export function carried(m, points, put) {
  const line = new Float64Array((points.length / 3) * 2);
  for (let k = 0, j = 0; k < points.length; k += 3, j += 2) {
    const x = points[k];
    const y = points[k + 1];
    const z = points[k + 2];
    put(
      m[0] * x + m[1] * y + m[2] * z,
      m[3] * x + m[4] * y + m[5] * z,
      m[6] * x + m[7] * y + m[8] * z,
      line,
      j,
    );
  }
  return line;
}

/**
 * The mean of points in a row.
 * @param {Float64Array} points
 */
export function mean(points) {
  const sum = [0, 0, 0];
  for (let k = 0; k < points.length; k += 3) {
    for (let i = 0; i < 3; i++) sum[i] += points[k + i];
  }
  return sum.map((x) => (x * 3) / points.length);
}

/**
 * Half the vector area of a closed line in space: its length is the area if it is flat.
 * @param {Float64Array} points
 */
export function vectorArea(points) {
  const sum = [0, 0, 0];
  const n = points.length;
  for (let k = 0; k < n; k += 3) {
    const j = k + 3 === n ? 0 : k + 3;
    sum[0] += points[k + 1] * points[j + 2] - points[k + 2] * points[j + 1];
    sum[1] += points[k + 2] * points[j] - points[k] * points[j + 2];
    sum[2] += points[k] * points[j + 1] - points[k + 1] * points[j];
  }
  return sum.map((x) => x / 2);
}
