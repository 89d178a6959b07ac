/**
 * An effect that is put together click by click: cycles of placements, the last one open until it is
 * closed. What is at the first place of a cycle goes to the second, and so on; a cycle within one
 * slot twists its piece. Plain values: the page shows them and says what it is told here.
 */

/** @typedef {import("./state.js").Tables} Tables */
/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {{closed: readonly (readonly number[])[], open: readonly number[]}} Effect */

/** @type {Effect} */
export const NOTHING = { closed: [], open: [] };

/**
 * The placement that is twisted from another in its slot as a third is from a fourth.
 * @param {Tables} tables
 * @param {number} place
 * @param {number} by
 */
function twisted(tables, place, by) {
  const slot = tables.slotOf[place];
  const twists = tables.twists[tables.typeOf[slot]];
  return tables.home[slot] + ((tables.twistOf[place] + by) % twists);
}

/**
 * A cycle that comes back to its first slot with a twist, gone on with until it is whole.
 * @param {Tables} tables
 * @param {readonly number[]} open its placements in different slots
 * @param {number} back the placement at which it comes back to the first slot
 */
function whole(tables, open, back) {
  const twists = tables.twists[tables.typeOf[tables.slotOf[back]]];
  const by = (tables.twistOf[back] - tables.twistOf[open[0]] + twists) % twists;
  const result = [...open];
  for (let k = by; k !== 0; k = (k + by) % twists) result.push(...open.map((p) => twisted(tables, p, k)));
  return result;
}

/**
 * Close the open cycle; it needs two places or more.
 * @param {Effect} effect
 * @returns {Effect}
 */
export function closed(effect) {
  return effect.open.length > 1 ? { closed: [...effect.closed, effect.open], open: [] } : effect;
}

/**
 * What a click on a sticker makes of an effect, and what there is to say of it; with `wrong` it
 * stays as it was.
 *
 * The first place of the open cycle closes it, another sticker of that piece too, with a twist. A
 * place that is in it otherwise is taken back. A piece of another type begins the next cycle.
 * @param {Tables} tables
 * @param {Effect} effect
 * @param {Pick} pick
 * @returns {{effect: Effect, said: string, wrong?: boolean}}
 */
export function clicked(tables, effect, pick) {
  const { slotOf, slotNames, placementNames, typeOf } = tables;
  const { placement, slot } = pick;
  const name = placementNames[placement];
  if (effect.closed.some((cycle) => cycle.some((place) => slotOf[place] === slot))) {
    return { effect, said: `${slotNames[slot]} is in a cycle already; undo that to use it again.`, wrong: true };
  }
  const { open } = effect;
  const at = open.findIndex((place) => slotOf[place] === slot);
  if (at === 0) return again(tables, effect, placement);
  if (at > 0) {
    const left = open.filter((_, k) => k !== at);
    return { effect: { ...effect, open: left }, said: `${slotNames[slot]} is taken back.` };
  }
  if (open.length && typeOf[slotOf[open[0]]] !== typeOf[slot]) {
    if (open.length === 1) {
      const first = placementNames[open[0]];
      const kinds = [typeOf[slotOf[open[0]]], typeOf[slot]].map((kind) => tables.typeNames[kind]);
      const text = `${first} is of type ${kinds[0]} and ${name} of type ${kinds[1]}; a piece only ever goes to places of its type`;
      return { effect, said: `Impossible: ${text}.`, wrong: true };
    }
    const next = { ...closed(effect), open: [placement] };
    return { effect: next, said: `The cycle is closed; ${name} begins the next one.` };
  }
  const next = { ...effect, open: [...open, placement] };
  if (!open.length) return { effect: next, said: `${name} begins a cycle; where does it go?` };
  const text = `${placementNames[open[open.length - 1]]} goes to ${name}.`;
  return { effect: next, said: `${text} Click ${placementNames[open[0]]} again to close the cycle, or go on.` };
}

/**
 * The first piece of the open cycle was clicked again.
 * @param {Tables} tables
 * @param {Effect} effect
 * @param {number} placement
 * @returns {{effect: Effect, said: string}}
 */
function again(tables, effect, placement) {
  const { open } = effect;
  const slot = tables.slotOf[placement];
  const type = tables.typeOf[slot];
  const shows = tables.data.types.stickered[type] && tables.data.stickers !== null;
  if (open.length === 1 && placement === open[0] && !(tables.twists[type] > 1 && !shows)) {
    return { effect: { ...effect, open: [] }, said: `${tables.slotNames[slot]} is taken back.` };
  }
  // Where no sticker shows a twist, a second click is one by one.
  const back = open.length === 1 && !shows ? twisted(tables, placement, 1) : placement;
  const cycle = whole(tables, open, back);
  const turns = cycle.length > open.length;
  const names = cycle.map((place) => tables.placementNames[place]).join(" ");
  const said = open.length === 1 ? `${tables.slotNames[slot]} is twisted in place: (${names}).` : `The cycle is closed: (${names}).`;
  const more = open.length > 1 && turns ? " It comes back twisted." : "";
  return { effect: { closed: [...effect.closed, cycle], open: [] }, said: `${said}${more}` };
}

/**
 * The last click taken back: the last place of the open cycle, or the closing of the last one.
 * @param {Tables} tables
 * @param {Effect} effect
 * @returns {Effect}
 */
export function undone(tables, effect) {
  if (effect.open.length) return { ...effect, open: effect.open.slice(0, -1) };
  const last = effect.closed[effect.closed.length - 1];
  if (!last) return effect;
  const slots = new Set(last.map((place) => tables.slotOf[place]));
  return { closed: effect.closed.slice(0, -1), open: last.slice(0, slots.size) };
}

/**
 * An effect as it is typed; what is open has no closing bracket.
 * @param {Tables} tables
 * @param {Effect} effect
 */
export function text(tables, { closed: cycles, open }) {
  /** @param {readonly number[]} cycle */
  const names = (cycle) => cycle.map((place) => tables.placementNames[place]).join(" ");
  const parts = cycles.map((cycle) => `(${names(cycle)})`);
  return parts.join("") + (open.length ? `(${names(open)}` : "");
}

/**
 * What was typed, as far as it is exact names of placements; null where only the service can read it.
 * @param {Tables} tables
 * @param {string} typed
 * @returns {Effect | null}
 */
export function read(tables, typed) {
  if (!/^\s*(\([^()]*\)[\s,]*)*(\([^()]*)?$/.test(typed)) return null;
  /** @type {number[][]} */
  const cycles = [];
  for (const [, inside] of typed.matchAll(/\(([^()]*)/g)) {
    const names = inside.split(/->|[→,\s]+/).filter((name) => name !== "");
    cycles.push(names.map((name) => tables.placementNames.indexOf(name)));
  }
  if (cycles.flat().includes(-1)) return null;
  const open = typed.trimEnd().replace(/,$/, "").endsWith(")") ? [] : (cycles.pop() ?? []);
  // Pieces of two types in a cycle are the service's to refuse: nothing here can seat them.
  /** @param {number[]} cycle */
  const one = (cycle) => new Set(cycle.map((place) => tables.typeOf[tables.slotOf[place]])).size < 2;
  const sound = one(open) && cycles.every((cycle) => cycle.length > 1 && one(cycle));
  return sound ? { closed: cycles, open } : null;
}

/**
 * The steps to be numbered in a drawing, in order, and the pairs that arrows join. Where no sticker
 * shows how a piece sits it is one step.
 * @param {Tables} tables
 * @param {Effect} effect
 * @returns {{steps: number[], arrows: [number, number][], twisted: number[]}} the pieces that are
 *   twisted and do not show how are in `twisted`
 */
export function steps(tables, effect) {
  /** @type {{steps: number[], arrows: [number, number][], twisted: number[]}} */
  const result = { steps: [], arrows: [], twisted: [] };
  for (const cycle of [...effect.closed, effect.open]) {
    if (!cycle.length) continue;
    const type = tables.typeOf[tables.slotOf[cycle[0]]];
    const shows = tables.data.types.stickered[type] && tables.data.stickers !== null;
    const seen = new Set();
    const own = cycle.filter((place) => {
      const key = shows ? place : tables.slotOf[place];
      const first = !seen.has(key);
      seen.add(key);
      return first;
    });
    if (own.length === 1 && cycle.length > 1) result.twisted.push(own[0]);
    result.steps.push(...own);
    const last = cycle === effect.open ? own.length - 1 : own.length;
    if (own.length > 1) for (let k = 0; k < last; k++) result.arrows.push([own[k], own[(k + 1) % own.length]]);
  }
  return result;
}
