/** Painting what was put on the canvas's plane: bodies, balls, boards, and what is marked on them. */

import { CYCLE, GREY, INK, INSIDE, PAPER, pale, sign, trace, writing } from "./ink.js";

/** @typedef {import("./ink.js").Context} Context */
/** @typedef {import("./ink.js").Kind} Kind */
/** @typedef {import("./ink.js").Line} Line */
/** @typedef {import("./ink.js").Patterns} Patterns */
/** @typedef {import("./stickers.js").Stickers} Stickers */
/** @typedef {import("./stickers.js").Standing} Standing */
/** @typedef {import("./stickers.js").Patch} Patch */
/** @typedef {import("./solid.js").Solid} Solid */
/** @typedef {import("./solid.js").Part} Part */
/** @typedef {import("./ball.js").Ball} Ball */
/** @typedef {import("./board.js").Board} Board */
/** @typedef {import("./view.js").View} View */
/**
 * How it is painted: marks by piece, whether unmarked pieces step back, the colour between stickers.
 * @typedef {{marks: ReadonlyMap<number, Kind>, fade: boolean, body: string, patterns: Patterns,
 *   signs: boolean}} Look
 */

/** The least room for a core, and for the sign of a type, in pixels. */
const CORE_ROOM = 4;
const SIGN_ROOM = 3.2;

/**
 * @param {Context} ctx
 * @param {Solid} solid
 * @param {View} view
 * @param {Standing} standing
 * @param {Look} look
 */
export function paintSolid(ctx, solid, view, standing, look) {
  for (const part of solid.parts(view, standing)) {
    ctx.lineJoin = "round";
    if (part.sections.length) {
      ctx.beginPath();
      for (const line of part.sections) trace(ctx, line);
      ctx.fillStyle = INSIDE;
      ctx.strokeStyle = look.body;
      ctx.lineWidth = 1.5;
      ctx.fill();
      ctx.stroke();
    }
    ctx.beginPath();
    for (const { outline } of part.patches) trace(ctx, outline);
    ctx.fillStyle = ctx.strokeStyle = look.body;
    ctx.lineWidth = 1.2;
    ctx.fill();
    ctx.stroke();
    fills(ctx, solid, part.patches, look);
    for (const { sticker, piece, painted } of part.patches) {
      const core = colours(solid, sticker, piece, look)[1];
      if (!core || solid.rooms[sticker] * view.scale < CORE_ROOM) continue;
      ctx.beginPath();
      trace(ctx, shrunk(painted, 0.4));
      ctx.fillStyle = core;
      ctx.fill();
    }
    bars(ctx, part.bars, look.body);
    marked(ctx, part.patches, look);
    if (look.signs) signs(ctx, solid, view, part.patches, look);
  }
}

/**
 * @param {Context} ctx
 * @param {Ball} ball
 * @param {View} view
 * @param {Standing} standing
 * @param {Look} look
 */
export function paintBall(ctx, ball, view, standing, look) {
  const rim = view.scale;
  ctx.beginPath();
  ctx.arc(view.x, view.y, rim, 0, 2 * Math.PI);
  ctx.fillStyle = look.body;
  ctx.fill();
  ctx.lineJoin = "bevel";
  const patches = ball.patches(view, standing);
  for (const patch of patches.filter((one) => one.outside)) {
    ctx.beginPath();
    shape(ctx, patch, view);
    ctx.fillStyle = colours(ball, patch.sticker, patch.piece, look)[0];
    ctx.fill("evenodd");
  }
  fills(ctx, ball, patches.filter((one) => !one.outside), look, 0.6);
  ctx.strokeStyle = look.body;
  for (const [wide, lines] of ball.gaps(view, standing)) {
    ctx.beginPath();
    for (const line of lines) trace(ctx, line);
    ctx.lineWidth = wide;
    ctx.stroke();
  }
  for (const { sticker, piece } of patches) {
    const core = colours(ball, sticker, piece, look)[1];
    if (!core || ball.rooms[sticker] * view.scale < CORE_ROOM) continue;
    const spot = middle(ball, sticker, piece, view, standing);
    if (!spot) continue;
    ctx.beginPath();
    ctx.arc(spot.x, spot.y, spot.room * 0.4, 0, 2 * Math.PI);
    ctx.fillStyle = core;
    ctx.fill();
  }
  marked(ctx, patches, look, view);
  if (look.signs) signs(ctx, ball, view, patches, look, standing);
  ctx.globalCompositeOperation = "destination-in";
  ctx.fillStyle = look.body;
  ctx.beginPath();
  ctx.arc(view.x, view.y, rim, 0, 2 * Math.PI);
  ctx.fill();
  ctx.globalCompositeOperation = "source-over";
  ctx.beginPath();
  ctx.arc(view.x, view.y, rim, 0, 2 * Math.PI);
  ctx.strokeStyle = look.body;
  ctx.lineWidth = 2;
  ctx.stroke();
}

/**
 * @param {Context} ctx
 * @param {Board} board
 * @param {View} view
 * @param {Standing} standing
 * @param {Look} look
 */
export function paintBoard(ctx, board, view, standing, look) {
  ctx.lineWidth = 1.2;
  ctx.strokeStyle = GREY;
  ctx.beginPath();
  for (const [[a, b], [c, d]] of board.ways) {
    ctx.moveTo(view.x + a * view.scale, view.y - b * view.scale);
    ctx.lineTo(view.x + c * view.scale, view.y - d * view.scale);
  }
  ctx.stroke();
  for (const { piece, x, y, radius, lie } of board.discs(view, standing)) {
    const kind = look.marks.get(piece);
    const strong = kind !== undefined && CYCLE.includes(kind);
    const back = look.fade && !strong;
    const colour = back ? pale(board.colours[piece]) : board.colours[piece];
    ctx.beginPath();
    ctx.arc(x, y, radius, 0, 2 * Math.PI);
    if (kind) halo(ctx, strong ? 5 : 3.6);
    ctx.fillStyle = colour;
    ctx.fill();
    const pattern = kind && look.patterns.of(ctx, kind);
    if (pattern) {
      ctx.fillStyle = pattern;
      ctx.fill();
    }
    ctx.strokeStyle = kind ? INK : GREY;
    ctx.lineWidth = strong ? 2.2 : kind ? 1.4 : 0.8;
    ctx.stroke();
    const ink = back ? INK : board.inks[piece];
    if (lie !== null) {
      ctx.beginPath();
      for (const [from, to] of [[0.62, 1], [-1, -0.62]]) {
        ctx.moveTo(x + Math.sin(lie) * radius * from, y - Math.cos(lie) * radius * from);
        ctx.lineTo(x + Math.sin(lie) * radius * to, y - Math.cos(lie) * radius * to);
      }
      ctx.strokeStyle = ink;
      ctx.lineWidth = Math.max(1.4, radius * 0.16);
      ctx.stroke();
    }
    const { tables } = board;
    if (look.signs) {
      sign(ctx, tables.typeOf[piece], x, y, radius * 0.4, ink);
      continue;
    }
    const name = tables.slotNames[piece];
    // A letter is about 0.6 of its size wide, in common sans-serif type.
    const size = Math.min(radius * 0.9, (1.5 * radius) / (0.6 * name.length));
    if (size >= 5) writing(ctx, name, x, y, size, ink, pattern ? colour : undefined);
  }
}

/**
 * Colour and core of a sticker; those that step back are paler.
 * @param {Stickers} own
 * @param {number} sticker
 * @param {number} piece
 * @param {Look} look
 * @returns {[string, string]}
 */
function colours(own, sticker, piece, look) {
  const kind = look.marks.get(piece);
  const back = kind === "kept" || (look.fade && !(kind && CYCLE.includes(kind)));
  return back
    ? [own.paleColours[sticker], own.paleCores[sticker]]
    : [own.colours[sticker], own.cores[sticker]];
}

/**
 * Fill patches, those of one colour together.
 * @param {Context} ctx
 * @param {Stickers} own
 * @param {Patch[]} patches
 * @param {Look} look
 * @param {number} [seam] how much wider stickers beside others of their piece are, to meet them
 */
function fills(ctx, own, patches, look, seam = 0) {
  /** @type {Map<string, Patch[]>} */
  const alike = new Map();
  for (const patch of patches) {
    const [colour] = colours(own, patch.sticker, patch.piece, look);
    const group = alike.get(colour);
    if (group) group.push(patch);
    else alike.set(colour, [patch]);
  }
  for (const [colour, group] of alike) {
    ctx.beginPath();
    for (const { painted } of group) trace(ctx, painted);
    ctx.fillStyle = ctx.strokeStyle = colour;
    ctx.fill();
    const beside = seam ? group.filter(({ piece }) => own.ofSlot[piece].length > 1) : [];
    if (!beside.length) continue;
    ctx.beginPath();
    for (const { painted } of beside) trace(ctx, painted);
    ctx.lineWidth = seam;
    ctx.stroke();
  }
}

/**
 * Patterns and outlines of marked pieces.
 * @param {Context} ctx
 * @param {Patch[]} patches
 * @param {Look} look
 * @param {View} [view] for a ball, whose patches may reach around
 */
function marked(ctx, patches, look, view) {
  if (!look.marks.size) return;
  const own = patches.filter(({ piece }) => look.marks.has(piece));
  // Those of a cycle last, on top.
  const rank = (/** @type {Patch} */ one) => (CYCLE.includes(kindOf(look, one)) ? 1 : 0);
  for (const patch of own.sort((one, other) => rank(one) - rank(other))) {
    const kind = kindOf(look, patch);
    const strong = CYCLE.includes(kind);
    ctx.beginPath();
    shape(ctx, patch, view);
    const pattern = look.patterns.of(ctx, kind);
    if (pattern) {
      ctx.fillStyle = pattern;
      ctx.fill("evenodd");
    }
    if (kind === "kept") continue;
    if (strong) halo(ctx, 4.6);
    ctx.strokeStyle = INK;
    ctx.lineWidth = strong ? 2.2 : 1.4;
    ctx.setLineDash(kind === "twisted" ? [4, 3] : []);
    ctx.stroke();
    ctx.setLineDash([]);
  }
}

/** @param {Look} look @param {Patch} patch */
function kindOf(look, patch) {
  return /** @type {Kind} */ (look.marks.get(patch.piece));
}

/** @param {Context} ctx @param {number} wide */
function halo(ctx, wide) {
  ctx.strokeStyle = PAPER;
  ctx.lineWidth = wide;
  ctx.stroke();
}

/**
 * The signs of types on the stickers that have room.
 * @param {Context} ctx
 * @param {Solid | Ball} own
 * @param {View} view
 * @param {Patch[]} patches
 * @param {Look} look
 * @param {Standing} [standing] for a ball
 */
function signs(ctx, own, view, patches, look, standing) {
  for (const { sticker, piece, painted } of patches) {
    const room = own.rooms[sticker] * view.scale;
    if (room < SIGN_ROOM) continue;
    const spot = standing
      ? middle(/** @type {Ball} */ (own), sticker, piece, view, standing)
      : { ...centre(painted), room };
    if (!spot) continue;
    const back = colours(own, sticker, piece, look)[0] !== own.colours[sticker];
    const ink = back || own.cores[sticker] ? INK : own.inks[sticker];
    const size = Math.min(6, spot.room * 0.55);
    const halo = own.cores[sticker] !== "";
    if (halo) {
      ctx.beginPath();
      ctx.arc(spot.x, spot.y, size * 1.5, 0, 2 * Math.PI);
      ctx.fillStyle = PAPER;
      ctx.fill();
    }
    sign(ctx, own.tables.typeOf[piece], spot.x, spot.y, size, ink);
  }
}

/**
 * The middle of a piece's sticker on a ball, null where it is not seen.
 * @param {Ball} ball
 * @param {number} sticker
 * @param {number} piece
 * @param {View} view
 * @param {Standing} standing
 */
function middle(ball, sticker, piece, view, standing) {
  const anchor = ball.standing(view, sticker, piece, standing);
  return anchor.facing > 0.12 ? anchor : null;
}

/** @param {Line} line */
function centre(line) {
  let x = 0;
  let y = 0;
  for (let k = 0; k < line.length; k += 2) {
    x += line[k];
    y += line[k + 1];
  }
  return { x: (2 * x) / line.length, y: (2 * y) / line.length };
}

/**
 * A line made smaller about its middle.
 * @param {Line} line
 * @param {number} share
 */
function shrunk(line, share) {
  const { x, y } = centre(line);
  return line.map((value, k) => (k % 2 ? y + (value - y) * share : x + (value - x) * share));
}

/**
 * Add the outline of a patch to the path, and all around it if the patch is outside.
 * @param {Context} ctx
 * @param {Patch} patch
 * @param {View} [view]
 */
function shape(ctx, patch, view) {
  if (patch.outside && view) ctx.arc(view.x, view.y, view.scale * 4, 0, 2 * Math.PI);
  trace(ctx, patch.painted);
}

/** @param {Context} ctx @param {Line[]} lines @param {string} colour */
function bars(ctx, lines, colour) {
  ctx.lineCap = "round";
  for (const [paint, wide] of /** @type {const} */ ([[PAPER, 9], [colour, 6]])) {
    ctx.strokeStyle = paint;
    ctx.lineWidth = wide;
    ctx.beginPath();
    for (const [a, b, c, d] of lines) {
      ctx.moveTo(a, b);
      ctx.lineTo(c, d);
    }
    ctx.stroke();
  }
}
