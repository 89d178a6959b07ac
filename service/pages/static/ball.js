/**
 * A ball on the canvas. It stays a ball while a layer turns, so that only the horizon hides anything.
 *
 * The half towards the viewer is projected from a point behind the ball onto the plane of the
 * horizon; what is beyond is carried on outwards, and a disc cuts it off. So a patch across the
 * horizon needs no cutting of its own, and one around the far side is all but its line.
 */

import { area } from "./ink.js";
import { Stickers, vectorArea } from "./stickers.js";
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
/** How far beyond the disc hidden lines run, in radii, and the steps in which they go around it. */
const FARTHEST = 0.3;
const AROUND = 0.8;
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
    const found = flat(view, matrix, this.outlines[sticker]);
    if (!found) return null;
    const { line } = found;
    return { sticker, piece, outline: line, painted: line, outside: area(line) < 0 };
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
        const found = flat(view, matrix, points);
        if (!found?.seen) continue;
        const alike = result.get(wide);
        if (alike) alike.push(found.line);
        else result.set(wide, [found.line]);
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
    const point = spotOf(view, applied(matrix, this.middles[sticker]));
    const room = this.rooms[sticker] * view.scale * Math.max(0, Math.min(1, point.facing + 0.35));
    return { ...point, room, seen: point.facing > 0.05 };
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
    return spotOf(view, applied(view.matrix, this.normals[face]));
  }
}

/**
 * How far from the middle a point is drawn, as a share of how far it is seen sideways.
 * @param {number} z the point's height towards the viewer, -1 to 1
 */
function share(z) {
  if (z >= 0) return AWAY / (AWAY + z);
  // Beyond the horizon the way outwards goes on as fast as it is there, for a while.
  const radius = 1 + Math.min(Math.asin(Math.min(1, -z)) / AWAY, FARTHEST);
  return radius / Math.sqrt(Math.max(1 - z * z, 1e-12));
}

/**
 * A point on the canvas.
 * @param {View} view
 * @param {number[]} point as the viewer has it
 */
function spotOf(view, [x, y, z]) {
  const by = share(z) * view.scale;
  return { x: view.x + x * by, y: view.y - y * by, facing: z };
}

/**
 * A closed line on the canvas, and whether any of it is seen; null if all that it is around is
 * hidden.
 *
 * What is hidden runs around the disc, on the side on which the line passes the farthest point.
 * @param {View} view
 * @param {Matrix} m
 * @param {Float64Array} points
 * @returns {{line: Line, seen: boolean} | null}
 */
function flat(view, m, points) {
  const line = [];
  let seen = false;
  let sideways = 0;
  let [lastX, lastY, lastZ] = applied(m, [...points.slice(-3)]);
  for (let k = 0; k < points.length; k += 3) {
    const [px, py, pz] = [points[k], points[k + 1], points[k + 2]];
    const x = m[0] * px + m[1] * py + m[2] * pz;
    const y = m[3] * px + m[4] * py + m[5] * pz;
    const z = m[6] * px + m[7] * py + m[8] * pz;
    const turned = lastX * y - lastY * x;
    sideways += turned;
    if (z > 0) seen = true;
    else if (lastZ <= 0) {
      const angle = Math.atan2(turned, lastX * x + lastY * y);
      const steps = Math.ceil(Math.abs(angle) / AROUND);
      for (let step = 1; step < steps; step++) {
        const at = Math.atan2(lastY, lastX) + (angle * step) / steps;
        const radius = (1 + FARTHEST) * view.scale;
        line.push(view.x + Math.cos(at) * radius, view.y - Math.sin(at) * radius);
      }
    }
    const by = share(z) * view.scale;
    line.push(view.x + x * by, view.y - y * by);
    [lastX, lastY, lastZ] = [x, y, z];
  }
  // Seen from behind, a hidden line runs counter-clockwise around what is hidden, too.
  if (!seen && sideways <= 0) return null;
  return { line: Float64Array.from(line), seen };
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
