/** Steps through a sequence, part by part and turn by turn, and finds where somebody is in it. */

import { Finder } from "./lost.js";
import { button, counted, element, snapshot } from "./live.js";
import { firstBlocked, inverse, write } from "./state.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./live.js").Kind} Kind */
/** @typedef {import("./live.js").Place} Place */
/** @typedef {{label: string, turns: number[]}} Part */

/** The side of a small picture, in CSS pixels. */
const SMALL = 88;
const KINDS = /** @type {const} */ (["first", "second", "third"]);

/**
 * The parts of S [A, B] S', in order; those without turns are left out.
 * @param {import("./state.js").Tables} tables
 * @param {{setup: number[], a: number[], b: number[]}} form
 * @returns {Part[]}
 */
export function partsOf(tables, { setup, a, b }) {
  return [
    { label: "setup", turns: setup },
    { label: "A", turns: a },
    { label: "insert", turns: b },
    { label: "undo A", turns: inverse(tables, a) },
    { label: "insert back", turns: inverse(tables, b) },
    { label: "undo the setup", turns: inverse(tables, setup) },
  ].filter((part) => part.turns.length > 0);
}

export class Stepper {
  /** How many turns are done. */
  at = 0;
  #generation = 0;
  /** The part that is pointed at. @type {HTMLElement | null} */
  #pointed = null;

  /**
   * @param {Drawing} drawing
   * @param {HTMLElement} panel where the controls go
   * @param {(text: string) => void} say
   */
  constructor(drawing, panel, say) {
    this.drawing = drawing;
    this.panel = panel;
    this.say = say;
    /** @type {Part[]} */
    this.parts = [];
    /** @type {number[]} */
    this.word = [];
    /** @type {number[]} the placements of the cycle */
    this.cycle = [];
    /** @type {HTMLButtonElement[]} */
    this.buttons = [];
    /** @type {Finder | null} */
    this.finder = null;
    this.slider = element("input", { type: "range", min: "0", value: "0", id: "turn-done" });
    this.slider.addEventListener("input", () => this.go(Number(this.slider.value)));
    this.told = element("output", { for: "turn-done" });
    this.back = button("Back", () => this.step(-1), { class: "plain" });
    this.next = button("Next turn", () => this.step(1));
  }

  /**
   * Take a sequence up.
   * @param {Part[]} parts
   * @param {number[]} cycle
   * @param {string} name
   */
  take(parts, cycle, name) {
    this.parts = parts;
    this.word = parts.flatMap((part) => part.turns);
    this.cycle = cycle;
    this.slider.max = String(this.word.length);
    this.finder = new Finder(this.drawing.tables, this.word, (at) => this.go(at));
    this.panel.replaceChildren(
      element("p", { class: "words" }, name),
      element("label", { for: "turn-done" }, "Turns done"),
      this.slider,
      element("p", { class: "row" }, this.back, this.next, this.told),
    );
    this.panel.hidden = false;
    this.go(0, false);
  }

  /** Let go of the sequence; the drawing is solved. */
  drop() {
    this.#generation++;
    this.parts = [];
    this.word = [];
    this.panel.replaceChildren();
    this.panel.hidden = true;
    this.drawing.set([]);
  }

  /** Whether there is a sequence. */
  get taken() {
    return this.word.length > 0;
  }

  /**
   * Buttons for the parts, each with a small picture of what is there after it, and the way to find
   * out where one is.
   * @returns {HTMLElement}
   */
  strip() {
    const { drawing, parts } = this;
    const { tables } = drawing;
    let end = 0;
    this.buttons = parts.map((part) => {
      end += part.turns.length;
      const here = end;
      const own = button("", () => this.go(here), {
        class: "part",
        "aria-label": `${part.label}, ${write(tables, part.turns)}: the drawing after it`,
      });
      own.append(
        this.#small(here),
        element("span", {}, part.label),
        element("span", { class: "words" }, write(tables, part.turns)),
      );
      // Browsers say so, too, where a button comes to be under a pointer that does not move.
      own.addEventListener("pointermove", (event) => {
        const moved = event.movementX !== 0 || event.movementY !== 0;
        if (event.pointerType !== "mouse" || !moved || this.#pointed === own) return;
        this.#pointed = own;
        this.go(here, false);
      });
      own.addEventListener("pointerleave", () => (this.#pointed = null));
      return own;
    });
    this.go(this.at, false);
    return element(
      "div",
      { class: "strip" },
      element("div", { class: "parts", role: "group", "aria-label": "Parts, in order" }, ...this.buttons),
      this.finder?.panel ?? null,
    );
  }

  /**
   * A small picture of what is there after some turns.
   * @param {number} at
   */
  #small(at) {
    const { drawing } = this;
    const label = drawing.shown.label;
    drawing.label(false);
    this.#set(at);
    drawing.arrows([]);
    const small = snapshot(drawing, SMALL);
    drawing.label(label);
    return small;
  }

  /** The pieces of the cycle, marked where they are now. @param {number} at */
  #set(at) {
    const { drawing, word, cycle } = this;
    drawing.set(word.slice(0, at));
    this.#mark();
    if (at === 0) {
      /** @type {[Place, Place][]} */
      const pairs = cycle.map((place, k) => [`p${place}`, `p${cycle[(k + 1) % cycle.length]}`]);
      drawing.arrows(pairs);
    }
  }

  #mark() {
    const { drawing, cycle } = this;
    const places = cycle.map((place, k) => /** @type {const} */ ([`p${drawing.effect[place]}`, KINDS[k]]));
    drawing.mark(/** @type {Map<Place, Kind>} */ (new Map(places)), { fade: true, follow: true });
    drawing.arrows([]);
  }

  /**
   * Show the state after so many turns.
   * @param {number} at
   * @param {boolean} [speak]
   */
  go(at, speak = true) {
    this.#generation++;
    this.at = Math.max(0, Math.min(this.word.length, at));
    this.#set(this.at);
    this.#tell(speak);
  }

  /**
   * Do the next turn, or take the last one back.
   * @param {1 | -1} by
   */
  async step(by) {
    const { drawing, word, at } = this;
    const { tables } = drawing;
    if (by < 0 ? at === 0 : at === word.length) return;
    const own = ++this.#generation;
    if (drawing.shown.motion) this.#set(at);
    this.at = at + by;
    const turn = by > 0 ? word[at] : tables.inverses[word[at - 1]];
    this.#tell(true);
    drawing.arrows([]);
    const blocked = firstBlocked(tables, [turn], drawing.effect);
    if (!blocked) await drawing.turn(turn);
    if (own === this.#generation) this.#set(this.at);
  }

  /** @param {boolean} speak */
  #tell(speak) {
    const { at, word, parts, drawing } = this;
    this.slider.value = String(at);
    this.back.disabled = at === 0;
    this.next.disabled = at === word.length;
    let end = 0;
    let current = -1;
    parts.forEach((part, k) => {
      if (at > end) current = k;
      end += part.turns.length;
    });
    this.buttons.forEach((own, k) => own.setAttribute("aria-pressed", k === current ? "true" : "false"));
    const name = at ? ` ${drawing.tables.turnNames[word[at - 1]]}, in ${parts[current].label}` : " not begun";
    const text = `${at} of ${counted(word.length, "turn")}:${name}`;
    this.told.textContent = text;
    this.slider.setAttribute("aria-valuetext", text);
    if (speak) this.say(text);
  }
}
