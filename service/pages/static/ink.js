/** The few things that drawings are made of: lines, paint that steps back, patterns, badges, arrows. */

export const INK = "#000000";
export const PAPER = "#FFFFFF";
/** Inside a body, where a turning layer shows it. */
export const INSIDE = "#6E6E6E";
/** A grey that can be read on white and on black (contrast above 4.5 on both, WCAG 2). */
export const GREY = "#767676";
export const FONT = "system-ui, sans-serif";

/** @typedef {Float64Array} Line points in a row, x y x y … */
/** @typedef {CanvasRenderingContext2D} Context */
/**
 * What a mark says of a piece; told apart by outline, pattern and number, not by colour.
 * @typedef {"first" | "second" | "third" | `step${number}` | "moved" | "twisted" | "kept"} Kind
 */

/** The steps of cycles, which are numbered; more than 48 are not shown. @type {readonly Kind[]} */
export const CYCLE = [
  "first",
  "second",
  "third",
  ...Array.from({ length: 45 }, (_, k) => /** @type {const} */ (`step${k + 4}`)),
];
/** @type {readonly Kind[]} */
export const KINDS = [...CYCLE, "moved", "twisted", "kept"];

/**
 * Add a closed line to the path.
 * @param {Context} ctx
 * @param {Line} line
 */
export function trace(ctx, line) {
  ctx.moveTo(line[0], line[1]);
  for (let k = 2; k < line.length; k += 2) ctx.lineTo(line[k], line[k + 1]);
  ctx.closePath();
}

/**
 * A colour mixed with white, to step back behind the pieces of a cycle.
 * @param {string} colour
 */
export function pale(colour) {
  const parts = [1, 3, 5].map((k) => parseInt(colour.slice(k, k + 2), 16));
  return "#" + parts.map((x) => Math.round(x + (255 - x) * 0.55).toString(16).padStart(2, "0")).join("");
}

/**
 * The area inside a closed line, positive if it runs counter-clockwise with y upwards.
 * @param {Line} line
 */
export function area(line) {
  let sum = 0;
  const n = line.length;
  for (let k = 0; k < n; k += 2) {
    const j = k + 2 === n ? 0 : k + 2;
    sum += line[j] * line[k + 1] - line[k] * line[j + 1];
  }
  return sum / 2;
}

/**
 * Whether a point is inside a closed line (by the number of crossings).
 * @param {Line} line
 * @param {number} x
 * @param {number} y
 */
export function holds(line, x, y) {
  let inside = false;
  const n = line.length;
  for (let k = 0, j = n - 2; k < n; j = k, k += 2) {
    const above = line[k + 1] > y;
    if (above !== line[j + 1] > y) {
      const at = line[k] + ((y - line[k + 1]) / (line[j + 1] - line[k + 1])) * (line[j] - line[k]);
      if (x < at) inside = !inside;
    }
  }
  return inside;
}

/**
 * How far a point is from the nearest side of a closed line.
 * @param {Line} line
 * @param {number} x
 * @param {number} y
 */
export function clearance(line, x, y) {
  let least = Infinity;
  const n = line.length;
  for (let k = 0, j = n - 2; k < n; j = k, k += 2) {
    const dx = line[k] - line[j];
    const dy = line[k + 1] - line[j + 1];
    const long = dx * dx + dy * dy;
    const share = long > 0 ? ((x - line[j]) * dx + (y - line[j + 1]) * dy) / long : 0;
    const t = Math.max(0, Math.min(1, share));
    least = Math.min(least, Math.hypot(line[j] + t * dx - x, line[j + 1] + t * dy - y));
  }
  return least;
}

/** Patterns for the kinds of marks, made once for a resolution. */
export class Patterns {
  /** @param {number} ratio pixels of the canvas to one of the page */
  constructor(ratio) {
    this.ratio = ratio;
    /** @type {Map<Kind, CanvasPattern>} */
    this.made = new Map();
  }

  /**
   * @param {Context} ctx
   * @param {Kind} kind
   * @returns {CanvasPattern | null} null where the kind has none
   */
  of(ctx, kind) {
    const known = this.made.get(kind);
    if (known) return known;
    const size = 9;
    const tile = document.createElement("canvas");
    tile.width = tile.height = Math.round(size * this.ratio);
    const own = tile.getContext("2d");
    if (!own) return null;
    own.scale(tile.width / size, tile.height / size);
    if (kind === "moved") {
      for (const [colour, wide] of /** @type {const} */ ([[PAPER, 3.4], [INK, 1.8]])) {
        own.strokeStyle = colour;
        own.lineWidth = wide;
        own.beginPath();
        for (const shift of [-size, 0, size]) {
          own.moveTo(shift - 1, size + 1);
          own.lineTo(shift + size + 1, -1);
        }
        own.stroke();
      }
    } else if (kind === "twisted") {
      for (const [colour, radius] of /** @type {const} */ ([[PAPER, 2.7], [INK, 1.7]])) {
        own.fillStyle = colour;
        own.beginPath();
        own.arc(size / 2, size / 2, radius, 0, 2 * Math.PI);
        own.fill();
      }
    } else if (kind === "kept") {
      own.strokeStyle = GREY;
      own.lineWidth = 1.2;
      own.strokeRect(1.5, 1.5, size - 3, size - 3);
    } else {
      return null;
    }
    const pattern = ctx.createPattern(tile, "repeat");
    if (!pattern) return null;
    pattern.setTransform(new DOMMatrix().scale(size / tile.width, size / tile.height));
    this.made.set(kind, pattern);
    return pattern;
  }
}

/**
 * A number in a disc.
 * @param {Context} ctx
 * @param {number} x
 * @param {number} y
 * @param {string} text
 * @param {number} [radius]
 */
export function badge(ctx, x, y, text, radius = 9) {
  ctx.beginPath();
  ctx.arc(x, y, radius, 0, 2 * Math.PI);
  ctx.fillStyle = PAPER;
  ctx.strokeStyle = INK;
  ctx.lineWidth = 1.6;
  ctx.fill();
  ctx.stroke();
  writing(ctx, text, x, y, radius * 1.4, INK);
}

/**
 * Writing with its middle at a point.
 * @param {Context} ctx
 * @param {string} text
 * @param {number} x
 * @param {number} y
 * @param {number} size
 * @param {string} colour
 * @param {string} [halo]
 */
export function writing(ctx, text, x, y, size, colour, halo) {
  ctx.font = `600 ${size}px ${FONT}`;
  ctx.textAlign = "center";
  ctx.textBaseline = "alphabetic";
  if (halo) {
    ctx.strokeStyle = halo;
    ctx.lineWidth = Math.max(2.5, size / 4);
    ctx.lineJoin = "round";
    ctx.strokeText(text, x, y + size * 0.36);
  }
  ctx.fillStyle = colour;
  ctx.fillText(text, x, y + size * 0.36);
}

/**
 * The sign of a piece type, for those who cannot go by colour; there are eight, then with a ring.
 * @param {Context} ctx
 * @param {number} type
 * @param {number} x
 * @param {number} y
 * @param {number} size half the height
 * @param {string} colour
 */
export function sign(ctx, type, x, y, size, colour) {
  ctx.beginPath();
  ctx.lineWidth = Math.max(1.3, size * 0.38);
  ctx.lineJoin = "round";
  ctx.strokeStyle = ctx.fillStyle = colour;
  const s = size * 0.85;
  switch (type % 8) {
    case 0: // a full disc
      ctx.arc(x, y, s * 0.75, 0, 2 * Math.PI);
      ctx.fill();
      break;
    case 1: // a bar
      ctx.moveTo(x - s, y);
      ctx.lineTo(x + s, y);
      ctx.stroke();
      break;
    case 2: // an open triangle
      for (let k = 0; k < 3; k++) {
        const angle = -Math.PI / 2 + (k * 2 * Math.PI) / 3;
        ctx.lineTo(x + s * Math.cos(angle), y + s * Math.sin(angle));
      }
      ctx.closePath();
      ctx.stroke();
      break;
    case 3: // a cross
      ctx.moveTo(x - s * 0.75, y - s * 0.75);
      ctx.lineTo(x + s * 0.75, y + s * 0.75);
      ctx.moveTo(x - s * 0.75, y + s * 0.75);
      ctx.lineTo(x + s * 0.75, y - s * 0.75);
      ctx.stroke();
      break;
    case 4: // an open circle
      ctx.arc(x, y, s * 0.75, 0, 2 * Math.PI);
      ctx.stroke();
      break;
    case 5: // an angle
      ctx.moveTo(x - s, y + s * 0.5);
      ctx.lineTo(x, y - s * 0.5);
      ctx.lineTo(x + s, y + s * 0.5);
      ctx.stroke();
      break;
    case 6: // a full square
      ctx.rect(x - s * 0.65, y - s * 0.65, s * 1.3, s * 1.3);
      ctx.fill();
      break;
    default: // two bars
      ctx.moveTo(x - s * 0.4, y - s * 0.8);
      ctx.lineTo(x - s * 0.4, y + s * 0.8);
      ctx.moveTo(x + s * 0.4, y - s * 0.8);
      ctx.lineTo(x + s * 0.4, y + s * 0.8);
      ctx.stroke();
  }
  if (type >= 8) {
    ctx.beginPath();
    ctx.arc(x, y, size * 1.35, 0, 2 * Math.PI);
    ctx.lineWidth = Math.max(1, size * 0.2);
    ctx.stroke();
  }
}

/**
 * An arrow from one point to another, bent away from the middle of the drawing; dashed and without
 * a head where it goes to what is hidden, or comes from there.
 * @param {Context} ctx
 * @param {{x: number, y: number, seen: boolean}} from
 * @param {{x: number, y: number, seen: boolean}} to
 * @param {{x: number, y: number}} middle
 * @param {number} radius how far from the points it keeps
 * @param {string} [beyond] what is written at the end that is not seen
 * @param {boolean} [left] whether it bends to the left of its way, as two that go to and fro do
 */
export function arrow(ctx, from, to, middle, radius, beyond, left = false) {
  if (!from.seen && !to.seen) return;
  const dx = to.x - from.x;
  const dy = to.y - from.y;
  const long = Math.hypot(dx, dy);
  if (long < 2 * radius + 4) return;
  let across = [-dy / long, dx / long];
  const half = [(from.x + to.x) / 2 - middle.x, (from.y + to.y) / 2 - middle.y];
  if (!left && half[0] * across[0] + half[1] * across[1] < 0) across = [-across[0], -across[1]];
  const bend = long * 0.22;
  const knee = { x: (from.x + to.x) / 2 + across[0] * bend, y: (from.y + to.y) / 2 + across[1] * bend };
  let start = ahead(from, knee, radius);
  let end = ahead(to, knee, radius);
  const whole = from.seen && to.seen;
  if (!whole) {
    // A stub of the way, from the end that is seen.
    const seen = from.seen ? start : end;
    const stub = Math.min(30, long * 0.4);
    const tip = ahead(seen, knee, stub);
    [start, end] = from.seen ? [start, tip] : [tip, end];
    if (beyond) {
      const at = ahead(seen, knee, stub + 10);
      writing(ctx, beyond, at.x, at.y, 12, INK, PAPER);
    }
  }
  const back = whole ? knee : start;
  const away = Math.hypot(end.x - back.x, end.y - back.y) || 1;
  const way = [(end.x - back.x) / away, (end.y - back.y) / away];
  const headed = to.seen;
  ctx.lineCap = "round";
  for (const [colour, wide] of /** @type {const} */ ([[PAPER, 5.5], [INK, 2.4]])) {
    ctx.beginPath();
    ctx.moveTo(start.x, start.y);
    const stop = { x: end.x - (headed ? way[0] * 6 : 0), y: end.y - (headed ? way[1] * 6 : 0) };
    if (whole) ctx.quadraticCurveTo(knee.x, knee.y, stop.x, stop.y);
    else ctx.lineTo(stop.x, stop.y);
    ctx.strokeStyle = ctx.fillStyle = colour;
    ctx.lineWidth = wide;
    ctx.setLineDash(whole || colour === PAPER ? [] : [4, 5]);
    ctx.stroke();
    ctx.setLineDash([]);
    if (!headed) continue;
    ctx.beginPath();
    ctx.moveTo(end.x, end.y);
    ctx.lineTo(end.x - way[0] * 10 - way[1] * 5, end.y - way[1] * 10 + way[0] * 5);
    ctx.lineTo(end.x - way[0] * 10 + way[1] * 5, end.y - way[1] * 10 - way[0] * 5);
    ctx.closePath();
    if (colour === PAPER) {
      ctx.lineWidth = 3;
      ctx.lineJoin = "round";
      ctx.stroke();
    }
    ctx.fill();
  }
}

/**
 * An arrow half round a point with a head at both ends: what is there is twisted.
 * @param {Context} ctx
 * @param {number} x
 * @param {number} y
 * @param {number} radius
 */
export function spin(ctx, x, y, radius) {
  for (const [colour, wide] of /** @type {const} */ ([[PAPER, 5.5], [INK, 2.4]])) {
    ctx.strokeStyle = ctx.fillStyle = colour;
    ctx.lineWidth = wide;
    ctx.beginPath();
    ctx.arc(x, y, radius, 0, Math.PI);
    ctx.stroke();
    for (const side of [-1, 1]) {
      ctx.beginPath();
      ctx.moveTo(x + side * radius, y - 8);
      ctx.lineTo(x + side * radius - 5, y + 1);
      ctx.lineTo(x + side * radius + 5, y + 1);
      ctx.closePath();
      if (colour === PAPER) ctx.stroke();
      ctx.fill();
    }
  }
}

/**
 * A point so far from another on the way to a third.
 * @param {{x: number, y: number}} from
 * @param {{x: number, y: number}} to
 * @param {number} by
 */
function ahead(from, to, by) {
  const away = Math.hypot(to.x - from.x, to.y - from.y) || 1;
  return { x: from.x + ((to.x - from.x) / away) * by, y: from.y + ((to.y - from.y) / away) * by };
}
