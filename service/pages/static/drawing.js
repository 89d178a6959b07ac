/**
 * A puzzle on a canvas: any compiled puzzle, turnable by drag, keys and touch, its turns animated.
 *
 * A page makes `new Drawing(canvas, data)` from `GET /api/puzzles/{puzzle}/drawing`. Places are given
 * as "p12" or 12 for a placement, "s7" for a slot. The drawing tells what happens by events: "pick"
 * (a sticker was clicked, tapped, or chosen with Enter), "point" (the pointer or the keys are at
 * another sticker; at none where `detail` is null) and "view" (it is seen from elsewhere).
 */

import { Ball } from "./ball.js";
import { Board } from "./board.js";
import { pointOf, stickerAt } from "./finding.js";
import { Hands } from "./hands.js";
import { helping, saying } from "./help.js";
import { CYCLE, Patterns } from "./ink.js";
import { overlay } from "./overlay.js";
import { paintBall, paintBoard, paintSolid } from "./painting.js";
import { byPiece, moved, pickOf, placed } from "./picks.js";
import { Solid } from "./solid.js";
import { Tables, effectOf, firstBlocked, nothing } from "./state.js";
import { Running } from "./time.js";
import { SAME, View, axisFrame, between, rotation, times, transposed, unit, upright } from "./view.js";

export { KEYS } from "./hands.js";

/** @typedef {import("./state.js").DrawingData} DrawingData */
/** @typedef {import("./state.js").Effect} Effect */
/** @typedef {import("./ink.js").Kind} Kind */
/** @typedef {import("./stickers.js").Motion} Motion */
/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {import("./picks.js").Place} Place */
/** @typedef {boolean | "types" | "names"} Label */
/**
 * @typedef {object} Options
 * @property {Label} [label] what stands on the stickers; letters of faces if it is not given
 * @property {HTMLElement} [live] where it is said what the keys reach; one is made where none is given
 * @property {boolean} [turnable] whether drag and keys turn the view; they do unless this is false
 * @property {boolean} [tips] whether names are shown on pointing; they are unless this is false
 */

/** Milliseconds of a quarter turn, and of a change of view. */
const TURN_TIME = 360;
const VIEW_TIME = 300;
/** The colour between stickers, on light pages and on dark ones. */
const BODY = { light: "#2B2B2B", dark: "#454545" };

export class Drawing extends EventTarget {
  /** @type {Map<Place, Kind>} */
  #marks = new Map();
  /** @type {[Place, Place][]} */
  #arrows = [];
  #fade = false;
  #follow = false;
  #running = new Running();
  /** @type {Promise<unknown>} */
  #queue = Promise.resolve();
  #generation = 0;
  #wanted = 0;
  #gone = false;
  #patterns = new Patterns(1);

  /**
   * @param {HTMLCanvasElement} canvas its size is that of its box on the page
   * @param {DrawingData} data
   * @param {Options} [options]
   */
  constructor(canvas, data, options = {}) {
    super();
    const ctx = canvas.getContext("2d");
    if (!ctx) throw new Error("this browser draws on no canvas");
    this.canvas = canvas;
    this.ctx = ctx;
    this.tables = new Tables(data);
    const flat = data.shape === "written";
    const body = flat ? Board : data.shape === "ball" ? Ball : Solid;
    this.body = new body(this.tables);
    this.view = new View(
      flat ? SAME : upright([...data.right, ...data.upward, ...data.toward]),
      data.radius / data.unit + (this.body instanceof Board ? this.body.radius : 0),
    );
    /** @type {Effect} */
    this.effect = nothing(this.tables);
    /** The pieces, by home slots, of which nobody has said where they are. @type {ReadonlySet<number>} */
    this.unknown = new Set();
    /** What is shown beside the state; for the modules that a drawing is made of. */
    this.shown = {
      label: /** @type {Label} */ (options.label ?? true),
      tips: options.tips ?? true,
      motion: /** @type {Motion | null} */ (null),
      cursor: /** @type {number | null} */ (null),
      pointed: /** @type {Pick | null} */ (null),
    };
    this.dark = matchMedia("(prefers-color-scheme: dark)");
    this.calm = matchMedia("(prefers-reduced-motion: reduce)");
    this.own = options.live ? null : saying(canvas);
    this.live = options.live ?? this.own;
    canvas.tabIndex = 0;
    canvas.classList.add("drawing");
    canvas.setAttribute("role", "application");
    canvas.setAttribute("aria-roledescription", "drawing");
    if (!canvas.hasAttribute("aria-label")) {
      canvas.setAttribute("aria-label", `${data.puzzle}. The question mark says the keys.`);
    }
    this.hands = new Hands(this, options.turnable ?? true);
    this.help = helping(canvas, this.hands.turnable);
    this.dark.addEventListener("change", this.#repaint);
    this.observer = new ResizeObserver(() => this.#fit());
    this.observer.observe(canvas);
    this.#fit();
  }

  #repaint = () => this.paint();

  // --- states and turns -----------------------------------------------------------------------

  /**
   * Set the state after a word from solved, or an effect, at once; what is on its way ends.
   * @param {readonly number[] | Effect} word
   */
  set(word) {
    this.#generation++;
    this.#running.end();
    this.shown.motion = null;
    this.effect = word instanceof Uint16Array ? word.slice() : effectOf(this.tables, word);
    this.paint();
  }

  /**
   * Do a turn, after those that are on their way. What comes back is false where the turn is
   * blocked, and where `set` came between.
   * @param {number} turn
   * @param {{animate?: boolean, time?: number}} [options] milliseconds for a quarter turn
   * @returns {Promise<boolean>}
   */
  turn(turn, { animate = true, time = TURN_TIME } = {}) {
    const generation = this.#generation;
    const done = this.#queue.then(() => this.#turn(turn, animate && !this.calm.matches, time, generation));
    this.#queue = done.catch(() => undefined);
    return done;
  }

  /**
   * @param {number} turn
   * @param {boolean} animate
   * @param {number} time
   * @param {number} generation
   */
  async #turn(turn, animate, time, generation) {
    const stale = () => generation !== this.#generation || this.#gone;
    if (stale() || firstBlocked(this.tables, [turn], this.effect)) return false;
    if (animate) {
      const quarters = Math.abs(this.#angle(turn)) / (Math.PI / 2);
      await this.#running.run(time * Math.max(0.6, Math.min(1.8, quarters)), (share) =>
        this.hold(turn, share),
      );
    }
    if (stale()) return false;
    this.shown.motion = null;
    this.effect = effectOf(this.tables, [turn], this.effect);
    if (this.#follow) {
      /** @param {Place} place */
      const on = (place) => moved(this.tables, place, turn);
      this.#marks = new Map([...this.#marks].map(([place, kind]) => [on(place), kind]));
      this.#arrows = this.#arrows.map(([from, to]) => [on(from), on(to)]);
    }
    this.paint();
    return true;
  }

  /**
   * Show a turn on its way, or with null none; the state stays as it is.
   * @param {number | null} turn
   * @param {number} [share] of the way, 0 to 1
   */
  hold(turn, share = 0.5) {
    this.shown.motion = null;
    if (turn !== null) {
      const layer = this.tables.turnLayer[turn];
      const axis = unit(this.tables.data.layers.axis[layer]);
      const matrix = axis.length ? rotation(axis, this.#angle(turn) * share) : SAME;
      this.shown.motion = { layer, turn, share, rotation: matrix };
    }
    this.paintNow();
  }

  /**
   * The angle of a turn, the shorter way round; clockwise as seen from outside is below 0.
   * @param {number} turn
   */
  #angle(turn) {
    const { amounts, steps, turnLayer } = this.tables;
    const full = steps[turnLayer[turn]];
    const amount = amounts[turn] > full / 2 ? amounts[turn] - full : amounts[turn];
    return (-2 * Math.PI * amount) / full;
  }

  // --- marks and labels -----------------------------------------------------------------------

  /**
   * Mark what stands at places; marks that were there are gone. Raises RangeError for other places.
   * @param {Record<string, Kind> | Map<Place, Kind>} marks
   * @param {{fade?: boolean, follow?: boolean}} [options] whether what is not marked is paler (it is
   *   where a cycle is marked); whether marks and arrows go along with turns
   */
  mark(marks, { fade, follow = false } = {}) {
    const own = marks instanceof Map ? new Map(marks) : new Map(Object.entries(marks));
    for (const place of own.keys()) placed(this.tables, place);
    this.#marks = own;
    this.#fade = fade ?? [...own.values()].some((kind) => CYCLE.includes(kind));
    this.#follow = follow;
    this.paint();
  }

  /**
   * Draw arrows from place to place; those that were there are gone.
   * @param {[Place, Place][]} pairs
   */
  arrows(pairs) {
    for (const place of pairs.flat()) placed(this.tables, place);
    this.#arrows = [...pairs];
    this.paint();
  }

  /**
   * What stands on the stickers: `true` letters of faces, "types" those and signs of piece types,
   * "names" the names of slots, `false` nothing.
   * @param {Label} what
   */
  label(what) {
    this.shown.label = what;
    this.paint();
  }

  // --- views ----------------------------------------------------------------------------------

  /**
   * Hold the puzzle with other faces up and in front, by their letters; false where they name none.
   * @param {{up: string, front: string}} held
   * @param {{animate?: boolean}} [options]
   * @returns {Promise<boolean>}
   */
  async look({ up, front }, { animate = false } = {}) {
    const { data } = this.tables;
    const usual = axisFrame(data, data.up, data.front);
    const other = axisFrame(data, up, front);
    if (!usual || !other) return false;
    return this.#see(times(this.view.first, times(transposed(usual), other)), animate);
  }

  /** See the other side; again, and it is this one. @param {{animate?: boolean}} [options] */
  behind({ animate = true } = {}) {
    return this.#see(this.view.opposite, animate);
  }

  /** See it as at first. @param {{animate?: boolean}} [options] */
  first({ animate = false } = {}) {
    return this.#see(this.view.first, animate);
  }

  /**
   * Turn the view, as by a hand on its front: angles to the right and down.
   * @param {number} right
   * @param {number} down
   */
  spin(right, down) {
    this.view.spin(right, down);
    this.tell("view", null);
    this.paint();
  }

  /**
   * @param {number[]} matrix
   * @param {boolean} animate
   */
  async #see(matrix, animate) {
    if (this.body instanceof Board) return false;
    const from = this.view.matrix;
    if (animate && !this.calm.matches) {
      await this.#running.run(VIEW_TIME, (share) => {
        this.view.matrix = between(from, matrix, share);
        this.paintNow();
      });
    }
    if (this.#gone) return false;
    this.view.matrix = upright(matrix);
    this.tell("view", null);
    this.paint();
    return true;
  }

  // --- what is where --------------------------------------------------------------------------

  /**
   * The sticker at a point of the canvas, in CSS pixels from its upper left; null where there is none.
   * @param {number} x
   * @param {number} y
   * @returns {Pick | null}
   */
  at(x, y) {
    const number = stickerAt(this.body, this.view, x, y);
    return number === null ? null : this.pickOf(number);
  }

  /**
   * A point of a sticker's place, or on a board of a slot, with room around it, and whether it is seen.
   * @param {number} number
   * @returns {{x: number, y: number, seen: boolean, room: number}}
   */
  whereIs(number) {
    return pointOf(this.body, this.view, number);
  }

  /**
   * A sticker's place, or on a board a slot's, and who is there.
   * @param {number} number
   */
  pickOf(number) {
    return pickOf(this.tables, this.effect, number, this.unknown);
  }

  // --- painting and telling -------------------------------------------------------------------

  /** Paint again with the next frame. */
  paint() {
    if (this.#wanted || this.#gone) return;
    this.#wanted = requestAnimationFrame(() => {
      this.#wanted = 0;
      this.paintNow();
    });
  }

  /** Paint at once. */
  paintNow() {
    if (this.#gone) return;
    const { ctx, canvas, body, view, tables, effect } = this;
    const ratio = canvas.width / Math.max(canvas.clientWidth, 1);
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.clearRect(0, 0, canvas.clientWidth, canvas.clientHeight);
    const places = Uint16Array.from(tables.home, (home) => effect[home]);
    const standing = { places, motion: this.shown.motion };
    const look = {
      marks: byPiece(tables, effect, this.#marks),
      fade: this.#fade,
      body: this.dark.matches ? BODY.dark : BODY.light,
      patterns: this.#patterns,
      signs: this.shown.label === "types",
    };
    if (body instanceof Board) paintBoard(ctx, body, view, standing, look);
    else if (body instanceof Ball) paintBall(ctx, body, view, standing, look);
    else paintSolid(ctx, body, view, standing, look);
    overlay(this, this.#marks, this.#arrows);
  }

  #fit() {
    const { canvas } = this;
    const ratio = window.devicePixelRatio || 1;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (!width || !height) return;
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    this.view.fit(width, height);
    if (this.#patterns.ratio !== ratio) this.#patterns = new Patterns(ratio);
    this.paintNow();
  }

  /**
   * Say something to those who do not see it.
   * @param {string} text
   */
  say(text) {
    if (this.live) this.live.textContent = text;
  }

  /**
   * @param {"pick" | "point" | "view"} type
   * @param {Pick | null} detail
   */
  tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  /** Take it off the page; the canvas stays. */
  destroy() {
    this.#gone = true;
    this.#running.end();
    cancelAnimationFrame(this.#wanted);
    this.hands.end();
    this.dark.removeEventListener("change", this.#repaint);
    this.observer.disconnect();
    this.own?.remove();
    this.help.remove();
  }
}
