/**
 * A flat-cut body on the canvas: in parts along the axis that turns, of each the faces that are seen.
 *
 * The parts of a convex body are convex and parted by planes. In parallel projection what is on the
 * viewer's side of a plane hides what is behind it, and of a convex part the faces turned to the
 * viewer hide all others and not each other; so that painting from behind is exact.
 */

import { INSIDE } from "./ink.js";
import { Stickers, carried, mean, vectorArea } from "./stickers.js";
import { applied, cross, dot, times, unit } from "./view.js";

/** @typedef {import("./ink.js").Line} Line */
/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./stickers.js").Standing} Standing */
/** @typedef {import("./stickers.js").Motion} Motion */
/** @typedef {import("./stickers.js").Patch} Patch */
/** @typedef {import("./stickers.js").Anchor} Anchor */
/** @typedef {import("./view.js").View} View */
/** @typedef {import("./view.js").Matrix} Matrix */
/**
 * A part of the body: sections that are seen, then stickers, then bars between fastened pieces.
 * @typedef {{sections: Line[], patches: Patch[], bars: Line[]}} Part
 */

/** The gap between a sticker and the edge of its piece: in pixels, and as a share of its room. */
const GAP = 1.6;
const SHARE = 0.12;
/** Faces that are turned to the viewer by less than this are not drawn. */
const EDGE_ON = 1e-3;

export class Solid extends Stickers {
  /** @param {Tables} tables */
  constructor(tables) {
    super(tables);
    const { data } = tables;
    this.middles = this.outlines.map(mean);
    this.rooms = this.outlines.map((outline, k) => inradius(outline, this.middles[k]));
    this.axes = data.layers.axis.map((row) => unit(row));
    this.sections = data.layers.cuts.map((both) =>
      both.map((row) => Float64Array.from(row, (x) => x / data.unit)),
    );
    this.bars = data.bars.map(([slot, ...ends]) => ({
      slot,
      ends: Float64Array.from(ends, (x) => x / data.unit),
    }));
    /** Where each slot is, seen from a layer: 0 in it, -1 below, 1 above. */
    this.side = data.layers.name.map((_, layer) => {
      const low = data.layers.low[layer];
      const high = data.layers.high[layer];
      return tables.slotNames.map((__, slot) => {
        if (tables.inLayer[layer][slot]) return 0;
        if (low === null) return 1;
        if (high === null) return -1;
        const height = dot(this.axes[layer], this.middles[this.ofSlot[slot][0]]) * data.unit;
        return height > (low + high) / 2 ? 1 : -1;
      });
    });
    /** @type {Float64Array[]} */
    this.insets = [];
    this.insetScale = 0;
  }

  /**
   * The parts of the body, those behind first.
   * @param {View} view
   * @param {Standing} standing
   * @returns {Part[]}
   */
  parts(view, standing) {
    this.#inset(view.scale);
    const { motion } = standing;
    const { tables } = this;
    /** @type {Part[]} */
    const parts = [-1, 0, 1].map(() => ({ sections: [], patches: [], bars: [] }));
    for (let piece = 0; piece < standing.places.length; piece++) {
      const slot = tables.slotOf[standing.places[piece]];
      const part = parts[1 + (motion ? this.side[motion.layer][slot] : 0)];
      const matrix = times(view.matrix, this.matrix(piece, standing));
      for (const sticker of this.ofSlot[piece]) {
        if (!this.#faces(matrix, sticker)) continue;
        const outline = flat(view, matrix, this.outlines[sticker]);
        const painted = flat(view, matrix, this.insets[sticker]);
        part.patches.push({ sticker, piece, outline, painted, outside: false });
      }
    }
    for (const { slot, ends } of this.bars) {
      // A bar is seen where the sticker beside its first end is.
      const there = tables.slotOf[standing.places[slot]];
      const part = parts[1 + (motion ? this.side[motion.layer][there] : 0)];
      const matrix = times(view.matrix, this.matrix(slot, standing));
      const face = this.ofSlot[slot].find((k) => on(this.#normal(k), this.middles[k], ends));
      if (face !== undefined && this.#faces(matrix, face)) part.bars.push(flat(view, matrix, ends));
    }
    if (!motion) return [parts[1]];
    const towards = dot(this.axes[motion.layer], view.toward);
    this.#cut(view, motion, towards, parts);
    return towards > 0 ? parts : parts.reverse();
  }

  /**
   * Add the sections that show while a layer turns.
   * @param {View} view
   * @param {Motion} motion
   * @param {number} towards how far the layer's axis points to the viewer
   * @param {Part[]} parts below, in and above the layer
   */
  #cut(view, motion, towards, parts) {
    const turned = times(view.matrix, motion.rotation);
    this.sections[motion.layer].forEach((section, k) => {
      if (!section.length) return;
      // Of the two parts at a cut, one shows its inside: the one behind.
      const above = k === 0 ? 1 : 2;
      const behind = towards > 0 ? above - 1 : above;
      const matrix = behind === 1 ? turned : view.matrix;
      if (Math.abs(towards) > EDGE_ON) parts[behind].sections.push(flat(view, matrix, section));
    });
  }

  /** @param {number} sticker */
  #normal(sticker) {
    return this.normals[this.faceOf[sticker]];
  }

  /**
   * Whether a sticker is turned to the viewer.
   * @param {Matrix} matrix
   * @param {number} sticker
   */
  #faces(matrix, sticker) {
    return dot(matrix.slice(6, 9), this.#normal(sticker)) > EDGE_ON;
  }

  /** @param {number} scale */
  #inset(scale) {
    if (scale === this.insetScale) return;
    this.insetScale = scale;
    this.insets = this.outlines.map((outline, k) =>
      inset(outline, this.#normal(k), Math.min(GAP / scale, SHARE * this.rooms[k])),
    );
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
    const matrix = turning ? times(view.matrix, motion.rotation) : view.matrix;
    const [x, y] = applied(matrix, this.middles[sticker]);
    const facing = dot(matrix.slice(6, 9), this.#normal(sticker));
    const room = this.rooms[sticker] * view.scale * Math.max(facing, 0);
    return { x: view.x + x * view.scale, y: view.y - y * view.scale, room, facing, seen: facing > 0.03 };
  }

  /**
   * The outline of a sticker's place, null where it is not seen.
   * @param {View} view
   * @param {number} sticker
   * @returns {Patch | null}
   */
  place(view, sticker) {
    if (!this.#faces(view.matrix, sticker)) return null;
    const outline = flat(view, view.matrix, this.outlines[sticker]);
    return { sticker, piece: this.slotOf[sticker], outline, painted: outline, outside: false };
  }

  /**
   * Where a face's letter belongs: on its middle.
   * @param {View} view
   * @param {number} face
   */
  letter(view, face) {
    const { data } = this.tables;
    const distance = (data.faces?.distance[face] ?? 0) / data.unit;
    const [x, y] = applied(view.matrix, this.normals[face].map((part) => part * distance));
    const facing = dot(view.toward, this.normals[face]);
    return { x: view.x + x * view.scale, y: view.y - y * view.scale, facing };
  }

  get inside() {
    return INSIDE;
  }
}

/**
 * @param {View} view
 * @param {Matrix} matrix
 * @param {Float64Array} points
 */
function flat(view, matrix, points) {
  return carried(matrix, points, (x, y, _, line, k) => {
    line[k] = view.x + x * view.scale;
    line[k + 1] = view.y - y * view.scale;
  });
}

/**
 * Whether the line between two points lies in the plane of a face.
 * @param {number[]} normal
 * @param {number[]} point of the face
 * @param {Float64Array} ends
 */
function on(normal, point, ends) {
  const height = dot(normal, point);
  return [0, 3].every((k) => Math.abs(dot(normal, [ends[k], ends[k + 1], ends[k + 2]]) - height) < 1e-3);
}

/**
 * How far the middle of a flat convex outline is from its nearest side.
 * @param {Float64Array} outline
 * @param {number[]} middle
 */
function inradius(outline, middle) {
  let least = Infinity;
  const n = outline.length;
  for (let k = 0; k < n; k += 3) {
    const j = (k + 3) % n;
    const side = [0, 1, 2].map((i) => outline[j + i] - outline[k + i]);
    const to = [0, 1, 2].map((i) => middle[i] - outline[k + i]);
    const long = Math.hypot(...side);
    if (long > 1e-6) least = Math.min(least, Math.hypot(...cross(side, to)) / long);
  }
  return least;
}

/**
 * A flat convex outline with its sides moved inwards.
 * @param {Float64Array} outline
 * @param {number[]} normal
 * @param {number} by
 */
function inset(outline, normal, by) {
  /** @type {number[][]} */
  const points = [];
  for (let k = 0; k < outline.length; k += 3) points.push([...outline.slice(k, k + 3)]);
  /** @param {number[]} a @param {number[]} b */
  const step = (a, b) => [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
  const whole = vectorArea(outline);
  const corners = points.filter((point, k) => {
    const before = step(points[(k + points.length - 1) % points.length], point);
    const after = step(point, points[(k + 1) % points.length]);
    // Where two sides run on in a line there is no corner.
    return Math.hypot(...cross(before, after)) > 1e-5 * Math.hypot(...whole);
  });
  const inward = corners.map((corner, k) =>
    unit(cross(normal, step(corner, corners[(k + 1) % corners.length]))),
  );
  const moved = corners.flatMap((corner, k) => {
    const earlier = inward[(k + corners.length - 1) % corners.length];
    const share = by / (1 + dot(earlier, inward[k]));
    return corner.map((part, i) => part + (inward[k][i] + earlier[i]) * share);
  });
  return Float64Array.from(moved);
}
