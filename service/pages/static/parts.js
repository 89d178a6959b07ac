/** What a sequence is made of, in order: the parts of an answer, or brackets within brackets. */

import { bracketOfText } from "./notation.js";
import { inverse, parse } from "./state.js";

/** @typedef {import("./state.js").Tables} Tables */
/**
 * One part: `name` is what stands for it where it has parts of its own.
 * @typedef {{label: string, turns: number[], name?: string, parts?: Part[]}} Part
 */
/**
 * A bracket as the page on which sequences are read has it.
 * @typedef {object} Bracket
 * @property {string} kind
 * @property {string} notation
 * @property {string} turns its turns where it has no brackets in it
 * @property {number} times
 * @property {Bracket[]} parts
 */

/** The most parts with a picture each; what is beyond stays closed. */
const MOST = 40;
/** The most turns of a sequence without brackets that are parts each by itself. */
const MOST_TURNS = 24;

/**
 * The parts of S [A, B] S', in order; those without turns are left out.
 * @param {Tables} tables
 * @param {{setup: number[], a: number[], b: number[]}} form
 * @returns {Part[]}
 */
export function partsOf(tables, { setup, a, b }) {
  return filled([
    { label: "setup", turns: setup },
    { label: "A", turns: a },
    { label: "insert", turns: b },
    { label: "undo A", turns: inverse(tables, a) },
    { label: "insert back", turns: inverse(tables, b) },
    { label: "undo the setup", turns: inverse(tables, setup) },
  ]);
}

/**
 * The form of an answer that stands in the page, null where it is none that is stepped through.
 * @param {Tables} tables
 * @param {DOMStringMap} said
 */
export function formOf(tables, said) {
  const [setup, a, b] = [said.setup, said.a, said.b].map((text) => parse(tables, text ?? ""));
  return setup && a?.length && b?.length ? { setup, a, b } : null;
}

/**
 * The parts of an answer that stands in the page: those of S [A, B] S', else of its brackets as they
 * are written; null where it is nothing of the kind.
 * @param {Tables} tables
 * @param {DOMStringMap} said
 * @returns {Part[] | null}
 */
export function partsOfAnswer(tables, said) {
  const form = formOf(tables, said);
  if (form) return partsOf(tables, form);
  const own = bracketOfText(tables, said.notation ?? "");
  return own && partsOfBracket(tables, own);
}

/**
 * A bracket and all within it, from the list in which it stands.
 * @param {HTMLElement} li
 * @returns {Bracket}
 */
export function bracketOf(li) {
  const within = /** @type {HTMLElement[]} */ ([...li.querySelectorAll(":scope > ul > li")]);
  return {
    kind: li.dataset.kind ?? "",
    notation: li.dataset.notation ?? "",
    turns: li.dataset.turns ?? "",
    times: Number(li.dataset.times ?? 1),
    parts: within.map(bracketOf),
  };
}

/**
 * The parts of a bracket, as they are done; those that make too many pictures stay closed.
 * @param {Tables} tables
 * @param {Bracket} bracket
 * @returns {Part[]}
 */
export function partsOfBracket(tables, bracket) {
  const whole = made(tables, bracket, "all", false);
  const single = whole.turns.length > 1 && whole.turns.length <= MOST_TURNS;
  if (!whole.parts && single) {
    return whole.turns.map((turn, k) => ({ label: `turn ${k + 1}`, turns: [turn] }));
  }
  let count = whole.parts?.length ?? 1;
  const queue = [...(whole.parts ?? [])];
  for (let own = queue.shift(); own; own = queue.shift()) {
    if (!own.parts) continue;
    count += own.parts.length - 1;
    if (count > MOST) {
      count -= own.parts.length - 1;
      delete own.parts;
    } else queue.push(...own.parts);
  }
  return whole.parts && whole.parts.length <= MOST ? whole.parts : [{ label: "all", turns: whole.turns }];
}

/**
 * @param {Tables} tables
 * @param {Bracket} bracket
 * @param {string} label
 * @param {boolean} back whether it is undone
 * @returns {Part}
 */
function made(tables, bracket, label, back) {
  const [first, second] = bracket.parts;
  /** @param {Bracket} own @param {string} name @param {boolean} undo */
  const part = (own, name, undo) => made(tables, own, name, undo);
  /** @type {Part[] | null} */
  let parts = null;
  if (bracket.kind === "commutator") {
    const there = [part(first, "A", false), part(second, "insert", false)];
    const again = [part(first, "undo A", true), part(second, "insert back", true)];
    parts = back ? [there[1], there[0], again[1], again[0]] : [...there, ...again];
  } else if (bracket.kind === "conjugate") {
    parts = [part(first, "setup", false), part(second, "inside", back), part(first, "undo the setup", true)];
  } else if (bracket.kind === "repeat") {
    parts = Array.from({ length: bracket.times }, (_, k) => part(first, `time ${k + 1}`, back));
  } else if (bracket.kind === "row") {
    const row = back ? [...bracket.parts].reverse() : bracket.parts;
    parts = row.map((own, k) => part(own, `part ${k + 1}`, back));
  }
  if (!parts) {
    const turns = parse(tables, bracket.turns);
    if (!turns) throw new Error(`${bracket.turns}: exact names of turns were expected`);
    return { label, turns: back ? inverse(tables, turns) : turns };
  }
  const own = filled(parts);
  return { label, name: bracket.notation, turns: own.flatMap(({ turns }) => turns), parts: own };
}

/** @param {Part[]} parts */
function filled(parts) {
  return parts.filter(({ turns }) => turns.length > 0);
}
