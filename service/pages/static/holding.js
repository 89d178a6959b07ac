/** Pictures that can be taken in hand: the drawing comes when somebody wants it, not before. */

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./stepping.js").Stepper} Stepper */

/** The drawings that were wanted, by their figures. @type {WeakMap<HTMLElement, Promise<Drawing>>} */
const held = new WeakMap();

/**
 * Let a picture be taken in hand.
 *
 * @param {HTMLElement} figure `data-drawing` says where the drawing is, `data-sequence`,
 *   `data-cycle` or `data-effect` what is marked in it
 */
export function holding(figure) {
  const button = figure.querySelector("button.hold");
  if (!(button instanceof HTMLButtonElement)) return;
  button.hidden = false;
  button.addEventListener("click", async () => {
    try {
      const drawing = await hold(figure);
      const { cycles, effectOf, markCycles, word } = await import("./live.js");
      const { tables } = drawing;
      const { sequence, cycle, effect } = figure.dataset;
      if (sequence) markCycles(drawing, cycles(tables, effectOf(tables, word(tables, sequence))));
      if (cycle) {
        const places = cycle.split(",").map((name) => tables.placementNames.indexOf(name));
        if (!places.includes(-1)) markCycles(drawing, [places]);
      }
      if (effect) {
        const [{ read }, { markEffect }] = await Promise.all([import("./effect_wish.js"), import("./effect_marks.js")]);
        const own = read(tables, effect);
        if (own) markEffect(drawing, own);
      }
      saying(figure)("Drag it, or use the arrow keys; the question mark says all keys.");
      drawing.canvas.focus();
    } catch {
      // It was said.
    }
  });
}

/**
 * The drawing in the place of a picture; rejects, after saying so, where it does not come.
 * @param {HTMLElement} figure
 * @returns {Promise<Drawing>}
 */
export function hold(figure) {
  const known = held.get(figure);
  if (known) return known;
  const button = figure.querySelector("button.hold");
  const say = saying(figure);
  if (button instanceof HTMLButtonElement) button.disabled = true;
  say("One moment.");
  const coming = import("./live.js").then(({ drawn }) => drawn(figure, say));
  held.set(figure, coming);
  coming.then(
    () => {
      button?.remove();
      say("");
    },
    () => {
      held.delete(figure);
      if (button instanceof HTMLButtonElement) button.disabled = false;
      say("The drawing did not come; try again.");
    },
  );
  return coming;
}

/**
 * Take the drawings in what leaves the page off it, with all that listens for them.
 * @param {Element} root
 */
export function release(root) {
  for (const figure of root.querySelectorAll("figure[data-drawing]")) {
    const known = held.get(/** @type {HTMLElement} */ (figure));
    known?.then(
      (drawing) => drawing.destroy(),
      () => undefined,
    );
    held.delete(/** @type {HTMLElement} */ (figure));
  }
}

/**
 * What says something beside a picture.
 * @param {HTMLElement} figure
 * @returns {(text: string) => void}
 */
export function saying(figure) {
  const status = figure.querySelector("[role=status]");
  return (text) => {
    if (status && status.textContent !== text) status.textContent = text;
  };
}

/**
 * What steps through a drawing that comes when it is wanted.
 * @param {HTMLElement} figure
 * @param {HTMLElement} panel where the controls go
 * @returns {() => Promise<Stepper>}
 */
export function stepper(figure, panel) {
  /** @type {Promise<Stepper> | null} */
  let made = null;
  return () => {
    made ??= Promise.all([hold(figure), import("./stepping.js")]).then(
      ([drawing, { Stepper }]) => new Stepper(drawing, panel, saying(figure)),
    );
    made.catch(() => (made = null));
    return made;
  };
}
