/** The steps that put the last pieces right, one by one or all of them, on the drawing. */

import { hold, saying, stepper } from "./holding.js";
import { steppable } from "./steppable.js";

/** @typedef {import("./stepping.js").Stepper} Stepper */

/** The most steps that have a picture each where all of them are stepped through. */
const MOST = 40;

/** Let the steps that stand on the page be stepped through. */
function begin() {
  const figure = /** @type {HTMLElement | null} */ (document.querySelector("figure[data-drawing]"));
  const panel = document.getElementById("stepping");
  if (!figure || !panel || panel.dataset.ready) return;
  panel.dataset.ready = "yes";
  const list = /** @type {HTMLElement | null} */ (document.querySelector(".laststeps"));
  if (list) steps(list, stepper(figure, panel));
  const repair = /** @type {HTMLElement | null} */ (document.querySelector(".repair[data-slots]"));
  if (repair) void mark(figure, repair);
}

/**
 * All steps as parts, or where they are too many for a picture each, the sections that they stand in.
 * @param {HTMLElement[]} rows
 * @param {number[][]} turns
 */
function parts(rows, turns) {
  if (rows.length <= MOST) return turns.map((row, k) => ({ label: `step ${k + 1}`, turns: row }));
  const sections = new Map(rows.map((li) => [li.closest("details.section"), /** @type {number[]} */ ([])]));
  rows.forEach((li, k) => sections.get(li.closest("details.section"))?.push(...turns[k]));
  return [...sections].map(([own, row]) => ({
    label: /** @type {HTMLElement | null} */ (own)?.dataset.section ?? "steps",
    turns: row,
  }));
}

/**
 * @param {HTMLElement} list
 * @param {() => Promise<Stepper>} wanted
 */
function steps(list, wanted) {
  const rows = /** @type {HTMLElement[]} */ ([...list.querySelectorAll("li[data-step]")]);
  const ready = async () => {
    const [own, { bracketOfText }, { partsOfBracket }, { word }, { chosen, recolour }] = await Promise.all([
      wanted(),
      import("./notation.js"),
      import("./parts.js"),
      import("./live.js"),
      import("./own_colours.js"),
    ]);
    const { tables } = own.drawing;
    recolour(own.drawing, chosen(tables.data.puzzle));
    const before = word(tables, list.dataset.before ?? "");
    const turns = rows.map((li) => word(tables, li.dataset.sequence ?? ""));
    return { own, before, turns, bracketOfText, partsOfBracket };
  };
  // Where the steps do not solve it, nobody knows turns to the state before them.
  const whole = list.dataset.before !== undefined;
  if (rows.length > 1 && whole) {
    const all = steppable(list, "all steps", async () => {
      const { own, before, turns } = await ready();
      own.take(parts(rows, turns), [], "All steps", before);
      return own.strip();
    });
    if (all.firstChild) all.firstChild.textContent = "Step through all of it";
  }
  rows.forEach((li, k) => {
    const how = li.querySelector(":scope > .how");
    const name = li.dataset.step ?? "";
    if (!how) return;
    steppable(how, name, async () => {
      const { own, before, turns, bracketOfText, partsOfBracket } = await ready();
      const plain = { kind: "turns", notation: name, turns: li.dataset.sequence ?? "", times: 1, parts: [] };
      const parts = partsOfBracket(own.drawing.tables, bracketOfText(own.drawing.tables, name) ?? plain);
      const cycle = (li.dataset.cycle ?? "").split(",").filter((one) => one !== "");
      own.take(parts, cycle, name, whole ? [...before, ...turns.slice(0, k).flat()] : []);
      return own.strip();
    });
  });
}

/**
 * Show where a state that no sequence solves is to be mended by hand.
 * @param {HTMLElement} figure
 * @param {HTMLElement} repair
 */
async function mark(figure, repair) {
  try {
    const drawing = await hold(figure);
    const [{ Seats }, { chosen, recolour }] = await Promise.all([import("./seats.js"), import("./own_colours.js")]);
    const { tables } = drawing;
    const seats = new Seats(tables);
    if (seats.read(repair.dataset.pieces ?? "")) drawing.set(seats.state().effect);
    recolour(drawing, chosen(tables.data.puzzle));
    const slots = (repair.dataset.slots ?? "").split(",").map((name) => tables.slotNames.indexOf(name));
    drawing.mark(new Map(slots.filter((slot) => slot >= 0).map((slot) => [`s${slot}`, "twisted"])));
    saying(figure)("What is to be taken out is outlined.");
  } catch {
    // It was said.
  }
}

begin();
// What was awaited comes into the page later.
new MutationObserver(begin).observe(document.getElementById("main") ?? document.body, { childList: true });
