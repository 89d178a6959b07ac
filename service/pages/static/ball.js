/**
 * A ball on the canvas. It stays a ball while a layer turns, so that only the horizon hides anything.
 *
 * The half towards the viewer is projected from a point behind the ball onto the plane of the
 * horizon; what is beyond is carried on outwards, and a disc cuts it off. So a patch across the
 * horizon needs no cutting of its own, and one around the far side is all but its line.
 */

import { area } from "./ink.js";
import { Stickers, carried, vectorArea } from "./stickers.js";
import { applied, times, unit } from "./view.js";

/** @typedef {import("./ink.js").Line} Line */
/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./stickers.js").Standing} Standing */
/** @typedef {import("./stickers.js").Motion} Motion */
/** @typedef {import("./stickers.js").Patch} Patch */
/** @typedef {import("./stickers.js").Anchor} Anchor */
/** @typedef {import("./view.js").View} View */
/** @typedef {import("./view.js").Matrix} Matrix */

/** From how far behind the middle the ball is projected, in radii; 1 would be stereographic. */
const AWAY = 2.2;
/** Corners closer than this, in units of the data, are the same. */
const SAME = 3;

/** The gap around a piece, in pixels: bounds, and as a share of its room. */
const NARROWEST = 0.6;
const WIDEST = 1.8;
const SHARE = 0.4;

export class Ball extends Stickers {
  /** @param {Tables} tables */
  constructor(tables) {
    super(tables);
    const areas = this.outlines.map(vectorArea);
    this.middles = areas.map((vector, k) =>
      Math.hypot(...vector) > 1e-3 ? unit(vector) : [...this.outlines[k].slice(0, 3)],
    );
    /** About how far it is from the middle of a sticker to its sides. */
    this.rooms = this.outlines.map((outline, k) => {
      let around = 0;
      for (let i = 0; i < outline.length; i += 3) {
        const j = (i + 3) % outline.length;
        around += Math.hypot(
          outline[j] - outline[i],
          outline[j + 1] - outline[i + 1],
          outline[j + 2] - outline[i + 2],
        );
      }
      return (2 * Math.hypot(...areas[k])) / around;
    });
    const fastened = new Set(tables.data.bonds.flat());
    const single = tables.slotNames.map((_, slot) => [slot]).filter(([slot]) => !fastened.has(slot));
    /** Pieces, or bodies of fastened pieces: a piece to go by, the lines around, about how wide. */
    this.bodies = [...single, ...tables.data.bonds].map((slots) => {
      const own = slots.flatMap((slot) => this.ofSlot[slot]);
      const lines = around(own.map((k) => tables.data.stickers?.outline[k] ?? []));
      return {
        piece: slots[0],
        slots,
        lines: lines.map((line) => Float64Array.from(line, (x) => x / tables.data.unit)),
        room: Math.max(...own.map((k) => this.rooms[k])),
      };
    });
    /** Lines around single pieces of a body of several. */
    this.seams = tables.data.bonds.flat().map((slot) => ({
      piece: slot,
      lines: around(this.ofSlot[slot].map((k) => tables.data.stickers?.outline[k] ?? [])).map(
        (line) => Float64Array.from(line, (x) => x / tables.data.unit),
      ),
    }));
  }

  /**
   * The stickers of which something is seen.
   * @param {View} view
   * @param {Standing} standing
   * @returns {Patch[]}
   */
  patches(view, standing) {
    /** @type {Patch[]} */
    const result = [];
    for (let piece = 0; piece < standing.places.length; piece++) {
      const matrix = times(view.matrix, this.matrix(piece, standing));
      for (const sticker of this.ofSlot[piece]) {
        const patch = this.#patch(view, matrix, sticker, piece);
        if (patch) result.push(patch);
      }
    }
    return result;
  }

  /**
   * @param {View} view
   * @param {Matrix} matrix
   * @param {number} sticker
   * @param {number} piece
   * @returns {Patch | null}
   */
  #patch(view, matrix, sticker, piece) {
    const { line, seen } = flat(view, matrix, this.outlines[sticker]);
    const inner = area(line);
    if (!seen && Math.abs(inner) < Math.PI * view.scale * view.scale) return null;
    return { sticker, piece, outline: line, painted: line, outside: inner < 0 };
  }

  /**
   * The lines between pieces that are seen, by how wide they are; narrower between fastened pieces.
   * @param {View} view
   * @param {Standing} standing
   * @returns {Map<number, Line[]>}
   */
  gaps(view, standing) {
    /** @type {Map<number, Line[]>} */
    const result = new Map();
    /** @param {number} piece @param {Float64Array[]} lines @param {number} wide */
    const add = (piece, lines, wide) => {
      const matrix = times(view.matrix, this.matrix(piece, standing));
      for (const points of lines) {
        const { line, seen } = flat(view, matrix, points);
        if (!seen) continue;
        const alike = result.get(wide);
        if (alike) alike.push(line);
        else result.set(wide, [line]);
      }
    };
    for (const { piece, lines } of this.seams) add(piece, lines, NARROWEST);
    for (const { piece, lines, room } of this.bodies) {
      const wide = Math.min(WIDEST, Math.max(NARROWEST, room * view.scale * SHARE));
      add(piece, lines, Math.round(wide * 5) / 5);
    }
    return result;
  }

  /**
   * Where a sticker's place is, whoever is there.
   * @param {View} view
   * @param {number} sticker
   * @param {Motion | null} motion
   * @returns {Anchor}
   */
  anchor(view, sticker, motion) {
    const turning = motion && this.tables.inLayer[motion.layer][this.slotOf[sticker]];
    return this.#at(view, turning ? times(view.matrix, motion.rotation) : view.matrix, sticker);
  }

  /**
   * Where a piece's sticker is.
   * @param {View} view
   * @param {number} sticker
   * @param {number} piece
   * @param {Standing} standing
   * @returns {Anchor}
   */
  standing(view, sticker, piece, standing) {
    return this.#at(view, times(view.matrix, this.matrix(piece, standing)), sticker);
  }

  /**
   * @param {View} view
   * @param {Matrix} matrix
   * @param {number} sticker
   * @returns {Anchor}
   */
  #at(view, matrix, sticker) {
    const [x, y, z] = applied(matrix, this.middles[sticker]);
    const point = { x: 0, y: 0 };
    project(view, x, y, z, (px, py) => Object.assign(point, { x: px, y: py }));
    const room = this.rooms[sticker] * view.scale * Math.max(0, Math.min(1, z + 0.35));
    return { ...point, room, facing: z, seen: z > 0.05 };
  }

  /**
   * The outline of a sticker's place, null where it is not seen.
   * @param {View} view
   * @param {number} sticker
   */
  place(view, sticker) {
    return this.#patch(view, view.matrix, sticker, this.slotOf[sticker]);
  }

  /**
   * Where a face's letter belongs: where its axis comes out.
   * @param {View} view
   * @param {number} face
   */
  letter(view, face) {
    const [x, y, z] = applied(view.matrix, this.normals[face]);
    const point = { x: 0, y: 0 };
    project(view, x, y, z, (px, py) => Object.assign(point, { x: px, y: py }));
    return { ...point, facing: z };
  }
}

/**
 * @param {View} view
 * @param {number} x
 * @param {number} y
 * @param {number} z towards the viewer
 * @param {(x: number, y: number) => void} put
 */
function project(view, x, y, z, put) {
  let share = AWAY / (AWAY + z);
  if (z < 0) {
    // Beyond the horizon the way outwards goes on as fast as it is there.
    const flatly = Math.sqrt(Math.max(1 - z * z, 1e-12));
    share = (1 + Math.asin(Math.min(1, -z)) / AWAY) / flatly;
  }
  put(view.x + x * share * view.scale, view.y - y * share * view.scale);
}

/**
 * @param {View} view
 * @param {Matrix} matrix
 * @param {Float64Array} points
 */
function flat(view, matrix, points) {
  let seen = false;
  const line = carried(matrix, points, (x, y, z, own, k) => {
    if (z > 0) seen = true;
    project(view, x, y, z, (px, py) => {
      own[k] = px;
      own[k + 1] = py;
    });
  });
  return { line, seen };
}

/**
 * The closed lines around patches that do not overlap: sides walked both ways are left out.
 * @param {number[][]} outlines
 * @returns {number[][]}
 */
function around(outlines) {
  /** @type {number[][]} */
  const corners = [];
  /** @param {number[]} point */
  const number = (point) => {
    const known = corners.findIndex((one) => one.every((x, i) => Math.abs(x - point[i]) <= SAME));
    return known >= 0 ? known : corners.push(point) - 1;
  };
  /** @type {Map<number, number[]>} */
  const leaving = new Map();
  for (const outline of outlines) {
    /** @type {number[]} */
    const walk = [];
    for (let k = 0; k < outline.length; k += 3) walk.push(number(outline.slice(k, k + 3)));
    walk.forEach((from, k) => {
      const to = walk[(k + 1) % walk.length];
      const back = leaving.get(to);
      if (from === to) return;
      if (back?.includes(from)) back.splice(back.indexOf(from), 1);
      else leaving.set(from, [...(leaving.get(from) ?? []), to]);
    });
  }
  const result = [];
  for (const [start, ways] of leaving) {
    while (ways.length) {
      const line = [];
      let at = start;
      do {
        line.push(...corners[at]);
        at = /** @type {number} */ (leaving.get(at)?.pop());
      } while (at !== start && at !== undefined);
      result.push(line);
    }
  }
  return result;
}
