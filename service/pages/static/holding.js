/** Pictures that can be taken in hand: the drawing comes when somebody wants it, not before. */

/**
 * Let a picture be taken in hand.
 *
 * @param {HTMLElement} figure `data-drawing` says where the drawing is, `data-sequence` or
 *   `data-cycle` what is marked in it
 */
export function holding(figure) {
  const button = figure.querySelector("button.hold");
  const status = figure.querySelector("[role=status]");
  if (!(button instanceof HTMLButtonElement)) return;
  /** @param {string} text */
  const say = (text) => {
    if (status) status.textContent = text;
  };
  button.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    say("One moment.");
    try {
      const { cycles, drawn, effectOf, markCycles, word } = await import("./live.js");
      const drawing = await drawn(figure, say);
      const { tables } = drawing;
      const { sequence, cycle } = figure.dataset;
      if (sequence) markCycles(drawing, cycles(tables, effectOf(tables, word(tables, sequence))));
      if (cycle) {
        const places = cycle.split(",").map((name) => tables.placementNames.indexOf(name));
        if (!places.includes(-1)) markCycles(drawing, [places]);
      }
      button.remove();
      say("Drag it, or use the arrow keys; the question mark says all keys.");
      drawing.canvas.focus();
    } catch {
      button.disabled = false;
      say("The drawing did not come; try again.");
    }
  });
}
