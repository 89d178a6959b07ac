/** What is clicked where a state is entered by pieces: a place first, then who sits there. */

import { button, element } from "./live.js";

/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {import("./seats.js").Seats} Seats */

export class Seating {
  /** The placement that was clicked and waits for a piece. @type {number | null} */
  place = null;

  /**
   * @param {Seats} seats
   * @param {() => void} chosen a place was chosen or let go
   * @param {() => void} changed something was said
   */
  constructor(seats, chosen, changed) {
    this.seats = seats;
    this.tables = seats.tables;
    this.chosen = chosen;
    this.changed = changed;
    this.slots = element("select", { id: "place" });
    this.pieces = element("select", { id: "sits" });
    this.list = element("ul", { class: "seats", "aria-label": "Entered" });
    const put = button("Put it there", () => this.#listed(), { class: "plain" });
    this.panel = element(
      "div",
      { class: "seating" },
      element(
        "p",
        { class: "row" },
        element("label", { for: "place" }, "At"),
        this.slots,
        element("label", { for: "sits" }, "sits"),
        this.pieces,
        put,
      ),
      this.list,
    );
    this.#fill();
    this.slots.addEventListener("change", () => {
      this.place = this.tables.home[Number(this.slots.value)];
      this.chosen();
    });
  }

  /** All slots by type; those that nothing moves cannot be entered. */
  #fill() {
    const { typeNames, slotNames, typeOf, data } = this.tables;
    typeNames.forEach((name, type) => {
      if (!data.types.moves[type]) return;
      const group = element("optgroup", { label: name });
      slotNames.forEach((slot, k) => typeOf[k] === type && group.append(element("option", { value: String(k) }, slot)));
      this.slots.append(group);
    });
    this.#options();
  }

  /** The pieces that fit in the chosen slot, those that are nowhere first. */
  #options() {
    const { slotNames, typeOf, home, twists, placementNames } = this.tables;
    const slot = Number(this.slots.value);
    const { missing } = this.seats;
    const fit = slotNames.map((_, k) => k).filter((k) => typeOf[k] === typeOf[slot]);
    fit.sort((one, other) => Number(missing.includes(other)) - Number(missing.includes(one)) || one - other);
    const now = this.seats.at(slot);
    this.pieces.replaceChildren(
      ...fit.map((piece) => {
        const group = element("optgroup", { label: missing.includes(piece) ? `${slotNames[piece]}, nowhere yet` : slotNames[piece] });
        for (let x = 0; x < twists[typeOf[slot]]; x++) {
          const place = home[piece] + x;
          group.append(element("option", { value: String(place) }, placementNames[place]));
        }
        return group;
      }),
    );
    // Where the own piece is elsewhere, one that is nowhere yet stands there to be taken.
    const own = this.seats.open.includes(slot) ? null : placementNames.indexOf(now);
    if (own !== null) this.pieces.value = String(own);
  }

  /** Show what was said, and what is chosen. */
  refresh() {
    const { slotOf, slotNames } = this.tables;
    if (this.place !== null) this.slots.value = String(slotOf[this.place]);
    else if (this.seats.open.length) this.slots.value = String(this.seats.open[0]);
    this.#options();
    const held = this.list.contains(document.activeElement);
    this.list.replaceChildren(
      ...this.seats.said.map(([slot]) => {
        const text = `${slotNames[slot]}: ${this.seats.at(slot)}`;
        const own = button(`${text} ×`, () => this.#back(slot), { class: "plain", "aria-label": `take ${text} back` });
        return element("li", {}, own);
      }),
    );
    if (held) /** @type {HTMLElement} */ (this.list.querySelector("button") ?? this.slots).focus();
  }

  /** @param {number} slot */
  #back(slot) {
    this.seats.take(slot);
    this.place = null;
    this.changed();
  }

  #listed() {
    const slot = Number(this.slots.value);
    this.seats.put(this.tables.home[slot], Number(this.pieces.value));
    this.seats.complete();
    this.place = null;
    this.changed();
  }

  /** Let go of the place. */
  drop() {
    this.place = null;
  }

  /**
   * A sticker was clicked: the place, or what sits at the place that was clicked before.
   * @param {Pick} pick
   * @returns {string} what is said
   */
  picked(pick) {
    const { placementNames, slotNames, slotOf, typeOf, typeNames, data } = this.tables;
    const { place } = this;
    if (place === null) {
      if (!data.types.moves[typeOf[pick.slot]]) return `${slotNames[pick.slot]} never moves.`;
      this.place = pick.placement;
      this.chosen();
      return `Which piece is at ${placementNames[pick.placement]}? Click the sticker of it that is there now.`;
    }
    if (typeOf[slotOf[place]] !== typeOf[pick.slot]) {
      return `${pick.slotName} is no ${typeNames[typeOf[slotOf[place]]]}, so its piece does not fit at ${placementNames[place]}.`;
    }
    this.place = null;
    if (place === pick.placement) {
      this.chosen();
      return `${placementNames[place]} is as it was.`;
    }
    this.seats.put(place, pick.here);
    const last = this.seats.complete();
    this.changed();
    const too = last === null ? "" : ` ${this.seats.at(last)} is left for ${slotNames[last]}.`;
    return `${placementNames[pick.here]} is at ${placementNames[place]}.${too}`;
  }
}
