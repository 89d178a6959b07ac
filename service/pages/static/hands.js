/** Hands on a drawing: drag and touch turn it, pointing names stickers, keys do both. */

import { Board } from "./board.js";
import { told } from "./picks.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./picks.js").Pick} Pick */

/** What the keys do while the drawing has the focus. */
export const KEYS = /** @type {const} */ ([
  ["arrow keys", "turn the view"],
  ["Home", "the first view again"],
  ["End", "the other side"],
  ["n, p", "the next or the previous sticker that is seen"],
  ["Enter", "choose this sticker"],
  ["Escape", "leave the stickers"],
  ["l", "letters, signs of piece types, names, or nothing on the stickers"],
  ["?", "show and say these keys"],
]);

/** The first keys turn the view. */
const TURNING = 3;

/** The keys of a drawing whose view turns, or of one that does not. @param {boolean} turnable */
export function keysOf(turnable) {
  return turnable ? KEYS : KEYS.slice(TURNING);
}

const LABELS = /** @type {const} */ ([
  [true, "letters on the faces"],
  ["types", "signs of piece types"],
  ["names", "names of stickers"],
  [false, "nothing on the stickers"],
]);
/** @type {Readonly<Record<string, [number, number]>>} */
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
/** The step of an arrow key, and how far a pointer may move and still click, in pixels. */
const KEY_STEP = Math.PI / 12;
const CLICK = 6;
/** What stands in one row, as the keys go: heights up to this apart, as a share of the radius. */
const ROW = 0.12;

export class Hands {
  #over = new AbortController();
  /** @type {{x: number, y: number, startX: number, startY: number, moved: boolean} | null} */
  #drag = null;

  /**
   * @param {Drawing} drawing
   * @param {boolean} turnable whether drag and keys turn the view
   */
  constructor(drawing, turnable) {
    this.drawing = drawing;
    this.turnable = turnable && !(drawing.body instanceof Board);
    const { canvas } = drawing;
    const { signal } = this.#over;
    canvas.addEventListener("pointerdown", (event) => this.#down(event), { signal });
    canvas.addEventListener("pointermove", (event) => this.#move(event), { signal });
    canvas.addEventListener("pointerup", () => this.#up(), { signal });
    canvas.addEventListener("pointercancel", () => (this.#drag = null), { signal });
    canvas.addEventListener("pointerleave", () => this.#point(null), { signal });
    // A touch that begins on the puzzle turns it; one that begins beside it scrolls the page.
    canvas.addEventListener(
      "touchstart",
      (event) => {
        const [touch] = event.touches;
        if (event.touches.length !== 1 || !this.turnable) return;
        const { x, y } = this.#local(touch);
        if (drawing.at(x, y)) event.preventDefault();
      },
      { signal, passive: false },
    );
    canvas.addEventListener(
      "keydown",
      (event) => {
        if (event.ctrlKey || event.metaKey || event.altKey) return;
        if (this.#key(event.key)) event.preventDefault();
      },
      { signal },
    );
    canvas.addEventListener("blur", () => this.#leave(), { signal });
  }

  /** Let go. */
  end() {
    this.#over.abort();
  }

  /** @param {{clientX: number, clientY: number}} point */
  #local(point) {
    const box = this.drawing.canvas.getBoundingClientRect();
    return { x: point.clientX - box.left, y: point.clientY - box.top };
  }

  /** @param {PointerEvent} event */
  #down(event) {
    if (event.button > 0 || !event.isPrimary) return;
    const { x, y } = this.#local(event);
    this.#drag = { x, y, startX: x, startY: y, moved: false };
    this.drawing.canvas.setPointerCapture(event.pointerId);
  }

  /** @param {PointerEvent} event */
  #move(event) {
    const { drawing } = this;
    const { x, y } = this.#local(event);
    const drag = this.#drag;
    if (!drag) {
      this.#point(event.pointerType === "touch" ? null : drawing.at(x, y));
      return;
    }
    drag.moved ||= Math.hypot(x - drag.startX, y - drag.startY) > CLICK;
    if (drag.moved && this.turnable) {
      const reach = drawing.view.scale * drawing.view.radius;
      this.#point(null);
      drawing.spin((x - drag.x) / reach, (y - drag.y) / reach);
    }
    [drag.x, drag.y] = [x, y];
  }

  #up() {
    const drag = this.#drag;
    this.#drag = null;
    if (!drag || drag.moved) return;
    const found = this.drawing.at(drag.startX, drag.startY);
    this.drawing.shown.cursor = null;
    this.#point(found);
    if (found) this.drawing.tell("pick", found);
  }

  /**
   * @param {string} key
   * @returns {boolean} whether it does anything here
   */
  #key(key) {
    const { drawing } = this;
    const { shown } = drawing;
    if (this.turnable && key in WAYS) {
      const [right, down] = WAYS[key];
      this.#leave();
      drawing.spin(right * KEY_STEP, down * KEY_STEP);
    } else if (this.turnable && (key === "Home" || key === "End")) {
      this.#leave();
      void (key === "Home" ? drawing.first({ animate: true }) : drawing.behind());
    } else if (key === "n" || key === "p") {
      this.#step(key === "n" ? 1 : -1);
    } else if ((key === "Enter" || key === " ") && shown.cursor !== null) {
      const found = drawing.pickOf(shown.cursor);
      drawing.say(`${found.stickerName} chosen`);
      drawing.tell("pick", found);
    } else if (key === "Escape" && shown.cursor !== null) {
      this.#leave();
    } else if (key === "l") {
      const now = LABELS.findIndex(([label]) => label === shown.label);
      const [label, says] = LABELS[(now + 1) % LABELS.length];
      drawing.label(label);
      drawing.say(says);
    } else if (key === "?") {
      drawing.help.open = !drawing.help.open;
      if (drawing.help.open) drawing.say(keysOf(this.turnable).map(([keys, does]) => `${keys}: ${does}`).join("; "));
    } else {
      return false;
    }
    return true;
  }

  /** The stickers that are seen (slots, on a board), as one reads: row by row. */
  #visible() {
    const { body, tables, view } = this.drawing;
    const count = body instanceof Board ? tables.slotNames.length : body.outlines.length;
    const seen = [];
    for (let number = 0; number < count; number++) {
      const { x, y, seen: isSeen } = this.drawing.whereIs(number);
      if (isSeen) seen.push({ number, x, y });
    }
    const row = Math.max(14, view.scale * view.radius * ROW);
    return seen
      .sort((a, b) => Math.round(a.y / row) - Math.round(b.y / row) || a.x - b.x)
      .map(({ number }) => number);
  }

  /** @param {number} by */
  #step(by) {
    const { drawing } = this;
    const seen = this.#visible();
    if (!seen.length) return;
    const { cursor } = drawing.shown;
    const here = cursor === null ? -1 : seen.indexOf(cursor);
    const next = here >= 0 ? (here + by + seen.length) % seen.length : by > 0 ? 0 : seen.length - 1;
    drawing.shown.cursor = seen[next];
    const found = drawing.pickOf(seen[next]);
    drawing.say(`${told(found)}, ${found.type}`);
    this.#point(found);
  }

  #leave() {
    this.drawing.shown.cursor = null;
    this.#point(null);
  }

  /** @param {Pick | null} found */
  #point(found) {
    const { drawing } = this;
    const before = drawing.shown.pointed;
    drawing.paint();
    if (found?.sticker === before?.sticker && found?.slot === before?.slot) return;
    drawing.shown.pointed = found;
    drawing.canvas.classList.toggle("pointing", found !== null);
    drawing.tell("point", found);
  }
}
