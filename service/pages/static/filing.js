/** The file of a new puzzle: its text with numbered lines, and what is wrong marked at its place. */

import { element, part, sentence } from "./live.js";

/** @typedef {{detail: string, line: number | null, column: number | null, size: string | null}} Problem */

/** How much of a long line is repeated. */
const LONGEST = 200;

export class Filing {
  /** @param {() => void} edited is called when somebody writes */
  constructor(edited) {
    this.field = /** @type {HTMLTextAreaElement} */ (part("file"));
    this.numbers = part("numbers");
    this.place = part("place");
    this.numbers.hidden = false;
    this.line = 0;
    this.field.addEventListener("input", () => {
      this.#count();
      edited();
    });
    this.field.addEventListener("scroll", () => this.#scroll());
    new ResizeObserver(() => this.#height()).observe(this.field);
    this.#count();
  }

  get text() {
    return this.field.value;
  }

  /** @param {string} text */
  set(text) {
    if (this.field.value === text) return;
    this.field.value = text;
    this.#count();
  }

  /**
   * Mark what is wrong, or nothing.
   * @param {Problem | null} problem
   */
  mark(problem) {
    this.line = problem?.line ?? 0;
    this.#count();
    const lines = this.text.split("\n");
    if (!problem || !problem.line || problem.line > lines.length) {
      this.place.replaceChildren();
      this.field.removeAttribute("aria-invalid");
      this.field.removeAttribute("aria-describedby");
      return;
    }
    const { line, column } = problem;
    const text = lines[line - 1].slice(0, LONGEST);
    const begin = `${line} | `;
    const blank = text.slice(0, Math.max((column ?? 1) - 1, 0)).replace(/[^\t]/g, " ");
    this.place.replaceChildren(
      element("p", {}, sentence(problem.detail)),
      element("pre", {}, `${begin}${text}\n${" ".repeat(begin.length - 2)}| ${blank}^`),
    );
    this.field.setAttribute("aria-invalid", "true");
    this.field.setAttribute("aria-describedby", "place");
  }

  /** Go to where it is wrong, if it is. */
  go() {
    this.field.focus();
    if (!this.line) return;
    const before = this.text.split("\n").slice(0, this.line - 1).join("\n");
    const start = before.length + (this.line > 1 ? 1 : 0);
    const end = this.text.indexOf("\n", start);
    this.field.setSelectionRange(start, end < 0 ? this.text.length : end);
  }

  #count() {
    const count = this.text.split("\n").length;
    const marks = Array.from({ length: count }, (_, k) =>
      k + 1 === this.line ? element("span", { class: "bad" }, String(k + 1)) : String(k + 1),
    );
    this.numbers.replaceChildren(...marks.flatMap((one) => [one, "\n"]));
    this.#height();
    this.#scroll();
  }

  #height() {
    this.numbers.style.height = `${this.field.offsetHeight}px`;
  }

  #scroll() {
    this.numbers.scrollTop = this.field.scrollTop;
  }
}
