/** A case on the drawing: what is out of place, and then its sequence, turn by turn. */

import { hold, stepper } from "./holding.js";
import { markCycles, word } from "./live.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./parts.js").Part} Part */
/**
 * What of a case is drawn: `before` leads from the solved puzzle to it; `shown` is "case", or "solved"
 * where blocks are on the way, so that only arrows say what is to be done.
 * @typedef {{cycles: string[][], shown: string, before: string, parts: {label: string, turns: string}[], notation: string}} Posed
 */

/** The most turns without brackets that are parts each by itself. */
const MOST_TURNS = 24;

export class Posing {
  /** What was wanted last; what comes for anything else is too late. */
  #wanted = 0;

  /**
   * @param {HTMLElement} figure
   * @param {HTMLElement} panel where the controls go that step through a sequence
   */
  constructor(figure, panel) {
    this.figure = figure;
    this.stepper = stepper(figure, panel);
  }

  /** @returns {Promise<Drawing | null>} the drawing, null where it did not come or is too late */
  async #drawing() {
    const own = ++this.#wanted;
    try {
      const drawing = await hold(this.figure);
      (await this.stepper()).drop();
      return own === this.#wanted ? drawing : null;
    } catch {
      // It was said.
      return null;
    }
  }

  /**
   * Show a case as it is met, held as usual.
   * @param {Posed} own
   * @param {boolean} arrows whether what goes where is shown, and not colours alone
   */
  async show(own, arrows) {
    const drawing = await this.#drawing();
    if (!drawing) return;
    const { tables } = drawing;
    drawing.set(word(tables, own.before));
    void drawing.first();
    const found = own.cycles.map((cycle) => cycle.map((name) => tables.placementNames.indexOf(name)));
    if ((arrows || own.shown !== "case") && !found.flat().includes(-1)) markCycles(drawing, found);
    else clear(drawing);
  }

  /** Show the solved puzzle. */
  async solved() {
    const drawing = await this.#drawing();
    if (drawing) clear(drawing);
  }

  /**
   * Let the sequence of a case be stepped through, from the case on.
   * @param {Posed} own
   * @param {HTMLElement} strip where its parts go
   */
  async step(own, strip) {
    const drawing = await this.#drawing();
    if (!drawing) return;
    const stepping = await this.stepper();
    const { tables } = drawing;
    /** @type {Part[]} */
    const parts = own.parts.flatMap(({ label, turns }) => {
      const made = word(tables, turns);
      if (label || made.length > MOST_TURNS) return [{ label: label || "turns", turns: made }];
      return made.map((turn) => ({ label: `turn ${tables.turnNames[turn]}`, turns: [turn] }));
    });
    const cycle = own.cycles.length === 1 ? own.cycles[0] : [];
    stepping.take(parts, cycle, own.notation, word(tables, own.before));
    strip.replaceChildren(stepping.strip());
  }
}

/** @param {Drawing} drawing */
function clear(drawing) {
  drawing.mark({});
  drawing.arrows([]);
}
