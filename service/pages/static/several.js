/** Another effect than a three-cycle on the page on which one asks: its cycles are clicked in turn. */

import { part } from "./live.js";
import { markEffect } from "./effect_marks.js";
import { NOTHING, clicked, closed, read, text, undone } from "./effect_wish.js";
import { whyNot } from "./possible.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./effect_wish.js").Effect} Effect */
/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {import("./possible.js").Allowed} Allowed */

const BEGIN = "Click the places of a cycle in order, and the first again to close it. Another sticker of the same piece twists it.";

export class Several {
  /** Whether clicks make cycles, as many as are wanted; else they make one of three. */
  on = false;
  /** What was there before each click, to be undone. @type {string[]} */
  #before = [];

  /**
   * @param {Drawing} drawing
   * @param {HTMLInputElement} input the field that has what is wanted as text
   * @param {{say: (text: string) => void, write: (text: string) => void, allowed: () => Allowed}} page
   *   what the page does: say something, put a text into the field, know what may turn and move
   */
  constructor(drawing, input, page) {
    this.drawing = drawing;
    this.input = input;
    this.page = page;
    this.toggle = /** @type {HTMLButtonElement} */ (part("several"));
    /** @param {string} id @param {() => void} does */
    const pressed = (id, does) =>
      part(id).addEventListener("click", (event) => {
        if (/** @type {HTMLElement} */ (event.currentTarget).ariaDisabled !== "true") does();
      });
    pressed("close", () => this.#close());
    pressed("undo", () => this.#undo());
    this.toggle.addEventListener("click", () => {
      this.take(!this.on);
      page.write("");
      page.say(this.on ? BEGIN : "Three clicks ask for a three-cycle again.");
    });
    part("clicking").hidden = false;
  }

  /** Take it up, or let go of it. @param {boolean} on */
  take(on) {
    this.on = on;
    this.#before = [];
    this.toggle.setAttribute("aria-pressed", String(on));
    for (const id of ["close", "undo", "of-several"]) part(id).hidden = !on;
    part("of-three").hidden = on;
    if (on) /** @type {HTMLDetailsElement} */ (part("others")).open = true;
    this.#able();
  }

  /** What is in the field, as far as the page can read it. @returns {Effect | null} */
  get effect() {
    return this.input.value.trim() ? read(this.drawing.tables, this.input.value) : NOTHING;
  }

  /** The text that is asked for: what is open is closed. */
  get whole() {
    const own = this.effect;
    return own ? text(this.drawing.tables, closed(own)) : this.input.value.trim();
  }

  /** Mark what is chosen so far. */
  mark() {
    markEffect(this.drawing, this.effect ?? NOTHING);
    this.#able();
  }

  /** A sticker was chosen. @param {Pick} pick */
  picked(pick) {
    const { drawing, page } = this;
    const { tables } = drawing;
    const own = this.effect;
    if (!own) {
      page.say("What is typed cannot be read here; ask for it, or undo it first.");
      return;
    }
    const next = clicked(tables, own, pick);
    if (!next.wrong) {
      const { open } = next.effect;
      // A piece alone may be one that is twisted in its slot, which need not leave it.
      const alone = open.length === 1 && tables.twists[tables.typeOf[pick.slot]] > 1;
      const why = open.includes(pick.placement) && !alone ? whyNot(tables, open, page.allowed()) : null;
      if (why) {
        page.say(`Impossible: ${why}.`);
        return;
      }
      this.#put(next.effect);
    }
    page.say(next.said);
  }

  #close() {
    const own = this.effect;
    if (!own) return;
    this.#put(closed(own));
    this.page.say("The cycle is closed. Click the next one, or ask.");
  }

  #undo() {
    const { tables } = this.drawing;
    const last = this.#before.pop();
    const own = this.effect;
    // What was typed is undone as if it had been clicked.
    this.page.write(last ?? (own ? text(tables, undone(tables, own)) : ""));
    this.page.say(this.input.value ? `Undone: ${this.input.value}` : "Nothing is chosen.");
  }

  /** @param {Effect} next */
  #put(next) {
    const before = this.input.value;
    this.#before.push(before);
    this.page.write(text(this.drawing.tables, next));
  }

  /** Let the buttons say whether they have something to do. */
  #able() {
    part("close").ariaDisabled = String((this.effect?.open.length ?? 0) < 2);
    part("undo").ariaDisabled = String(this.input.value === "");
  }
}
