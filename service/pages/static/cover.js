/** A favourite: a cell of the grid shows its case, which can be stepped through on the drawing. */

import { AGAIN, LOST, pause } from "./connection.js";
import { hold, stepper } from "./holding.js";
import { enhance } from "./page.js";
import { steppable } from "./steppable.js";

/** @typedef {import("./parts.js").Part} Part */

/** The keys that go from cell to cell, and how far: rows and columns. @type {Record<string, [number, number]>} */
const STEPS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

const figure = /** @type {HTMLElement | null} */ (document.querySelector("figure[data-drawing]"));
const panel = document.getElementById("stepping");
const grid = /** @type {HTMLTableElement | null} */ (document.getElementById("grid"));
const wanted = figure && panel ? stepper(figure, panel) : null;
/** What was chosen last; answers to anything else come too late. */
let asked = 0;
/** The address that the page shows or waits for, without what is only a place in it. */
let address = here();

function here() {
  return location.pathname + location.search;
}

/** @param {string} text */
function say(text) {
  const said = document.getElementById("said");
  if (said) said.textContent = text;
}

/** Let the case that the page shows be stepped through. */
function begin() {
  const own = document.getElementById("case");
  const before = own?.querySelector(".how");
  if (!own || !before || !wanted) return;
  const { cycle = "", setup = "", favourite = "", notation = "" } = own.dataset;
  steppable(before, notation, async () => {
    const step = await wanted();
    const { inverse, parse } = await import("./state.js");
    const { tables } = step.drawing;
    /** @param {string} text */
    const read = (text) => {
      const turns = parse(tables, text);
      if (!turns) throw new Error(`${text}: exact names of turns were expected`);
      return turns;
    };
    const [around, inside] = [read(setup), read(favourite)];
    /** @type {Part[]} */
    const turns = inside.map((turn, k) => ({ label: `turn ${k + 1}`, turns: [turn] }));
    /** @type {Part[]} */
    const parts = [
      { label: "setup", turns: around },
      { label: "favourite", name: favourite, turns: inside, parts: turns },
      { label: "undo the setup", turns: inverse(tables, around) },
    ];
    step.take(
      parts.filter((part) => part.turns.length > 0),
      cycle.split(","),
      notation,
    );
    return step.strip();
  });
}

/**
 * Show the case of another address in the place of this one's.
 * @param {string} href
 * @param {boolean} anew whether the browser is to come back to what was there before
 */
async function show(href, anew) {
  const own = ++asked;
  say("One moment.");
  for (;;) {
    try {
      const answer = await fetch(href, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (own !== asked) return;
      const fresh = page.getElementById("case");
      const old = document.getElementById("case");
      if (!fresh || !old) {
        say(page.querySelector(".wrong")?.textContent ?? "This case did not come.");
        return;
      }
      if (anew) history.pushState(null, "", href);
      address = here();
      old.replaceWith(document.adoptNode(fresh));
      enhance(fresh);
      begin();
      mark(page);
      await picture(page);
      const name = fresh.querySelector("h2")?.textContent ?? "";
      const way = fresh.dataset.notation ?? "out of reach with so much setup";
      say(`${name}: ${way}`);
      picked(name, way);
      return;
    } catch {
      if (own !== asked) return;
      say(LOST);
      await pause(AGAIN);
      if (own !== asked) return;
    }
  }
}

/**
 * Say beside the grid what was chosen: the case itself stands far above.
 * @param {string} name
 * @param {string} way
 */
function picked(name, way) {
  const own = document.getElementById("picked");
  if (!own) return;
  const link = document.createElement("a");
  link.href = "#case";
  link.textContent = "See it";
  const words = document.createElement("strong");
  words.textContent = way;
  own.replaceChildren(`${name}: `, words, " ", link);
  own.hidden = false;
}

/**
 * Mark the cell that is chosen, as the fresh page has it.
 * @param {Document} page
 */
function mark(page) {
  const there = page.querySelector("#grid a[aria-current]")?.getAttribute("href");
  for (const link of grid?.querySelectorAll("a") ?? []) {
    if (link.getAttribute("href") === there) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  }
}

/**
 * Mark the case in the picture, or in the drawing where that has come.
 * @param {Document} page
 */
async function picture(page) {
  const fresh = /** @type {HTMLElement | null} */ (page.querySelector("figure[data-drawing]"));
  if (!figure || !fresh) return;
  figure.dataset.cycle = fresh.dataset.cycle ?? "";
  const [image, other] = [figure.querySelector("img"), fresh.querySelector("img")];
  if (image && other) {
    image.src = other.src;
    image.alt = other.alt;
  }
  if (!figure.querySelector("canvas")) return;
  const drawing = await hold(figure);
  if (panel && !panel.hidden && wanted) (await wanted()).drop();
  const { markCycles } = await import("./live.js");
  const places = (fresh.dataset.cycle ?? "").split(",").map((name) => drawing.tables.placementNames.indexOf(name));
  if (!places.includes(-1)) markCycles(drawing, [places]);
}

/** Let arrow keys go from cell to cell; one cell alone is reached by the tab key. */
function walkable() {
  if (!grid) return;
  const links = /** @type {HTMLAnchorElement[]} */ ([...grid.querySelectorAll("a")]);
  const start = links.find((link) => link.hasAttribute("aria-current")) ?? links[0];
  for (const link of links) link.tabIndex = link === start ? 0 : -1;
  grid.addEventListener("focusin", (event) => {
    const here = event.target;
    if (!(here instanceof HTMLAnchorElement)) return;
    for (const link of links) link.tabIndex = link === here ? 0 : -1;
  });
  grid.addEventListener("keydown", (event) => {
    const step = STEPS[event.key];
    const cell = event.target instanceof Element ? event.target.closest("td") : null;
    if (!step || !cell || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    const row = /** @type {HTMLTableRowElement} */ (cell.parentElement);
    let [r, c] = [row.rowIndex + step[0], cell.cellIndex + step[1]];
    for (;;) {
      const next = grid.rows[r]?.cells[c];
      if (!next) return;
      const link = next.querySelector("a");
      if (link) {
        link.focus();
        return;
      }
      r += step[0];
      c += step[1];
    }
  });
  grid.addEventListener("click", (event) => {
    const link = event.target instanceof Element ? event.target.closest("a") : null;
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    void show(link.href, true);
  });
}

addEventListener("popstate", () => {
  // Going to a place within the page, such as to the case itself, is no other case.
  if (here() === address) return;
  address = here();
  void show(location.href, false);
});
begin();
walkable();
