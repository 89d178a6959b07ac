/** What is clicked where a state is entered as cycles: places in order, until a cycle is closed. */

import { NOTHING, clicked, closed, read, steps, text, undone } from "./effect_wish.js";
import { button, element } from "./element.js";
import { CYCLE } from "./ink.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./effect_wish.js").Effect} Effect */
/** @typedef {import("./ink.js").Kind} Kind */
/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {import("./picks.js").Place} Place */
/** @typedef {import("./seats.js").Seats} Seats */

export class Cycling {
  /** @type {Effect} */
  effect = NOTHING;
  /** What was typed that only the service can read; what is clicked comes after it. */
  #typed = "";

  /**
   * @param {Seats} seats
   * @param {(said: string) => void} changed something was clicked, and what there is to say of it
   */
  constructor(seats, changed) {
    this.seats = seats;
    this.tables = seats.tables;
    this.changed = changed;
    const close = () => this.#take(closed(this.effect), "The cycle is closed.");
    const back = () => this.#take(undone(this.tables, this.effect), "The last click is undone.");
    this.close = button("Close the cycle", close, { class: "plain" });
    this.back = button("Undo the last click", back, { class: "plain" });
    this.panel = element("p", { class: "row" }, this.close, this.back);
    this.refresh();
  }

  /** Whether the last cycle may still go on. */
  get open() {
    return this.effect.open.length > 0;
  }

  /** Whether all that was said is known here: nothing that only the service can read. */
  get whole() {
    return !this.#typed;
  }

  /** Let the cycle that may still go on end here. */
  end() {
    this.effect = { closed: closed(this.effect).closed, open: [] };
    this.refresh();
  }

  /** What was said as the service reads it: a cycle that may go on stands as if it were closed. */
  get text() {
    const { closed: cycles, open } = this.effect;
    const all = open.length > 1 ? [...cycles, open] : cycles;
    return [this.#typed, text(this.tables, { closed: all, open: [] })].filter((part) => part).join(" ");
  }

  /** Take up what was typed, as far as it can be read here. @param {string} typed */
  read(typed) {
    const own = read(this.tables, typed);
    this.#typed = own ? "" : typed;
    this.effect = own ?? NOTHING;
    this.refresh();
  }

  /** Let the seats be as the cycles that are closed say. */
  seat() {
    const { seats } = this;
    seats.clear();
    for (const cycle of this.effect.closed) {
      cycle.forEach((place, k) => seats.put(cycle[(k + 1) % cycle.length], place));
    }
  }

  /** Mark the cycle that may still go on. @param {Drawing} drawing */
  mark(drawing) {
    const { steps: row, arrows } = steps(this.tables, { closed: [], open: this.effect.open });
    /** @param {number} place @returns {Place} */
    const place = (place) => `p${place}`;
    /** @type {[Place, Kind][]} */
    const marks = row.map((own, k) => [place(own), CYCLE[k] ?? "moved"]);
    drawing.mark(new Map(marks), { fade: false });
    drawing.arrows(arrows.map(([from, to]) => [place(from), place(to)]));
  }

  refresh() {
    this.close.setAttribute("aria-disabled", String(this.effect.open.length < 2));
    this.back.setAttribute("aria-disabled", String(this.effect.open.length + this.effect.closed.length === 0));
  }

  /** A sticker was clicked. @param {Pick} pick */
  picked(pick) {
    const { typeOf, slotNames, data } = this.tables;
    if (!data.types.moves[typeOf[pick.slot]]) return this.changed(`${slotNames[pick.slot]} never moves.`);
    const { effect, said } = clicked(this.tables, this.effect, pick);
    this.#take(effect, said);
  }

  /**
   * @param {Effect} effect
   * @param {string} said
   */
  #take(effect, said) {
    const same = effect === this.effect;
    this.effect = effect;
    this.refresh();
    if (!same || effect.open.length || effect.closed.length) this.changed(said);
  }
}
