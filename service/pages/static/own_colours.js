/** The colours of somebody's own puzzle, kept in this browser, and how a drawing takes them on. */

import { Board } from "./board.js";
import { button, element } from "./live.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */

const NAME = "trefoil.colours";
const COLOUR = /^#[0-9a-f]{6}$/i;
/** What is drawn where nothing is known. */
const UNKNOWN = "#8C8C8C";

/** @returns {Record<string, Record<string, string>>} */
function all() {
  try {
    const kept = JSON.parse(localStorage.getItem(NAME) ?? "{}");
    return kept && typeof kept === "object" && !Array.isArray(kept) ? kept : {};
  } catch {
    return {};
  }
}

/**
 * The colours that were chosen for a puzzle, by face.
 * @param {string} puzzle
 * @returns {Map<string, string>}
 */
export function chosen(puzzle) {
  const rows = Object.entries(all()[puzzle] ?? {});
  return new Map(rows.filter(([, colour]) => typeof colour === "string" && COLOUR.test(colour)));
}

/**
 * Keep them; false where this browser keeps nothing.
 * @param {string} puzzle
 * @param {ReadonlyMap<string, string>} colours
 */
function keep(puzzle, colours) {
  try {
    localStorage.setItem(NAME, JSON.stringify({ ...all(), [puzzle]: Object.fromEntries(colours) }));
    return true;
  } catch {
    return false;
  }
}

/**
 * How each face is painted: colour, core and ink.
 * @param {Drawing} drawing
 * @param {ReadonlyMap<string, string>} colours
 * @returns {[string, string, string][]}
 */
export function paints(drawing, colours) {
  const { faces } = drawing.tables.data;
  return (faces?.name ?? []).map((name, face) => {
    const own = colours.get(name);
    if (own) return [own, "", light(own) ? "#000000" : "#FFFFFF"];
    return [faces?.colour[face] ?? "", faces?.core[face] ?? "", faces?.ink[face] ?? ""];
  });
}

/**
 * Let a drawing have these colours.
 * @param {Drawing} drawing
 * @param {ReadonlyMap<string, string>} colours
 * @param {{sticker?: ReadonlyMap<number, number>, blank?: ReadonlySet<number>, grey?: ReadonlySet<number>}} [other]
 *   stickers that have the colour of another face; pieces and stickers of which nothing is known
 */
export function recolour(drawing, colours, { sticker = new Map(), blank = new Set(), grey = new Set() } = {}) {
  const { body, tables } = drawing;
  drawing.unknown = blank;
  if (body instanceof Board) {
    const { places } = tables.data;
    tables.slotNames.forEach((_, piece) => {
      const own = places && !blank.has(piece);
      body.colours[piece] = own ? places.colour[piece] : UNKNOWN;
      body.inks[piece] = own ? places.ink[piece] : UNKNOWN;
    });
  } else {
    const faces = paints(drawing, colours);
    body.faceOf.forEach((home, k) => {
      const face = sticker.get(k) ?? home;
      const unknown = blank.has(body.slotOf[k]) || grey.has(k);
      if (unknown) body.paint(k, UNKNOWN, "", "#000000");
      else if (face >= 0) body.paint(k, ...faces[face]);
      else body.paint(k, body.unpainted, "", "#000000");
    });
  }
  drawing.paint();
}

/** Whether black stands out on a colour better than white (WCAG 2). @param {string} colour */
function light(colour) {
  const [r, g, b] = [1, 3, 5].map((k) => {
    const x = Number.parseInt(colour.slice(k, k + 2), 16) / 255;
    return x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b > 0.179;
}

/**
 * Where the colours of a puzzle are chosen.
 * @param {Drawing} drawing
 * @param {string} puzzle
 * @param {(colours: Map<string, string>, said: string) => void} changed
 */
export function choosing(drawing, puzzle, changed) {
  const faces = drawing.tables.data.faces?.name ?? [];
  const inputs = faces.map((name) => element("input", { type: "color", "aria-label": `the colour of ${name}` }));
  const show = () => {
    const now = paints(drawing, chosen(puzzle));
    inputs.forEach((input, face) => (input.value = now[face][0]));
  };
  /** @param {Map<string, string>} colours */
  const take = (colours) => {
    const kept = keep(puzzle, colours);
    const now = paints(drawing, colours).map(([colour, core]) => `${colour} ${core}`.toLowerCase());
    const face = now.findIndex((colour, k) => now.indexOf(colour) < k);
    const same = face < 0 ? "" : `${faces[now.indexOf(now[face])]} and ${faces[face]} have the same colour now.`;
    changed(colours, same || (kept ? "The colours are kept in this browser." : "This browser keeps nothing; the colours are lost with the page."));
  };
  inputs.forEach((input, face) =>
    input.addEventListener("change", () => take(new Map(chosen(puzzle)).set(faces[face], input.value))),
  );
  show();
  const usual = button("As they were", () => {
    take(new Map());
    show();
  }, { class: "plain" });
  const labels = inputs.map((input, face) => element("label", {}, faces[face], input));
  return element(
    "details",
    {},
    element("summary", {}, "the colours of your own puzzle"),
    element("div", { class: "mine" }, ...labels, usual),
  );
}
