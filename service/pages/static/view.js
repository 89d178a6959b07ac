/** Where a viewer stands: a rotation, a size, and points of space on the canvas. */

/** @typedef {number[]} Matrix nine numbers, row by row */

/** @type {Matrix} the rotation that changes nothing */
export const SAME = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/**
 * @param {Matrix} a
 * @param {Matrix} b
 * @returns {Matrix} a times b
 */
export function times(a, b) {
  const c = new Array(9);
  for (let i = 0; i < 9; i += 3) {
    for (let j = 0; j < 3; j++) c[i + j] = a[i] * b[j] + a[i + 1] * b[j + 3] + a[i + 2] * b[j + 6];
  }
  return c;
}

/**
 * @param {Matrix} m
 * @returns {Matrix} its transpose, which undoes a rotation
 */
export function transposed(m) {
  return [m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]];
}

/**
 * The rotation about a unit axis, counter-clockwise as seen from its tip (O. Rodrigues, 1840).
 * @param {number[]} axis
 * @param {number} angle in radians
 * @returns {Matrix}
 */
export function rotation([x, y, z], angle) {
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  const d = 1 - c;
  return [
    c + x * x * d, x * y * d - z * s, x * z * d + y * s,
    y * x * d + z * s, c + y * y * d, y * z * d - x * s,
    z * x * d - y * s, z * y * d + x * s, c + z * z * d,
  ];
}

/**
 * The rotation of a quaternion w x y z, of any length.
 * @param {number[]} q
 * @returns {Matrix}
 */
export function fromQuaternion(q) {
  const length = Math.hypot(...q);
  const [w, x, y, z] = q.map((part) => part / length);
  return [
    1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w),
    2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w),
    2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y),
  ];
}

/**
 * @param {number[]} a
 * @param {number[]} b
 */
export function dot(a, b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/**
 * @param {number[]} a
 * @param {number[]} b
 */
export function cross(a, b) {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

/** @param {number[]} a */
export function unit(a) {
  const length = Math.hypot(...a);
  return length > 1e-9 ? a.map((part) => part / length) : a;
}

/**
 * @param {Matrix} m
 * @param {number[]} p
 */
export function applied(m, p) {
  return [dot(m.slice(0, 3), p), dot(m.slice(3, 6), p), dot(m.slice(6, 9), p)];
}

/** A view; `matrix` has the canvas's right, its up, and the way to the viewer as rows. */
export class View {
  /**
   * @param {Matrix} matrix
   * @param {number} radius of the ball around what is drawn, in lengths of the body
   */
  constructor(matrix, radius) {
    this.first = matrix;
    this.matrix = matrix;
    this.radius = radius;
    this.x = 0;
    this.y = 0;
    this.scale = 1;
  }

  /**
   * Fit to a canvas of a size in CSS pixels.
   * @param {number} width
   * @param {number} height
   */
  fit(width, height) {
    this.x = width / 2;
    this.y = height / 2;
    this.scale = Math.max(Math.min(width, height) / 2 - 7, 1) / this.radius;
  }

  get toward() {
    return this.matrix.slice(6, 9);
  }

  /**
   * Turn what is seen, as by a hand on its front: angles to the right and downwards.
   * @param {number} right
   * @param {number} down
   */
  spin(right, down) {
    const aside = rotation([0, 1, 0], right);
    const over = rotation([1, 0, 0], down);
    this.matrix = upright(times(over, times(aside, this.matrix)));
  }

  /** The view from the other side; up stays up. */
  get opposite() {
    return times([-1, 0, 0, 0, 1, 0, 0, 0, -1], this.matrix);
  }
}

/**
 * A rotation again, after rounding.
 * @param {Matrix} m
 * @returns {Matrix}
 */
export function upright(m) {
  const toward = unit(m.slice(6, 9));
  const right = unit(cross(m.slice(3, 6), toward));
  return [...right, ...cross(toward, right), ...toward];
}

/**
 * Part of the way from one rotation to another, about the one axis that leads there.
 * @param {Matrix} from
 * @param {Matrix} to
 * @param {number} share
 * @returns {Matrix}
 */
export function between(from, to, share) {
  const step = times(to, transposed(from));
  const cosine = Math.max(-1, Math.min(1, (step[0] + step[4] + step[8] - 1) / 2));
  const angle = Math.acos(cosine);
  if (angle < 1e-6) return to;
  let axis = [step[7] - step[5], step[2] - step[6], step[3] - step[1]];
  if (Math.hypot(...axis) < 1e-6) {
    // A half turn: the matrix is 2 a a' - 1, whose largest column is along the axis.
    const columns = [0, 1, 2].map((k) => [0, 1, 2].map((i) => step[3 * i + k] + (i === k ? 1 : 0)));
    axis = columns.reduce((best, one) => (Math.hypot(...one) > Math.hypot(...best) ? one : best));
  }
  return upright(times(rotation(unit(axis), angle * share), from));
}

/**
 * Right, up and front as the rows of a rotation, by letters of faces; null where they name none.
 * @param {import("./state.js").DrawingData} data
 * @param {string} up
 * @param {string} front
 * @returns {Matrix | null}
 */
export function axisFrame({ faces }, up, front) {
  /** @param {string} letters */
  const axis = (letters) => {
    const own = [...letters].map((letter) => faces?.name.indexOf(letter) ?? -1);
    if (!faces || !own.length || own.includes(-1)) return null;
    return unit([0, 1, 2].map((i) => own.reduce((sum, face) => sum + faces.normal[face][i], 0)));
  };
  const [above, ahead] = [axis(up), axis(front)];
  if (!above || !ahead) return null;
  const level = ahead.map((part, i) => part - dot(above, ahead) * above[i]);
  if (Math.hypot(...level) < 1e-3) return null;
  const forward = unit(level);
  return [...cross(above, forward), ...above, ...forward];
}
