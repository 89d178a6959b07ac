/** A result's page: each answer, and each that is folded under one, can be stepped through. */

import { stepper } from "./holding.js";
import { steppable } from "./steppable.js";

/**
 * Let all answers in a part of the page be stepped through.
 * @param {ParentNode} root
 * @param {() => Promise<import("./stepping.js").Stepper>} wanted
 */
function answers(root, wanted) {
  for (const li of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll("li[data-a]"))) {
    const before = li.querySelector(":scope > .how");
    const name = li.dataset.notation ?? "";
    if (!before) continue;
    steppable(before, name, async () => {
      const own = await wanted();
      const { partsOfAnswer } = await import("./parts.js");
      const { tables } = own.drawing;
      const parts = partsOfAnswer(tables, li.dataset);
      if (!parts) throw new Error(`${name}: brackets and turns were expected`);
      own.take(parts, (li.dataset.cycle ?? "").split(","), name);
      return own.strip();
    });
  }
}

const figure = /** @type {HTMLElement | null} */ (document.querySelector("figure[data-drawing]"));
const panel = document.getElementById("stepping");
if (figure && panel) answers(document, stepper(figure, panel));
