/** Sizes that are offered for counted pieces. */

import { button, element, part, sentence } from "./element.js";
import { byKind } from "./sizes.js";

/** @typedef {import("./new.js").Making} Making */
/** @typedef {import("./choosing.js").Choice} Choice */
/** @typedef {{layers: string, exact: boolean, entry: string, from: number, to: number, from_formula: string | null, to_formula: string | null}} Offered */
/** @typedef {{pieces: number, counts: number[], not_counted: number[], sizes: Offered[], choice: Choice | null, toml: string}} Offer */

/** The most sizes that can be found at once, and the most kinds and pieces that can be given. */
const MOST_OPEN = 2;
const MOST_KINDS = 20;
const LARGEST = 5_000;

/** @param {Making} making */
export function offering(making) {
  const field = /** @type {HTMLInputElement} */ (part("counts"));
  const find = /** @type {HTMLButtonElement} */ (part("find"));
  const said = part("sought");
  const offers = part("offers");

  /** @param {string} text */
  const wrong = (text) => {
    said.textContent = sentence(text);
    field.setAttribute("aria-invalid", "true");
  };

  const look = async () => {
    field.removeAttribute("aria-invalid");
    offers.replaceChildren();
    const words = field.value.replaceAll(",", " ").split(/\s+/).filter(Boolean);
    const counts = words.map(Number);
    if (!words.length || words.length > MOST_KINDS || !counts.every(isCount)) {
      wrong(`counted pieces were expected, up to ${MOST_KINDS} numbers, such as 12 8 6`);
      return;
    }
    const boxes = [...document.querySelectorAll("#open input")].map((one) => /** @type {HTMLInputElement} */ (one));
    const open = boxes.filter((one) => one.checked && !one.disabled).map((one) => one.value);
    if (making.byHand && !making.filing.text.includes("?") && making.fields.form.hidden) {
      wrong('no size is left open; write "?" in the file for one that is to be found');
      return;
    }
    const written = making.byHand && making.fields.form.hidden;
    if (!written && (open.length < 1 || open.length > MOST_OPEN)) {
      said.textContent = `Choose one or two kinds of layer whose sizes are to be found; ${open.length} are chosen.`;
      return;
    }
    find.disabled = true;
    said.textContent = "Looking for sizes; this takes a few seconds.";
    try {
      const draft = written ? { file: making.filing.text } : { choice: making.fields.choice, open };
      const told = await making.asked("/api/puzzles/depths", { ...draft, counts });
      said.textContent = summed(told);
      offers.replaceChildren(...told.proposals.map((/** @type {Offer} */ own) => row(making, own)));
    } catch (error) {
      said.textContent = /** @type {Error} */ (error).message;
    } finally {
      find.disabled = false;
    }
  };

  find.addEventListener("click", (event) => {
    event.preventDefault();
    void look();
  });
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    void look();
  });
}

/** @param {number} number */
function isCount(number) {
  return Number.isInteger(number) && number >= 1 && number <= LARGEST;
}

/** @param {{proposals: Offer[], left_out: number, reason?: string, searched: {complete: boolean}}} told */
function summed({ proposals, left_out, reason, searched }) {
  if (reason) return sentence(reason);
  const count = proposals.length === 1 ? "One puzzle has" : `${proposals.length} puzzles have`;
  const more = left_out ? ` ${left_out} more are left out.` : "";
  return `${count} as many.${more}${searched.complete ? "" : " Not all sizes were looked at."}`;
}

/**
 * @param {Making} making
 * @param {Offer} own
 */
function row(making, own) {
  const sizes = own.sizes.map((size) => {
    const range = `${end(size.from, size.from_formula)} to ${end(size.to, size.to_formula)}`;
    return size.exact ? `${size.layers} exactly ${size.entry}` : `${size.layers} ${size.entry} (from ${range})`;
  });
  const left = own.not_counted.length ? `; ${own.not_counted.join(", ")} of these were not counted by you` : "";
  const use = button("Use these sizes", () => {
    if (own.choice) {
      making.fields.fill(own.choice);
      making.changed();
    } else {
      making.filing.set(own.toml);
      making.written();
    }
    making.drawing?.canvas.scrollIntoView({ block: "nearest" });
  }, { class: "plain" });
  use.append(element("span", { class: "aside" }, `: ${own.pieces} pieces, ${sizes.join(", ")}`));
  return element(
    "li",
    {},
    element("strong", {}, byKind(own.counts)),
    element("span", { class: "soft" }, left),
    element("p", {}, sizes.join(", ")),
    use,
  );
}

/**
 * @param {number} value
 * @param {string | null} formula
 */
function end(value, formula) {
  return formula && formula.length <= 16 ? formula : String(Number(value.toFixed(4)));
}
