/** What is chosen for a new puzzle: the fields of a body, of what turns, and how deep it is cut. */

import { part } from "./live.js";
import { Size } from "./sizes.js";

/** @typedef {import("./sizes.js").Range} Range */
/** @typedef {{name: string, words: string, axes: string[], steps: number, solid: Range, ball: Range}} Kind */
/** @typedef {{name: string, kinds: Kind[]}} Body */
/** @typedef {Record<string, string>} Choice what was chosen, by the names of the fields */

const KINDS = ["faces", "corners", "others", "edges"];
/** What a field of the choice says by the shape. */
const WORDS = {
  solid: { outer: "Cut at this depth", inner: "It ends at this depth", unit: "" },
  ball: { outer: "An angle wide", inner: "It ends at this angle", unit: "degrees" },
};
const HINTS = {
  solid: "A size is how far from the centre the cut is; faces are 1 away. A formula such as 1/sqrt(2) is right as well.",
  ball: "A size is a number of degrees from the axis, or a formula such as to(",
};

export class Fields {
  /**
   * @param {Body[]} bodies
   * @param {() => void} changed is called when somebody chooses
   */
  constructor(bodies, changed) {
    this.bodies = bodies;
    this.changed = () => {
      this.fitted();
      changed();
    };
    this.form = /** @type {HTMLFormElement} */ (part("choice"));
    this.sizes = new Map(
      KINDS.flatMap((kind) => [kind, `${kind}_inner`]).map((name) => [
        name,
        new Size(name, () => this.changed()),
      ]),
    );
    for (const kind of KINDS) {
      const turn = this.turn(kind);
      turn.hidden = false;
      turn.addEventListener("change", () => {
        if (turn.checked && !this.size(kind).text) this.size(kind).set(this.usual(kind));
        this.changed();
      });
      part(`${kind}_steps`).addEventListener("input", () => this.changed());
    }
    part("description").addEventListener("input", () => this.changed());
    for (const id of ["body", "shape"]) part(id).addEventListener("change", () => this.reshaped());
    this.form.addEventListener("submit", (event) => event.preventDefault());
    this.fitted();
  }

  /** @param {string} kind */
  turn(kind) {
    return /** @type {HTMLInputElement} */ (part(`${kind}-turn`));
  }

  /** @param {string} name @returns {Size} */
  size(name) {
    return /** @type {Size} */ (this.sizes.get(name));
  }

  /** @param {string} kind */
  usual(kind) {
    return this.body.kinds.find((own) => own.name === kind)?.[this.shape].usual ?? "";
  }

  get body() {
    const { value } = /** @type {HTMLSelectElement} */ (part("body"));
    return this.bodies.find((own) => own.name === value) ?? this.bodies[0];
  }

  /** @returns {"solid" | "ball"} */
  get shape() {
    return /** @type {HTMLSelectElement} */ (part("shape")).value === "ball" ? "ball" : "solid";
  }

  /** The kinds whose layers turn. */
  get turning() {
    return this.body.kinds.filter(({ name }) => this.turn(name).checked && this.size(name).text);
  }

  /** What is chosen. @returns {Choice} */
  get choice() {
    /** @type {Choice} */
    const own = { body: this.body.name };
    if (this.shape === "ball") own.shape = "ball";
    const { value } = /** @type {HTMLTextAreaElement} */ (part("description"));
    if (value.trim()) own.description = value.trim();
    for (const { name } of this.turning) {
      own[name] = this.size(name).text;
      const inner = this.size(`${name}_inner`).text;
      if (inner) own[`${name}_inner`] = inner;
      const steps = /** @type {HTMLInputElement} */ (part(`${name}_steps`)).value;
      if (steps) own[`${name}_steps`] = steps;
    }
    return own;
  }

  /** Another body or shape: what turns still does, at a size that is usual there. */
  reshaped() {
    const { body } = this;
    for (const kind of KINDS) {
      const there = body.kinds.some(({ name }) => name === kind);
      if (!there) this.turn(kind).checked = false;
      if (this.turn(kind).checked) this.size(kind).set(this.usual(kind));
      this.size(`${kind}_inner`).set("");
      /** @type {HTMLInputElement} */ (part(`${kind}_steps`)).value = "";
    }
    if (!this.turning.length) {
      const [{ name }] = body.kinds;
      this.turn(name).checked = true;
      this.size(name).set(this.usual(name));
    }
    this.changed();
  }

  /** Let fields and sliders fit the body, the shape, and what turns. */
  fitted() {
    const words = WORDS[this.shape];
    for (const kind of KINDS) {
      const own = this.body.kinds.find(({ name }) => name === kind);
      const box = /** @type {HTMLFieldSetElement} */ (part(`kind-${kind}`));
      box.hidden = !own;
      box.disabled = !own;
      const outer = this.size(kind);
      const inner = this.size(`${kind}_inner`);
      box.classList.toggle("still", !this.turn(kind).checked);
      if (!own) continue;
      const name = box.querySelector("legend .words");
      if (name) name.textContent = `${own.axes.length} ${own.words}`;
      for (const [size, said] of /** @type {const} */ ([[outer, words.outer], [inner, words.inner]])) {
        size.reach(own[this.shape], words.unit);
        const label = box.querySelector(`label[for="${size.name}"]`);
        if (label) label.textContent = said;
        size.slider.setAttribute("aria-label", `${own.words}: ${said.toLowerCase()}`);
      }
      /** @type {HTMLInputElement} */ (part(`${kind}_steps`)).placeholder = String(own.steps);
    }
    const { kinds } = this.body;
    const corner = (kinds.find(({ name }) => name === "corners") ?? kinds[0]).axes[0];
    part("hint").textContent = this.shape === "ball" ? `${HINTS.ball}${corner}) + 9deg.` : HINTS.solid;
    for (const box of document.querySelectorAll("#open input")) {
      const input = /** @type {HTMLInputElement} */ (box);
      const turns = this.turning.find(({ name }) => name === input.value);
      // Where an inner layer begins at a size, that is not one alone.
      const able = turns !== undefined && !this.size(`${input.value}_inner`).text;
      if (able && input.disabled) input.checked = true;
      input.disabled = !able;
      const label = input.closest("label");
      if (label) label.hidden = !able;
      const name = label?.querySelector("span");
      if (name && turns) name.textContent = turns.words;
    }
  }

  /** What is wrong with the fields themselves, if anything is. */
  get wrong() {
    if (!this.turning.length) return "nothing turns; choose at least one kind of layer and a size";
    for (const { name, words } of this.turning) {
      const field = /** @type {HTMLInputElement} */ (part(`${name}_steps`));
      if (!field.checkValidity()) return `the steps of the ${words} are a whole number from 2 to 24`;
    }
    return "";
  }

  /**
   * Take over a choice.
   * @param {Choice} choice
   */
  fill(choice) {
    /** @type {HTMLSelectElement} */ (part("body")).value = choice.body ?? "cube";
    /** @type {HTMLSelectElement} */ (part("shape")).value = choice.shape ?? "solid";
    /** @type {HTMLTextAreaElement} */ (part("description")).value = choice.description ?? "";
    for (const kind of KINDS) {
      this.turn(kind).checked = Boolean(choice[kind]);
      /** @type {HTMLInputElement} */ (part(`${kind}_steps`)).value = choice[`${kind}_steps`] ?? "";
      for (const name of [kind, `${kind}_inner`]) this.size(name).set(choice[name] ?? "");
    }
    this.fitted();
  }
}

/**
 * A choice as the service takes it.
 * @param {Choice} choice
 * @returns {Record<string, string | number>}
 */
export function typed(choice) {
  return Object.fromEntries(
    Object.entries(choice).map(([name, value]) => [name, name.endsWith("_steps") ? Number(value) : value]),
  );
}
