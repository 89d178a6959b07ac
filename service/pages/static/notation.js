/** Brackets as they are written, `[S: X]`, `[A, B]` and `(X)2` within each other, to step through. */

/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./parts.js").Bracket} Bracket */

const TOKEN = /[[\](),:]|[^\s[\](),:]+/g;
const COUNT = /^[1-9][0-9]?$/;
const KINDS = new Map([[":", "conjugate"], [",", "commutator"]]);

/**
 * What a notation is made of; null where it holds anything but brackets and exact names of turns.
 * @param {Tables} tables
 * @param {string} text
 * @returns {Bracket | null}
 */
export function bracketOfText(tables, text) {
  const tokens = text.match(TOKEN) ?? [];
  let at = 0;

  /** @returns {Bracket | null} what stands up to the next comma, colon or end of a bracket */
  const row = () => {
    /** @type {Bracket[]} */
    const parts = [];
    while (at < tokens.length && !",:])".includes(tokens[at])) {
      if (tokens[at] === "[" || tokens[at] === "(") {
        const own = tokens[at++] === "[" ? bracket() : repeat();
        if (!own) return null;
        parts.push(own);
        continue;
      }
      /** @type {string[]} */
      const turns = [];
      while (at < tokens.length && tables.turnNumbers.has(tokens[at])) turns.push(tokens[at++]);
      if (!turns.length) return null;
      parts.push(made("turns", [], turns.join(" ")));
    }
    return parts.length === 1 ? parts[0] : made("row", parts);
  };

  /** @returns {Bracket | null} */
  const bracket = () => {
    const first = row();
    const kind = KINDS.get(tokens[at++] ?? "");
    const second = kind ? row() : null;
    return first && second && kind && tokens[at++] === "]" ? made(kind, [first, second]) : null;
  };

  /** @returns {Bracket | null} */
  const repeat = () => {
    const own = row();
    if (!own || tokens[at++] !== ")" || !COUNT.test(tokens[at] ?? "")) return null;
    const times = Number(tokens[at++]);
    return { ...made("repeat", [own]), notation: `(${own.notation})${times}`, times };
  };

  const whole = row();
  return whole && at === tokens.length ? whole : null;
}

/**
 * @param {string} kind
 * @param {Bracket[]} parts
 * @param {string} [turns]
 * @returns {Bracket}
 */
function made(kind, parts, turns = "") {
  const names = parts.map((part) => part.notation);
  const between = kind === "conjugate" ? ": " : ", ";
  const notation = turns || (kind === "row" ? names.join(" ") : `[${names.join(between)}]`);
  return { kind, notation, turns, times: 1, parts };
}
