/** A new puzzle: sizes are moved, and what comes of them is drawn and counted while they move. */

import { Drawing } from "./drawing.js";
import { Filing } from "./filing.js";
import { Latest } from "./latest.js";
import { addressed, element, part, pause, sentence, told } from "./live.js";
import { offering } from "./offers.js";
import { Size } from "./sizes.js";

/** @typedef {import("./state.js").DrawingData} DrawingData */
/** @typedef {import("./filing.js").Problem} Problem */
/** @typedef {import("./sizes.js").Range} Range */
/** @typedef {import("./sizes.js").Ranges} Ranges */
/** @typedef {{name: string, words: string, axes: string[], steps: number, solid: Range, ball: Range}} Kind */
/** @typedef {{name: string, kinds: Kind[]}} Body */
/** @typedef {Record<string, string>} Choice what was chosen, by the names of the fields */
/**
 * @typedef {object} Report
 * @property {string} file
 * @property {Choice | null} choice
 * @property {Record<string, number>} sizes
 * @property {Problem | null} problem
 * @property {{pieces: number, types: {name: string, count: number}[]} | null} puzzle
 * @property {DrawingData | null} drawing
 */
/** @typedef {{choice: Choice} | {file: string}} Draft */

export const KINDS = ["faces", "corners", "others", "edges"];
/** Milliseconds without a change until a draft is looked at, until a text is, and until the rest is. */
const MOVED = 40;
const WRITTEN = 400;
const SETTLED = 350;
/** The longest text that the address holds, and how often a compiled puzzle is asked for. */
const LONGEST = 6_000;
const AGAIN = 1_000;
/** What a field of the choice says by the shape. */
const WORDS = {
  solid: { outer: "Cut at this depth", inner: "It ends at this depth", unit: "" },
  ball: { outer: "An angle wide", inner: "It ends at this angle", unit: "degrees" },
};
const HINTS = {
  solid: "A size is how far from the centre the cut is; faces are 1 away. A formula such as 1/sqrt(2) is right as well.",
  ball: "A size is a number of degrees from the axis, or a formula such as to(",
};

export class Making {
  /** @type {Drawing | null} */
  drawing = null;
  /** @type {Report | null} */
  report = null;
  /** Whether the file is the truth, and not the fields. */
  byHand = false;
  /** Rulers by what they were asked for. @type {Map<string, Ranges>} */
  known = new Map();
  settled = 0;

  /** @param {Body[]} bodies */
  constructor(bodies) {
    this.bodies = bodies;
    this.form = /** @type {HTMLFormElement} */ (part("choice"));
    this.sizes = new Map(
      KINDS.flatMap((kind) => [kind, `${kind}_inner`]).map((name) => [
        name,
        new Size(name, () => this.changed()),
      ]),
    );
    this.filing = new Filing(() => this.written());
    this.drafts = new Latest(
      (/** @type {Draft} */ draft) => this.asked("/api/puzzles/drafts", { ...draft, drawn: true }),
      (report, draft) => this.show(report, draft),
      (error) => this.fail({ detail: error.message, line: null, column: null, size: null }),
      (busy) => this.doing(busy ? "Working …" : ""),
    );
    this.rulers = new Latest(
      (/** @type {{key: string, size: string, choice: Choice}} */ { size, choice }) =>
        this.asked("/api/puzzles/drafts/ranges", { size, choice: typed(choice) }),
      (ranges, { key }) => {
        this.known.set(key, ranges);
        this.rule();
      },
      () => undefined,
    );
    for (const id of ["draw", "look"]) part(id).hidden = true;
    for (const kind of KINDS) {
      const turn = this.#turn(kind);
      turn.hidden = false;
      turn.addEventListener("change", () => {
        if (turn.checked && !this.#size(kind).text) this.#size(kind).set(this.#usual(kind));
        this.changed();
      });
      part(`${kind}_steps`).addEventListener("input", () => this.changed());
    }
    part("description").addEventListener("input", () => this.changed());
    for (const id of ["body", "shape"]) part(id).addEventListener("change", () => this.reshaped());
    this.form.addEventListener("submit", (event) => event.preventDefault());
    part("anew").addEventListener("click", (event) => {
      event.preventDefault();
      this.changed();
      part("body").focus();
    });
    part("adding").addEventListener("submit", (event) => {
      event.preventDefault();
      void this.add();
    });
    this.fitted();
  }

  /** @param {string} kind */
  #turn(kind) {
    return /** @type {HTMLInputElement} */ (part(`${kind}-turn`));
  }

  /** @param {string} name @returns {Size} */
  #size(name) {
    return /** @type {Size} */ (this.sizes.get(name));
  }

  /** @param {string} kind */
  #usual(kind) {
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
    return this.body.kinds.filter(({ name }) => this.#turn(name).checked && this.#size(name).text);
  }

  /** What is chosen. @returns {Choice} */
  get choice() {
    /** @type {Choice} */
    const own = { body: this.body.name };
    if (this.shape === "ball") own.shape = "ball";
    const { value } = /** @type {HTMLTextAreaElement} */ (part("description"));
    if (value.trim()) own.description = value.trim();
    for (const { name } of this.turning) {
      own[name] = this.#size(name).text;
      const inner = this.#size(`${name}_inner`).text;
      if (inner) own[`${name}_inner`] = inner;
      const steps = /** @type {HTMLInputElement} */ (part(`${name}_steps`)).value;
      if (steps) own[`${name}_steps`] = steps;
    }
    return own;
  }

  /**
   * JSON for a question.
   * @param {string} href
   * @param {object} question
   */
  asked(href, question) {
    const body = "choice" in question ? { ...question, choice: typed(/** @type {Choice} */ (question.choice)) } : question;
    return told(href, (text) => this.doing(text), {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
    });
  }

  /** @param {string} text */
  doing(text) {
    part("doing").textContent = text;
  }

  // --- what somebody does -----------------------------------------------------------------------

  /** Another body or shape: what turns still does, at a size that is usual there. */
  reshaped() {
    const { body } = this;
    for (const kind of KINDS) {
      const there = body.kinds.some(({ name }) => name === kind);
      if (!there) this.#turn(kind).checked = false;
      if (this.#turn(kind).checked) this.#size(kind).set(this.#usual(kind));
      this.#size(`${kind}_inner`).set("");
      /** @type {HTMLInputElement} */ (part(`${kind}_steps`)).value = "";
    }
    if (!this.turning.length) {
      const [{ name }] = body.kinds;
      this.#turn(name).checked = true;
      this.#size(name).set(this.#usual(name));
    }
    this.fitted();
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
      const outer = this.#size(kind);
      const inner = this.#size(`${kind}_inner`);
      box.classList.toggle("still", !this.#turn(kind).checked);
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
      const able = turns !== undefined && !this.#size(`${input.value}_inner`).text;
      if (able && input.disabled) input.checked = true;
      input.disabled = !able;
      const label = input.closest("label");
      if (label) label.hidden = !able;
      const name = label?.querySelector("span");
      if (name && turns) name.textContent = turns.words;
    }
  }

  /** Something was chosen: the fields are the truth. */
  changed() {
    this.byHand = false;
    this.#hand(false);
    this.fitted();
    const wrong = this.#wrong();
    if (wrong) {
      this.drafts.drop();
      this.fail({ detail: wrong, line: null, column: null, size: null });
      return;
    }
    this.drafts.want({ choice: this.choice }, MOVED);
    this.#settle();
  }

  /** What is wrong with the fields themselves, if anything is. */
  #wrong() {
    if (!this.turning.length) return "nothing turns; choose at least one kind of layer and a size";
    for (const { name, words } of this.turning) {
      const field = /** @type {HTMLInputElement} */ (part(`${name}_steps`));
      if (!field.checkValidity()) return `the steps of the ${words} are a whole number from 2 to 24`;
    }
    return "";
  }

  /** Something was written: the file is the truth. */
  written() {
    this.byHand = true;
    this.drafts.want({ file: this.filing.text }, WRITTEN);
    this.#settle();
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
      this.#turn(kind).checked = Boolean(choice[kind]);
      /** @type {HTMLInputElement} */ (part(`${kind}_steps`)).value = choice[`${kind}_steps`] ?? "";
      for (const name of [kind, `${kind}_inner`]) this.#size(name).set(choice[name] ?? "");
    }
    this.fitted();
  }

  // --- what comes of it -------------------------------------------------------------------------

  /**
   * @param {Report} report
   * @param {Draft} draft
   */
  show(report, draft) {
    this.report = report;
    if (!("file" in draft)) this.filing.set(report.file);
    else if (this.byHand) {
      if (report.choice) this.fill(report.choice);
      this.#hand(!report.choice && !report.problem);
    }
    for (const [name, value] of Object.entries(report.sizes)) {
      // Another may stand there by now.
      if (this.#size(name).text === report.choice?.[name]) this.#size(name).at(value);
    }
    if (report.problem) {
      this.fail(report.problem);
      return;
    }
    this.#right();
    if (report.puzzle) part("tally").textContent = tally(report.puzzle);
    if (report.drawing) this.#draw(report.drawing);
  }

  /** Whether the file says more than the fields can. @param {boolean} more */
  #hand(more) {
    this.form.hidden = more;
    part("by-hand").hidden = !more;
  }

  /** Nothing is wrong. */
  #right() {
    part("problems").replaceChildren();
    this.filing.mark(null);
    for (const size of this.sizes.values()) size.mark(false);
    part("stage").classList.remove("before");
    this.doing("");
  }

  /** Say what is wrong; the last good picture stays. @param {Problem} problem */
  fail(problem) {
    const text = sentence(problem.detail);
    const old = document.getElementById("problem");
    if (old) old.textContent = text;
    else part("problems").replaceChildren(element("p", { class: "wrong", id: "problem", role: "alert" }, text));
    this.filing.mark(problem);
    for (const size of this.sizes.values()) size.mark(size.name === problem.size);
    part("stage").classList.add("before");
    part("tally").textContent = "";
    this.doing(this.drawing ? "The picture is of the last sizes that were right." : "");
  }

  /** @param {DrawingData} data */
  #draw(data) {
    const before = this.drawing;
    const same = before && sameBody(before.tables.data, data);
    const canvas = before?.canvas ?? element("canvas", { "aria-label": "What comes of it. The question mark says the keys." });
    before?.destroy();
    if (!before) part("stage").querySelector("img, .nothing")?.replaceWith(canvas);
    this.drawing = new Drawing(canvas, data, { label: before?.shown.label ?? true });
    if (before && same) {
      this.drawing.view.matrix = before.view.matrix;
      this.drawing.paint();
    }
  }

  // --- when nothing moves any more --------------------------------------------------------------

  #settle() {
    clearTimeout(this.settled);
    this.settled = setTimeout(() => {
      const text = this.filing.text;
      if (!this.byHand) addressed(this.choice);
      else addressed(text.length < LONGEST ? { file: text } : {});
      this.rule();
    }, SETTLED);
  }

  /** Show the rulers that are known, and ask for the next that is not. */
  rule() {
    const { choice } = this;
    /** @type {{key: string, size: string, choice: Choice} | null} */
    let next = null;
    for (const [name, size] of this.sizes) {
      const able = name in choice && !(`${name}_inner` in choice);
      const key = `${name} ${JSON.stringify({ ...choice, [name]: "", description: "" })}`;
      const known = able ? (this.known.get(key) ?? null) : null;
      if (size.ranges !== known) size.rule(known);
      if (able && !known) next ??= { key, size: name, choice };
    }
    if (next && !this.byHand && !this.#wrong()) this.rulers.want(next);
  }

  /** Add the puzzle, and go to its page. */
  async add() {
    const said = part("added");
    const button = /** @type {HTMLButtonElement} */ (part("add"));
    while (this.drafts.waiting) await pause(50);
    if (this.report?.problem) {
      said.textContent = `Not added: ${this.report.problem.detail}.`;
      this.filing.go();
      return;
    }
    button.disabled = true;
    try {
      for (;;) {
        said.textContent = "It is being compiled.";
        const body = await told("/api/puzzles", (text) => (said.textContent = text), {
          method: "POST",
          headers: { "Content-Type": "application/json", Prefer: "wait=10" },
          body: JSON.stringify({ file: this.filing.text }),
        });
        if (body.puzzle) {
          location.assign(`/puzzles/${encodeURIComponent(body.puzzle)}`);
          return;
        }
        await pause(AGAIN);
      }
    } catch (error) {
      said.textContent = /** @type {Error} */ (error).message;
    } finally {
      button.disabled = false;
    }
  }
}

/**
 * A choice as the service takes it.
 * @param {Choice} choice
 * @returns {Record<string, string | number>}
 */
function typed(choice) {
  return Object.fromEntries(
    Object.entries(choice).map(([name, value]) => [name, name.endsWith("_steps") ? Number(value) : value]),
  );
}

/** @param {NonNullable<Report["puzzle"]>} puzzle */
function tally({ pieces, types }) {
  const kinds = types.map(({ name, count }) => `${count} ${count === 1 ? name : many(name)}`);
  return `${pieces} ${pieces === 1 ? "piece" : "pieces"}: ${kinds.join(", ")}`;
}

/** Several of a type: "corners", "edge1 pieces". @param {string} name */
function many(name) {
  return /[a-rt-z]$/i.test(name) ? `${name}s` : `${name} pieces`;
}

/**
 * Whether two drawings are of the same body, so that one can be seen as the other was.
 * @param {DrawingData} one
 * @param {DrawingData} other
 */
function sameBody(one, other) {
  return one.shape === other.shape && one.faces?.name.join() === other.faces?.name.join();
}

async function begin() {
  const able = await told("/api/puzzles/new", (text) => (part("doing").textContent = text));
  const making = new Making(able.bodies);
  offering(making);
  if (making.form.hidden || document.querySelector("#problem")) {
    making.byHand = making.form.hidden;
    making.drafts.want({ file: making.filing.text });
  } else {
    making.drafts.want({ choice: making.choice });
  }
  while (making.drafts.waiting) await pause(20);
  if (!making.byHand) making.rule();
  part("making").dataset.ready = "yes";
}

begin().catch((error) => {
  part("doing").textContent = sentence(error.message);
});
