/** What is written over a drawing: letters, names, numbers, arrows, where the keys are, and a tip. */

import { Ball } from "./ball.js";
import { Board } from "./board.js";
import { CYCLE, GREY, INK, PAPER, FONT, arrow, badge, spin, trace, writing } from "./ink.js";
import { placed, told } from "./picks.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./ink.js").Context} Context */
/** @typedef {import("./ink.js").Kind} Kind */
/** @typedef {import("./picks.js").Place} Place */
/** @typedef {import("./stickers.js").Anchor} Anchor */
/** @typedef {Map<Place, Anchor>} Spots */

/** A face's letter is written if the face is turned to the viewer by more than this. */
const LETTER_FACING = 0.22;
/** The sizes of writing, in pixels. */
const LETTERS = { smallest: 10, largest: 17, share: 0.085 };
const NAMES = { smallest: 6, largest: 13 };

/**
 * @param {Drawing} drawing
 * @param {ReadonlyMap<Place, Kind>} marks
 * @param {readonly [Place, Place][]} arrows
 */
export function overlay(drawing, marks, arrows) {
  const { ctx, view, shown } = drawing;
  const numbered = spots(
    drawing,
    [...marks].filter(([, kind]) => CYCLE.includes(kind)).map(([place]) => place),
  );
  if (shown.label === "names") names(drawing);
  else if (shown.label !== false) letters(drawing, numbered);
  const radius = Math.max(6.5, Math.min(10, view.scale * view.radius * 0.045));
  const ends = spots(drawing, [...new Set(arrows.flat())]);
  for (const [from, to] of arrows) {
    const [start, end] = [numbered.get(from) ?? ends.get(from), numbered.get(to) ?? ends.get(to)];
    if (!start || !end) continue;
    if (from === to) {
      if (start.seen) spin(ctx, start.x, start.y, radius + 4);
      continue;
    }
    const kind = marks.get(start.seen ? to : from);
    const number = kind && CYCLE.includes(kind) ? String(CYCLE.indexOf(kind) + 1) : "";
    const fro = arrows.some(([other, another]) => other === to && another === from);
    arrow(ctx, start, end, view, radius + 2, number, fro);
  }
  for (const [place, spot] of numbered) {
    const kind = marks.get(place);
    if (kind && spot.seen) badge(ctx, spot.x, spot.y, String(CYCLE.indexOf(kind) + 1), radius);
  }
  cursorLine(drawing);
  tip(drawing);
}

/**
 * Where places are, as one sticker each.
 * @param {Drawing} drawing
 * @param {Place[]} places
 * @returns {Spots}
 */
function spots({ body, view, tables, shown }, places) {
  /** @type {Spots} */
  const result = new Map();
  if (!places.length) return result;
  const own = places.map((place) => placed(tables, place));
  if (body instanceof Board) {
    places.forEach((place, k) => result.set(place, body.anchor(view, own[k].slot)));
    return result;
  }
  const anchors = new Map(
    own
      .flatMap(({ slot }) => body.ofSlot[slot])
      .map((sticker) => [sticker, body.anchor(view, sticker, shown.motion)]),
  );
  /** @param {number} sticker */
  const room = (sticker) => {
    const anchor = anchors.get(sticker);
    return anchor?.seen ? anchor.room : 0;
  };
  // Of one type, stickers of one class stand for them.
  for (const type of new Set(own.map(({ slot }) => tables.typeOf[slot]))) {
    const those = own.map((_, k) => k).filter((k) => tables.typeOf[own[k].slot] === type);
    const alike = those.every((k) => own[k].placement !== null);
    const chosen = alike
      ? body.standFor(those.map((k) => own[k].placement ?? tables.home[own[k].slot]), room)
      : those.map((k) => body.ofSlot[own[k].slot].reduce((a, b) => (room(b) > room(a) ? b : a)));
    those.forEach((k, n) => {
      const anchor = anchors.get(chosen[n]);
      if (anchor) result.set(places[k], anchor);
    });
  }
  return result;
}

/**
 * Letters where faces' axes come out, clear of numbers.
 * @param {Drawing} drawing
 * @param {Spots} numbered
 */
function letters({ ctx, body, view, tables }, numbered) {
  const faces = tables.data.faces;
  if (!faces || body instanceof Board) return;
  const size = view.scale * view.radius * LETTERS.share;
  const busy = [...numbered.values()].filter((spot) => spot.seen);
  faces.name.forEach((name, face) => {
    const at = body.letter(view, face);
    const hidden = busy.some((spot) => Math.hypot(spot.x - at.x, spot.y - at.y) < 18);
    if (at.facing < LETTER_FACING || hidden) return;
    const own = Math.max(LETTERS.smallest, Math.min(LETTERS.largest, size));
    writing(ctx, name, at.x, at.y, own, INK, PAPER);
  });
}

/**
 * Names of stickers, as one types them, where there is room; of a slot whose stickers show no
 * twist, the slot's on the roomiest.
 * @param {Drawing} drawing
 */
function names({ ctx, body, view, tables, shown }) {
  if (body instanceof Board) return;
  /** @param {string} name @param {import("./stickers.js").Anchor} spot */
  const write = (name, { x, y, room, seen }) => {
    // A letter is about 0.65 of its size wide, in common sans-serif type.
    const size = Math.min(NAMES.largest, (room * 1.9) / (0.65 * Math.max(name.length, 1.4)));
    if (seen && size >= NAMES.smallest) writing(ctx, name, x, y, size, INK, PAPER);
  };
  body.ofSlot.forEach((stickers, slot) => {
    const spots = stickers.map((sticker) => body.anchor(view, sticker, shown.motion));
    const named = stickers.map((sticker) => (tables.data.stickers?.placement[sticker] ?? -1) >= 0);
    spots.forEach((spot, k) => named[k] && write(tables.stickerNames[stickers[k]], spot));
    if (named.includes(true)) return;
    write(tables.slotNames[slot], spots.reduce((a, b) => (b.seen && (!a.seen || b.room > a.room) ? b : a)));
  });
}

/**
 * A line around the sticker that the keys have reached.
 * @param {Drawing} drawing
 */
function cursorLine({ ctx, body, view, shown }) {
  if (shown.cursor === null || shown.motion) return;
  ctx.beginPath();
  if (body instanceof Board) {
    const { x, y, room } = body.anchor(view, shown.cursor);
    ctx.arc(x, y, room + 2.5, 0, 2 * Math.PI);
  } else {
    const patch = body.place(view, shown.cursor);
    if (!patch || patch.outside) return;
    ctx.save();
    if (body instanceof Ball) {
      ctx.arc(view.x, view.y, view.scale + 1.5, 0, 2 * Math.PI);
      ctx.clip();
      ctx.beginPath();
    }
    trace(ctx, patch.outline);
  }
  ctx.lineJoin = "round";
  for (const [colour, wide] of /** @type {const} */ ([[INK, 7], [PAPER, 4.4], [INK, 1.6]])) {
    ctx.strokeStyle = colour;
    ctx.lineWidth = wide;
    ctx.stroke();
  }
  if (!(body instanceof Board)) ctx.restore();
}

/**
 * What the pointer or the keys are at, beside it.
 * @param {Drawing} drawing
 */
function tip(drawing) {
  const { ctx, canvas, shown } = drawing;
  const { pointed } = shown;
  if (!pointed || !shown.tips || shown.motion) return;
  const number = pointed.sticker < 0 ? pointed.slot : pointed.sticker;
  const spot = drawing.whereIs(number);
  // Who is there may have changed since.
  const text = told(drawing.pickOf(number));
  ctx.font = `600 13px ${FONT}`;
  const wide = ctx.measureText(text).width + 14;
  const x = Math.max(wide / 2 + 1, Math.min(canvas.clientWidth - wide / 2 - 1, spot.x));
  const y = spot.y > 40 ? spot.y - 28 : spot.y + 30;
  ctx.beginPath();
  ctx.rect(x - wide / 2, y - 11, wide, 22);
  ctx.fillStyle = PAPER;
  ctx.strokeStyle = GREY;
  ctx.lineWidth = 1;
  ctx.fill();
  ctx.stroke();
  writing(ctx, text, x, y, 13, INK);
}
