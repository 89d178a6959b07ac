/** What is clicked where a state is entered by pieces: a place first, then who sits there. */

import { button, element } from "./live.js";

/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {import("./seats.js").Seats} Seats */

/** The most pieces that are offered beside the drawing; the list has all. */
const MOST_OFFERED = 12;

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
    this.nowhere = element("div", { class: "nowhere", role: "group", "aria-labelledby": "nowhere", hidden: true });
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
      this.nowhere,
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
    this.#offer();
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

  /** Offer the pieces that are drawn nowhere, so that they cannot be clicked, each way they may sit. */
  #offer() {
    const { slotOf, typeOf, home, twists, placementNames } = this.tables;
    const { open, missing } = this.seats;
    const place = this.place ?? (open.length ? home[open[0]] : null);
    const type = place === null ? -1 : typeOf[slotOf[place]];
    const pieces = missing.filter((piece) => typeOf[piece] === type).slice(0, MOST_OFFERED);
    this.nowhere.hidden = place === null || !pieces.length;
    if (place === null || !pieces.length) return this.nowhere.replaceChildren();
    const ways = pieces.flatMap((piece) => Array.from({ length: twists[type] }, (_, x) => home[piece] + x));
    const many = pieces.length > 1 ? "one of these pieces, which are" : "this piece, which is";
    this.nowhere.replaceChildren(
      element("p", { id: "nowhere" }, `At ${placementNames[place]} sits ${many} nowhere yet:`),
      element(
        "p",
        { class: "seats" },
        ...ways.map((here) => button(placementNames[here], () => this.#sit(place, here), { class: "plain" })),
      ),
    );
  }

  /** @param {number} slot */
  #back(slot) {
    this.seats.take(slot);
    this.place = null;
    this.changed();
  }

  #listed() {
    this.#sit(this.tables.home[Number(this.slots.value)], Number(this.pieces.value));
  }

  /**
   * Say who sits at a place, and who is then left for a last one.
   * @param {number} place
   * @param {number} here
   * @returns {string} what is said
   */
  #sit(place, here) {
    const { placementNames, slotNames, slotOf } = this.tables;
    const before = this.seats.said.find(([slot, { piece }]) => piece === slotOf[here] && slot !== slotOf[place]);
    this.place = null;
    this.seats.put(place, here);
    const last = this.seats.complete();
    this.changed();
    const no = before && before[0] !== last ? ` It was said to be at ${slotNames[before[0]]}; it is there no longer.` : "";
    const too = last === null ? "" : ` ${this.seats.at(last)} is left for ${slotNames[last]}.`;
    return `${placementNames[here]} is at ${placementNames[place]}.${no}${too}`;
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
      return this.#which(pick.placement);
    }
    if (typeOf[slotOf[place]] !== typeOf[pick.slot]) {
      return `${pick.slotName} is no ${typeNames[typeOf[slotOf[place]]]}, so its piece does not fit at ${placementNames[place]}.`;
    }
    if (place === pick.placement) {
      this.place = null;
      this.chosen();
      return `${placementNames[place]} is as it was.`;
    }
    const { missing, open } = this.seats;
    // A piece that is drawn nowhere is called by its own place: whoever sits there was said before.
    if (missing.includes(pick.slot)) return this.#sit(place, pick.placement);
    // Nobody knows who is drawn grey; it is another place that was clicked.
    if (open.includes(pick.slot)) return this.#which(pick.placement);
    return this.#sit(place, pick.here);
  }

  /**
   * Take up a place and ask who sits there.
   * @param {number} place
   * @returns {string} what is said
   */
  #which(place) {
    const { placementNames, slotNames, slotOf, typeOf } = this.tables;
    this.place = place;
    this.chosen();
    const away = this.seats.missing.filter((piece) => typeOf[piece] === typeOf[slotOf[place]]);
    const names = away.slice(0, MOST_OFFERED).map((piece) => slotNames[piece]);
    const own = away.length > 1 ? "their own places" : "its own place";
    const too = names.length ? ` For ${names.join(" or ")}, nowhere yet, click ${own}, or choose it from those listed.` : "";
    return `Which piece is at ${placementNames[place]}? Click the sticker of it that is there now.${too}`;
  }
}
