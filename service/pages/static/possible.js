/** Why a cycle that is being clicked cannot be done, as far as a page knows that by itself. */

/** @typedef {import("./state.js").Tables} Tables */
/**
 * What may turn and may move.
 * @typedef {object} Allowed
 * @property {readonly number[]} layers those that may turn
 * @property {readonly number[]} free types that may end up anywhere
 * @property {boolean} anyTwist
 */

/**
 * Return why no sequence brings the first of some placements to the others, null where nothing
 * that can be seen here forbids it. Laws of the whole group are the service's to say.
 * @param {Tables} tables
 * @param {readonly number[]} places in the order in which they were chosen, the last one new
 * @param {Allowed} allowed
 */
export function whyNot(tables, places, allowed) {
  const { slotOf, slotNames, placementNames, typeOf, typeNames } = tables;
  const last = places[places.length - 1];
  const [slot, name] = [slotOf[last], placementNames[last]];
  const kind = typeOf[slot];
  const other = places.map((place) => slotOf[place]).find((one) => typeOf[one] !== kind);
  if (other !== undefined) {
    return (
      `${name} is of type ${typeNames[kind]} and ${slotNames[other]} of type ` +
      `${typeNames[typeOf[other]]}; a piece only ever goes to places of its type`
    );
  }
  if (allowed.free.includes(kind)) {
    return `${name} is of type ${typeNames[kind]}, which may end up anywhere; take the tick away to ask for it`;
  }
  const every = tables.layerNames.map((_, layer) => layer);
  const all = reached(tables, last, every);
  if (!leaves(tables, all, slot)) return `no layer takes ${name} anywhere`;
  if (!allowed.layers.length) return "no layer may turn";
  const some = reached(tables, last, allowed.layers);
  const names = allowed.layers.map((layer) => tables.layerNames[layer]).join(" and ");
  const only = allowed.layers.length < every.length ? `with only ${names} turning, ` : "";
  if (!leaves(tables, some, slot)) return `${only}${name} never leaves its slot`;
  for (const from of places.slice(0, -1)) {
    const there = [...some].filter((place) => slotOf[place] === slotOf[from]);
    if (!there.length) return `${only}${placementNames[from]} cannot get to ${name}`;
    if (allowed.anyTwist || some.has(from)) continue;
    const fit = [...reached(tables, from, allowed.layers)].filter((place) => slotOf[place] === slot);
    const text = fit.map((place) => placementNames[place]).join(" or ");
    return `${only}${placementNames[from]} cannot get to ${name}, in that slot only to ${text}`;
  }
  return null;
}

/**
 * The placements to which turns of some layers take what is at a placement.
 * @param {Tables} tables
 * @param {number} place
 * @param {readonly number[]} layers
 */
function reached(tables, place, layers) {
  const allowed = new Set(layers);
  const moves = tables.moves.filter((_, turn) => allowed.has(tables.turnLayer[turn]));
  const found = new Set([place]);
  for (const here of found) {
    for (const move of moves) found.add(move[here]);
  }
  return found;
}

/**
 * @param {Tables} tables
 * @param {Set<number>} places
 * @param {number} slot
 */
function leaves(tables, places, slot) {
  return [...places].some((place) => tables.slotOf[place] !== slot);
}
