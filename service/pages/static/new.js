/** A new puzzle: sizes are moved, and what comes of them is drawn and counted while they move. */

import { Fields, typed } from "./choosing.js";
import { Drawing } from "./drawing.js";
import { Filing } from "./filing.js";
import { Latest } from "./latest.js";
import { addressed, element, part, pause, sentence, told } from "./live.js";
import { offering } from "./offers.js";

/** @typedef {import("./state.js").DrawingData} DrawingData */
/** @typedef {import("./filing.js").Problem} Problem */
/** @typedef {import("./sizes.js").Ranges} Ranges */
/** @typedef {import("./choosing.js").Body} Body */
/** @typedef {import("./choosing.js").Choice} Choice */
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

/** Milliseconds without a change until a draft is looked at, until a text is, and until the rest is. */
const MOVED = 40;
const WRITTEN = 400;
const SETTLED = 350;
/** The longest text that the address holds, encoded, and after how long a compiled puzzle is asked for again. */
const LONGEST = 9_000;
const AGAIN = 1_000;
/** How many rulers are remembered. */
const MOST_KNOWN = 200;

export class Making {
  /** @type {Drawing | null} */
  drawing = null;
  /** What is wrong with what is chosen or written now. @type {Problem | null} */
  problem = null;
  /** Whether the file is the truth, and not the fields. */
  byHand = false;
  /** Rulers by what they were asked for. @type {Map<string, Ranges>} */
  known = new Map();
  settled = 0;
  /** What is said beside the picture. */
  note = "";

  /** @param {Body[]} bodies */
  constructor(bodies) {
    this.fields = new Fields(bodies, () => this.changed());
    this.filing = new Filing(() => this.written());
    this.drafts = new Latest(
      (/** @type {Draft} */ draft) => this.asked("/api/puzzles/drafts", { ...draft, drawn: true }),
      (report, draft) => this.show(report, draft),
      (error) => this.fail({ detail: error.message, line: null, column: null, size: null }),
      (busy) => this.doing(this.note, busy),
    );
    this.rulers = new Latest(
      (/** @type {{key: string, size: string, choice: Choice}} */ { size, choice }) =>
        this.asked("/api/puzzles/drafts/ranges", { size, choice: typed(choice) }),
      (ranges, { key }) => {
        if (this.known.size >= MOST_KNOWN) this.known.clear();
        this.known.set(key, ranges);
        this.rule();
      },
      () => undefined,
    );
    for (const id of ["draw", "look"]) part(id).hidden = true;
    part("anew").addEventListener("click", (event) => {
      event.preventDefault();
      this.changed();
      part("body").focus();
    });
    part("adding").addEventListener("submit", (event) => {
      event.preventDefault();
      void this.add();
    });
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

  /**
   * Say something beside the picture, when nothing is being worked out.
   * @param {string} text
   * @param {boolean} [busy]
   */
  doing(text, busy = false) {
    this.note = text;
    part("doing").textContent = busy ? "Working …" : text;
  }

  // --- what somebody does -----------------------------------------------------------------------

  /** Something was chosen: the fields are the truth. */
  changed() {
    this.byHand = false;
    this.#hand(false);
    const wrong = this.fields.wrong;
    if (wrong) {
      this.drafts.drop();
      this.fail({ detail: wrong, line: null, column: null, size: null });
      return;
    }
    this.drafts.want({ choice: this.fields.choice }, MOVED);
    this.#settle();
  }

  /** Something was written: the file is the truth. */
  written() {
    this.byHand = true;
    this.drafts.want({ file: this.filing.text }, WRITTEN);
    this.#settle();
  }

  // --- what comes of it -------------------------------------------------------------------------

  /**
   * @param {Report} report
   * @param {Draft} draft
   */
  show(report, draft) {
    // What was asked for before somebody went from the fields to the file, or back, is over.
    if ("file" in draft !== this.byHand) return;
    if (!this.byHand) this.filing.set(report.file);
    else if (report.choice) {
      this.fields.fill(report.choice);
      this.#hand(false);
    } else if (!report.problem) this.#hand(true);
    for (const [name, value] of Object.entries(report.sizes)) {
      // Another may stand there by now.
      if (this.fields.size(name).text === report.choice?.[name]) this.fields.size(name).at(value);
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
    this.fields.form.hidden = more;
    part("by-hand").hidden = !more;
    part("open").hidden = more;
    part("open-by-hand").hidden = !more;
  }

  /** Nothing is wrong. */
  #right() {
    this.problem = null;
    part("problems").replaceChildren();
    this.filing.mark(null);
    for (const size of this.fields.sizes.values()) size.mark(false);
    part("stage").classList.remove("before");
    this.doing("");
  }

  /** Say what is wrong; the last good picture stays. @param {Problem} problem */
  fail(problem) {
    this.problem = problem;
    const text = sentence(problem.detail);
    const old = document.getElementById("problem");
    if (old) old.textContent = text;
    else part("problems").replaceChildren(element("p", { class: "wrong", id: "problem", role: "alert" }, text));
    this.filing.mark(problem);
    for (const size of this.fields.sizes.values()) size.mark(size.name === problem.size);
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
      if (!this.byHand) addressed(this.fields.choice);
      else addressed(encodeURIComponent(text).length < LONGEST ? { file: text } : {});
      const json = document.querySelector("footer a");
      json?.setAttribute("href", `/api/puzzles/new${location.search}`);
      this.rule();
    }, SETTLED);
  }

  /** Show the rulers that are known, and ask for the next that is not. */
  rule() {
    const { choice } = this.fields;
    /** @type {{key: string, size: string, choice: Choice} | null} */
    let next = null;
    for (const [name, size] of this.fields.sizes) {
      const able = name in choice && !(`${name}_inner` in choice);
      const key = `${name} ${JSON.stringify({ ...choice, [name]: "", description: "" })}`;
      const known = able ? (this.known.get(key) ?? null) : null;
      if (size.ranges !== known) size.rule(known);
      if (able && !known) next ??= { key, size: name, choice };
    }
    if (next && !this.byHand && !this.fields.wrong) this.rulers.want(next);
  }

  /** Add the puzzle, and go to its page. */
  async add() {
    const said = part("added");
    const button = /** @type {HTMLButtonElement} */ (part("add"));
    while (this.drafts.waiting) await pause(50);
    if (this.problem) {
      said.textContent = `Not added: ${this.problem.detail.replace(/\.$/, "")}.`;
      if (this.problem.line) this.filing.go();
      else /** @type {HTMLElement | null} */ (document.querySelector("#choice input:invalid, #choice [aria-invalid]"))?.focus();
      return;
    }
    // What is written meanwhile is another puzzle.
    const file = this.filing.text;
    button.disabled = true;
    try {
      for (;;) {
        said.textContent = "It is being compiled.";
        const body = await told("/api/puzzles", (text) => (said.textContent = text), {
          method: "POST",
          headers: { "Content-Type": "application/json", Prefer: "wait=10" },
          body: JSON.stringify({ file }),
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

/** @param {NonNullable<Report["puzzle"]>} puzzle */
function tally({ pieces, types }) {
  const kinds = types.map(({ name, count }) => `${count} ${count === 1 ? name : many(name)}`);
  const all = `${pieces} ${pieces === 1 ? "piece" : "pieces"}`;
  return types.length === 1 && types[0].name === "piece" ? all : `${all}: ${kinds.join(", ")}`;
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
  making.byHand = part("making").dataset.byHand === "yes";
  making.drafts.want(making.byHand ? { file: making.filing.text } : { choice: making.fields.choice });
  while (making.drafts.waiting) await pause(20);
  if (!making.byHand) making.rule();
  part("making").dataset.ready = "yes";
}

begin().catch((error) => {
  part("doing").textContent = sentence(error.message);
});
