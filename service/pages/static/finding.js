/** Which sticker is at a point of the canvas, and which point a sticker is best pointed at by. */

import { Ball } from "./ball.js";
import { Board } from "./board.js";
import { holds } from "./ink.js";
import { spot } from "./stickers.js";

/** @typedef {import("./solid.js").Solid} Solid */
/** @typedef {import("./view.js").View} View */

/**
 * The number of the sticker, or on a board of the slot, whose place is at a point; null for none.
 * @param {Solid | Ball | Board} body
 * @param {View} view
 * @param {number} x
 * @param {number} y
 * @returns {number | null}
 */
export function stickerAt(body, view, x, y) {
  if (body instanceof Board) {
    const slot = body.points.findIndex((_, k) => {
      const disc = body.anchor(view, k);
      return Math.hypot(disc.x - x, disc.y - y) <= disc.room;
    });
    return slot < 0 ? null : slot;
  }
  if (!onBall(body, view, x, y)) return null;
  for (let sticker = 0; sticker < body.outlines.length; sticker++) {
    const patch = body.place(view, sticker);
    if (patch && holds(patch.outline, x, y) !== patch.outside) return sticker;
  }
  return null;
}

/**
 * A point of a sticker's place, or on a board of a slot, with room around it, and whether it is seen.
 * @param {Solid | Ball | Board} body
 * @param {View} view
 * @param {number} number
 * @returns {{x: number, y: number, seen: boolean, room: number}}
 */
export function pointOf(body, view, number) {
  if (body instanceof Board) return body.anchor(view, number);
  const anchor = body.anchor(view, number, null);
  const patch = body.place(view, number);
  if (!anchor.seen || !patch || patch.outside) return { ...anchor, seen: false };
  const best = spot(patch.outline, anchor.x, anchor.y);
  return { ...best, seen: best.room > 0 && onBall(body, view, best.x, best.y) };
}

/**
 * Whether a point is not beyond a ball's horizon.
 * @param {Solid | Ball} body
 * @param {View} view
 * @param {number} x
 * @param {number} y
 */
function onBall(body, view, x, y) {
  return !(body instanceof Ball) || Math.hypot(x - view.x, y - view.y) <= view.scale;
}
