/** One size of a new puzzle: its field, its slider, and the ruler that says which sizes give what. */

import { button, counted, element, part } from "./element.js";

/**
 * @typedef {{from: number, to: number, step: number, usual: string}} Range
 * @typedef {{from: number, to: number, entry: string, pieces: number, counts: number[]}} Span
 * @typedef {{at: number, entry: string, pieces: number, counts: number[]}} Exact
 * @typedef {{size: string, unit: string | null, complete: boolean, ranges: Span[], exact: Exact[]}} Ranges
 */

const SVG = "http://www.w3.org/2000/svg";
/** How wide a strip is in its own units. */
const WIDTH = 1000;
/** The most sizes that are offered as buttons; all are marked on the strip. */
const MOST = 24;
/** Sizes closer than this are one. */
const SAME = 1e-5;

export class Size {
  /** @type {number | null} */
  value = null;
  /** @type {Ranges | null} */
  ranges = null;

  /**
   * @param {string} name
   * @param {(size: Size) => void} changed is told when somebody sets it
   */
  constructor(name, changed) {
    this.name = name;
    this.field = /** @type {HTMLInputElement} */ (part(name));
    this.slider = /** @type {HTMLInputElement} */ (part(`${name}-slider`));
    this.ruler = part(`${name}-ruler`);
    this.slider.hidden = false;
    this.slider.disabled = false;
    this.slider.addEventListener("input", () => {
      this.field.value = plain(this.slider.valueAsNumber);
      this.at(this.slider.valueAsNumber);
      changed(this);
    });
    this.field.addEventListener("input", () => {
      this.#follow();
      changed(this);
    });
    this.changed = () => changed(this);
    this.#follow();
  }

  /** Let the slider stand where the field says, if that is a number; what a formula is comes later. */
  #follow() {
    const number = Number(this.text.replace(/deg$/, ""));
    if (this.text && Number.isFinite(number)) this.at(number);
  }

  get text() {
    return this.field.value.trim();
  }

  /** @param {string} text */
  set(text) {
    this.field.value = text;
    this.#follow();
  }

  /**
   * Let the slider stand at a number.
   * @param {number} value
   */
  at(value) {
    this.value = value;
    if (document.activeElement !== this.slider || Math.abs(this.slider.valueAsNumber - value) > SAME) {
      this.slider.value = String(value);
    }
    this.slider.setAttribute("aria-valuetext", this.field.value || plain(value));
    this.#here();
  }

  /** @param {Range} range @param {string} unit */
  reach(range, unit) {
    this.slider.min = String(range.from);
    this.slider.max = String(range.to);
    this.slider.step = String(range.step);
    if (this.value !== null) this.at(this.value);
    const own = this.field.parentElement?.querySelector(".unit");
    if (own) own.textContent = unit;
  }

  /** @param {boolean} wrong */
  mark(wrong) {
    if (wrong) {
      this.field.setAttribute("aria-invalid", "true");
      this.field.setAttribute("aria-describedby", "problem");
    } else {
      this.field.removeAttribute("aria-invalid");
      this.field.removeAttribute("aria-describedby");
    }
  }

  /**
   * Show which sizes give what, or with null nothing.
   * @param {Ranges | null} told
   */
  rule(told) {
    this.ranges = told;
    const focused = this.ruler.contains(document.activeElement)
      ? document.activeElement?.getAttribute("data-entry")
      : null;
    this.ruler.hidden = told === null || told.ranges.length + told.exact.length === 0;
    if (!told) {
      this.ruler.replaceChildren();
      return;
    }
    const chips = [
      ...told.ranges.map((own) => ({ ...own, exact: false, begin: own.from })),
      ...told.exact.map((own) => ({ ...own, from: own.at, to: own.at, exact: true, begin: own.at })),
    ].sort((a, b) => a.begin - b.begin || Number(b.exact) - Number(a.exact));
    const rows = chips.slice(0, MOST).map((own) => element("li", {}, this.#chip(own)));
    const more = chips.length - rows.length;
    const said = [
      more > 0 ? `${more} more are marked on the strip.` : "",
      told.complete ? "" : "Not all sizes were looked at.",
    ].join(" ");
    this.ruler.replaceChildren(
      this.#strip(told),
      element("p", { class: "soft" }, "How many pieces each size gives. ", element("span", { class: "here" })),
      element("ul", { class: "chips", "aria-label": "Sizes, by how many pieces they give" }, ...rows),
      ...(said.trim() ? [element("p", { class: "soft" }, said.trim())] : []),
    );
    this.#here();
    if (focused) {
      const again = [...this.ruler.querySelectorAll("button")].find((one) => one.dataset.entry === focused);
      again?.focus();
    }
  }

  /** @param {{from: number, to: number, entry: string, pieces: number, counts: number[], exact: boolean}} own */
  #chip(own) {
    const where = own.exact ? `at ${short(own.from, own.entry)}` : `from ${short(own.from)} to ${short(own.to)}`;
    const chip = button(`${own.pieces} ${where} `, () => {
      this.field.value = own.entry;
      this.at(own.exact ? own.from : Number(own.entry));
      this.changed();
    }, {
      class: own.exact ? "exact" : null,
      "data-entry": own.entry,
      "data-from": String(own.from),
      "data-to": String(own.to),
      "aria-pressed": "false",
    });
    // What is heard begins with what is seen (WCAG 2.2, 2.5.3).
    chip.append(element("span", { class: "aside" }, `(${byKind(own.counts)})`));
    chip.dataset.kinds = byKind(own.counts);
    return chip;
  }

  /** @param {Ranges} told */
  #strip(told) {
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("class", "strip");
    svg.setAttribute("viewBox", `0 0 ${WIDTH} 12`);
    svg.setAttribute("preserveAspectRatio", "none");
    svg.setAttribute("aria-hidden", "true");
    const [low, high] = [Number(this.slider.min), Number(this.slider.max)];
    /** @param {number} value */
    const across = (value) => (WIDTH * (value - low)) / (high - low);
    told.ranges.forEach((own, k) => {
      svg.append(
        shape("rect", k % 2 ? "other" : "one", {
          x: across(own.from),
          y: 1,
          width: Math.max(across(own.to) - across(own.from), 0),
          height: 10,
        }),
      );
    });
    for (const { at } of told.exact) {
      svg.append(shape("line", "exact", { x1: across(at), x2: across(at), y1: 0, y2: 12 }));
    }
    return svg;
  }

  /** Mark the range or the size where the slider is. */
  #here() {
    const { value } = this;
    let kinds = "";
    for (const chip of this.ruler.querySelectorAll("button")) {
      const [from, to] = [Number(chip.dataset.from), Number(chip.dataset.to)];
      const here =
        value !== null &&
        (from === to ? Math.abs(value - from) < SAME : value > from + SAME && value < to - SAME);
      chip.setAttribute("aria-pressed", String(here));
      if (here) kinds = chip.dataset.kinds ?? "";
    }
    const said = this.ruler.querySelector(".here");
    if (said) said.textContent = kinds ? `Here there are ${kinds}.` : "";
  }
}

/**
 * Counted pieces in words; those that turns bring to each other's places are one kind.
 * @param {readonly number[]} counts
 */
export function byKind(counts) {
  const sum = counts.reduce((one, other) => one + other, 0);
  const last = counts.length > 1 ? ` and ${counts[counts.length - 1]}` : "";
  const rows = counts.length > 1 ? counts.slice(0, -1) : counts;
  return `${counted(sum, "piece")} of ${counted(counts.length, "kind")}: ${rows.join(", ")}${last}`;
}

/**
 * @param {"rect" | "line"} name
 * @param {string} kind
 * @param {Record<string, number>} places
 */
function shape(name, kind, places) {
  const own = document.createElementNS(SVG, name);
  own.setAttribute("class", kind);
  for (const [key, value] of Object.entries(places)) own.setAttribute(key, value.toFixed(2));
  return own;
}

/** A number as it stands in a field. @param {number} value */
function plain(value) {
  return String(Number(value.toFixed(4)));
}

/**
 * A number as it is read, or the formula for it where that is short.
 * @param {number} value
 * @param {string} [entry]
 */
function short(value, entry = "") {
  return entry && !/^[-0-9.]+$/.test(entry) && entry.length <= 16 ? entry : String(Number(value.toFixed(3)));
}
