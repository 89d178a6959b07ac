/** Lost in mid-sequence: from what somebody sees, after which turn they are. */

import { button, element } from "./live.js";
import { effectOf, undone } from "./state.js";

/** @typedef {import("./state.js").Tables} Tables */

/** The most slots that can be chosen from, those that tell most first. */
const MOST = 60;

export class Finder {
  /** What is seen: a slot, and the home placement of what stands at its first placement. @type {[number, number][]} */
  seen = [];

  /**
   * @param {Tables} tables
   * @param {readonly number[]} word
   * @param {(at: number) => void} go shows the state after so many turns
   * @param {readonly number[]} [before] turns that lead to where the word begins
   */
  constructor(tables, word, go, before = []) {
    this.tables = tables;
    this.go = go;
    /** For each number of turns, what stands in each slot. @type {Uint16Array[]} */
    this.contents = [];
    let effect = effectOf(tables, before);
    for (let at = 0; at <= word.length; at++) {
      const back = undone(effect);
      this.contents.push(Uint16Array.from(tables.home, (home) => back[home]));
      if (at < word.length) effect = effectOf(tables, [word[at]], effect);
    }
    this.asks = element("div", {});
    this.says = element("p", { role: "status" });
    this.panel = element(
      "details",
      { class: "lost" },
      element("summary", {}, "Lost in the middle?"),
      this.says,
      this.asks,
    );
    this.panel.addEventListener("toggle", () => {
      if (/** @type {HTMLDetailsElement} */ (this.panel).open) this.show();
    });
  }

  /** The numbers of turns after which all that is seen is so. */
  get places() {
    return this.contents.map((_, at) => at).filter((at) => this.seen.every(([slot, here]) => this.contents[at][slot] === here));
  }

  /**
   * The slots in which the places that are left differ, those first that tell most of them apart.
   * @returns {number[]}
   */
  telling() {
    const { places } = this;
    const rows = this.tables.slotNames.map((_, slot) => {
      /** @type {Map<number, number>} */
      const counts = new Map();
      for (const at of places) {
        const here = this.contents[at][slot];
        counts.set(here, (counts.get(here) ?? 0) + 1);
      }
      return { slot, kinds: counts.size, most: Math.max(...counts.values()) };
    });
    return rows
      .filter(({ kinds }) => kinds > 1)
      .sort((one, other) => one.most - other.most || one.slot - other.slot)
      .slice(0, MOST)
      .map(({ slot }) => slot);
  }

  /** @param {number} [slot] the one that is asked about, if it was chosen */
  show(slot) {
    const { tables, places } = this;
    const slots = this.telling();
    const chosen = slot !== undefined && slots.includes(slot) ? slot : slots[0];
    const again = button("Begin again", () => {
      this.seen = [];
      this.show();
      this.asks.querySelector("select")?.focus();
    }, { class: "plain" });
    if (chosen === undefined) {
      this.says.textContent = `You are ${after(places)}.`;
      if (places.length > 1) this.says.textContent += " Nothing that is seen tells these apart.";
      this.asks.replaceChildren(element("p", { class: "row" }, again));
      this.go(places[0]);
      this.asks.querySelector("button")?.focus();
      return;
    }
    this.says.textContent = this.seen.length
      ? `You may be ${after(places)}. One more:`
      : "Hold the puzzle as the drawing is held at first, and say which piece you see.";
    const select = element("select", { id: "seen-at" });
    for (const one of slots) select.append(element("option", { value: String(one) }, tables.slotNames[one]));
    select.value = String(chosen);
    select.addEventListener("change", () => {
      this.show(Number(select.value));
      this.asks.querySelector("select")?.focus();
    });
    const there = [...new Set(places.map((at) => this.contents[at][chosen]))].sort((a, b) => a - b);
    const answers = there.map((here) =>
      button(
        here === tables.home[chosen] ? "its own, as it was" : tables.placementNames[here],
        () => {
          this.seen.push([chosen, here]);
          this.show();
          this.asks.querySelector("select")?.focus();
        },
        { class: "plain" },
      ),
    );
    this.asks.replaceChildren(
      element("p", { class: "row" }, element("label", { for: "seen-at" }, "At"), select, element("span", {}, "is the piece of")),
      element("p", { class: "row", role: "group", "aria-label": "What is there" }, ...answers),
      ...(this.seen.length ? [element("p", { class: "row" }, again)] : []),
    );
  }
}

/** @param {number[]} places */
function after(places) {
  const words = places.map((at) => (at === 0 ? "at the beginning" : `after turn ${at}`));
  if (words.length < 2) return words.join("");
  return `${words.slice(0, -1).join(", ")} or ${words.at(-1)}`;
}
