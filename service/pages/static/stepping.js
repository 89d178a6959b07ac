/** Steps through a sequence, part by part and turn by turn, and finds where somebody is in it. */

import { read, steps } from "./effect_wish.js";
import { CYCLE } from "./ink.js";
import { Finder } from "./lost.js";
import { button, counted, element, snapshot } from "./live.js";
import { cycles, disturbed, effectOf, firstBlocked, write } from "./state.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./live.js").Kind} Kind */
/** @typedef {import("./live.js").Place} Place */
/** @typedef {import("./parts.js").Part} Part */

/** The side of a small picture, in CSS pixels. */
const SMALL = 88;

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
    /** The parts without parts of their own, and how many turns are done at the end of each. */
    this.leaves = /** @type {{part: Part, end: number}[]} */ ([]);
    /** @type {number[]} */
    this.word = [];
    /** What leads from the solved puzzle to where the sequence begins. @type {readonly number[]} */
    this.before = [];
    /** @type {number[]} the placements of the cycle, or of all cycles of an effect */
    this.cycle = [];
    /** What arrows join before the first turn. @type {[number, number][]} */
    this.pairs = [];
    /** The buttons of the leaves. @type {HTMLButtonElement[]} */
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
   * @param {readonly string[]} cycle the names of the cycle, if one was asked for, or cycles in brackets
   * @param {string} name
   * @param {readonly number[]} [before] turns from the solved puzzle to where it begins
   */
  take(parts, cycle, name, before = []) {
    this.parts = parts;
    this.before = before;
    this.word = parts.flatMap((part) => part.turns);
    this.leaves = [];
    this.buttons = [];
    for (const part of parts) this.#leaf(part);
    [this.cycle, this.pairs] = this.#followed(cycle);
    this.slider.max = String(this.word.length);
    this.finder = new Finder(this.drawing.tables, this.word, (at) => this.go(at), before);
    this.panel.replaceChildren(
      element("p", { class: "words" }, name),
      element("label", { for: "turn-done" }, "Turns done"),
      this.slider,
      element("p", { class: "row" }, this.back, this.next, this.told),
    );
    this.panel.hidden = false;
    this.go(0, false);
  }

  /** @param {Part} part */
  #leaf(part) {
    if (part.parts) for (const own of part.parts) this.#leaf(own);
    else this.leaves.push({ part, end: (this.leaves.at(-1)?.end ?? 0) + part.turns.length });
  }

  /**
   * The placements that are followed: those of the cycle or of the effect, else those of the one
   * three-cycle that the sequence does; none where it does something else. With what arrows join.
   * @param {readonly string[]} names
   * @returns {[number[], [number, number][]]}
   */
  #followed(names) {
    const { tables } = this.drawing;
    const places = names.map((name) => tables.placementNames.indexOf(name));
    const effect = names[0]?.startsWith("(") ? read(tables, names.join("")) : null;
    if (effect) {
      const own = steps(tables, effect);
      return [own.steps.slice(0, CYCLE.length), own.arrows];
    }
    /** @param {number[]} cycle @returns {[number[], [number, number][]]} */
    const round = (cycle) => [cycle, cycle.map((place, k) => [place, cycle[(k + 1) % cycle.length]])];
    if (places.length === 3 && !places.includes(-1)) return round(places);
    const found = cycles(tables, effectOf(tables, this.word));
    const slots = new Set(found[0]?.map((place) => tables.slotOf[place]));
    return found.length === 1 && found[0].length === 3 && slots.size === 3 ? round([...found[0]]) : [[], []];
  }

  /** Let go of the sequence; the drawing is solved. */
  drop() {
    this.#generation++;
    this.parts = [];
    this.before = [];
    this.leaves = [];
    this.buttons = [];
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
    this.buttons = [];
    const parts = this.#row(this.parts, 0);
    this.go(this.at, false);
    const group = { class: "parts", role: "group", "aria-label": "Parts, in order" };
    return element("div", { class: "strip" }, element("div", group, ...parts), this.finder?.panel ?? null);
  }

  /**
   * @param {Part[]} parts
   * @param {number} from how many turns are done before them
   * @returns {HTMLElement[]}
   */
  #row(parts, from) {
    let end = from;
    return parts.map((part) => {
      const begin = end;
      end += part.turns.length;
      if (!part.parts) return this.#picture(part, end);
      const words = element("span", { class: "words" }, part.name ?? "");
      const own = this.#pointable(end, `${part.label}, ${part.name}`, "plain bracket");
      own.append(element("span", {}, part.label), " ", words);
      const inside = this.#row(part.parts, begin);
      const group = { class: "within", role: "group", "aria-label": `${part.label}, ${part.name}` };
      return element("div", group, own, element("div", { class: "parts" }, ...inside));
    });
  }

  /**
   * @param {Part} part
   * @param {number} end how many turns are done at its end
   */
  #picture(part, end) {
    const text = write(this.drawing.tables, part.turns);
    const own = this.#pointable(end, `${part.label}, ${text}`, "part");
    own.append(
      this.#small(end),
      element("span", {}, part.label),
      element("span", { class: "words" }, text),
    );
    this.buttons.push(own);
    return own;
  }

  /**
   * A button that shows the drawing after some turns, as pointing at it does.
   * @param {number} end
   * @param {string} name
   * @param {string} kind
   */
  #pointable(end, name, kind) {
    const own = button("", () => this.go(end), { class: kind, "aria-label": `${name}: the drawing after it` });
    // Browsers say so, too, where a button comes to be under a pointer that does not move.
    own.addEventListener("pointermove", (event) => {
      const moved = event.movementX !== 0 || event.movementY !== 0;
      if (event.pointerType !== "mouse" || !moved || this.#pointed === own) return;
      this.#pointed = own;
      this.go(end, false);
    });
    own.addEventListener("pointerleave", () => (this.#pointed = null));
    return own;
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
    const { drawing, word } = this;
    drawing.set([...this.before, ...word.slice(0, at)]);
    this.#mark(at);
    if (at === 0) {
      /** @type {[Place, Place][]} */
      const pairs = this.pairs.map(([from, to]) => [`p${from}`, `p${to}`]);
      drawing.arrows(pairs);
    }
  }

  /** @param {number} at */
  #mark(at) {
    const { drawing, cycle } = this;
    drawing.arrows([]);
    if (cycle.length === 0) {
      const out = disturbed(drawing.tables, drawing.effect);
      drawing.mark(new Map([...out].map(([slot, kind]) => [/** @type {Place} */ (`s${slot}`), kind])));
      return;
    }
    const gone = effectOf(drawing.tables, this.word.slice(0, at));
    const places = cycle.map((place, k) => /** @type {const} */ ([`p${gone[place]}`, CYCLE[k]]));
    drawing.mark(/** @type {Map<Place, Kind>} */ (new Map(places)), { fade: true, follow: true });
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
    const { at, word, leaves, drawing } = this;
    this.slider.value = String(at);
    // They stay where the focus can be, so that it is not lost at the end.
    this.back.setAttribute("aria-disabled", String(at === 0));
    this.next.setAttribute("aria-disabled", String(at === word.length));
    const current = leaves.findIndex(({ end }) => at > 0 && at <= end);
    this.buttons.forEach((own, k) => own.setAttribute("aria-pressed", k === current ? "true" : "false"));
    const name = at ? ` ${drawing.tables.turnNames[word[at - 1]]}, in ${leaves[current].part.label}` : " not begun";
    const text = `${at} of ${counted(word.length, "turn")}:${name}`;
    this.told.textContent = text;
    this.slider.setAttribute("aria-valuetext", text);
    if (speak) this.say(text);
  }
}
