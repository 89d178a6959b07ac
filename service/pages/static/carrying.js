/** One state, in four ways of looking at it: what was entered in one is written in the others. */

import { cycles, effectOf, parse } from "./state.js";

/** @typedef {import("./coats.js").Coats} Coats */
/** @typedef {import("./cycling.js").Cycling} Cycling */
/** @typedef {import("./seats.js").Seats} Seats */
/** @typedef {"pieces" | "stickers" | "cycles" | "sequence"} Way */

export class Carrying {
  /** The way whose text says the state. @type {Way} */
  source = "pieces";
  /** Whether the seats have all that the text says. */
  #known = true;
  /** How often something was entered, and texts that said the state, with when. */
  #entered = 0;
  /** @type {Map<Way, {text: string, entered: number}>} */
  #texts = new Map();

  /**
   * @param {Seats} seats the state, as far as it is known
   * @param {Coats | null} coats
   * @param {Cycling} cycling
   * @param {(way: Way) => HTMLTextAreaElement} field
   * @param {() => ReadonlyMap<string, string>} called what colours are called, by face
   */
  constructor(seats, coats, cycling, field, called) {
    this.seats = seats;
    this.coats = coats;
    this.cycling = cycling;
    this.field = field;
    this.called = called;
  }

  /** The text of the way that is open says the state from now on. @param {Way} way */
  typed(way) {
    this.source = way;
    this.#entered++;
    this.#known = this.#read(way);
    if (!this.#known) this.seats.clear();
  }

  /** What was clicked in the way that is open says the state from now on. @param {Way} way */
  clicked(way) {
    const { cycling, coats, seats } = this;
    this.source = way;
    this.#entered++;
    this.#known = true;
    if (way === "pieces") this.field(way).value = seats.text;
    if (way === "cycles") {
      cycling.seat();
      this.field(way).value = cycling.text;
      this.#known = cycling.whole;
    }
    if (way === "stickers" && coats) {
      this.#known = coats.seat(seats);
      this.field(way).value = coats.text(this.called());
    }
  }

  /** Look at the state in another way: its text is written as far as it says the state. @param {Way} way */
  open(way) {
    if (this.source === "cycles" && way !== "cycles" && this.cycling.open) {
      this.cycling.end();
      this.clicked("cycles");
    }
    this.#texts.set(this.source, { text: this.field(this.source).value, entered: this.#entered });
    const before = this.#texts.get(way);
    if (way === this.source) {
      if (way === "stickers" || way === "cycles") this.#look(way);
    } else if (before?.entered === this.#entered) {
      this.field(way).value = before.text;
      this.source = way;
      if (way === "stickers" || way === "cycles") this.#look(way);
    } else this.#write(way);
  }

  /**
   * The service has read the text; whether that changes what is drawn.
   * @param {string} pieces
   * @param {Way} way the one that is open
   */
  told(pieces, way) {
    const { coats, seats, source } = this;
    const unread = source === "stickers" && Boolean(coats?.rest);
    if (this.#known && seats.text === pieces && !unread) return false;
    if (!seats.read(pieces)) return false;
    this.#known = true;
    // What is typed stays as it is; what is painted is what the service has read.
    if (unread) coats?.wear(seats);
    if (way !== source) this.#write(way);
    return true;
  }

  /** Read a field into the model of its way and the seats; whether they have all of it. @param {Way} way */
  #read(way) {
    const { coats, seats } = this;
    const text = this.field(way).value.trim();
    if (way === "pieces") return seats.read(text);
    if (way === "stickers") return Boolean(coats) && this.#look(way) && Boolean(coats?.seat(seats));
    if (way === "cycles") {
      // What contradicts itself is the service's to say, so that nobody is seated before.
      this.#look(way);
      seats.clear();
      return false;
    }
    const word = parse(seats.tables, text);
    if (word) seats.follow(effectOf(seats.tables, word));
    return word !== null;
  }

  /** Read a field into the model of its way alone. @param {"stickers" | "cycles"} way */
  #look(way) {
    const text = this.field(way).value.trim();
    if (way === "cycles") this.cycling.read(text);
    return way === "cycles" || Boolean(this.coats?.read(text, this.called()));
  }

  /** Write the state in a way that did not say it; it does from now on, if nothing is lost by it. @param {Way} way */
  #write(way) {
    const { coats, cycling, seats } = this;
    const empty = !this.field(this.source).value.trim();
    const field = this.field(way);
    field.value = "";
    if (way === "stickers") coats?.said.clear();
    if (way === "cycles") cycling.read("");
    if (empty) this.source = way;
    if (empty || !this.#known || way === "sequence") return;
    const state = seats.text;
    let same = way === "pieces";
    if (way === "pieces") field.value = state;
    if (way === "cycles" && !seats.missing.length) {
      field.value = cycles(seats.tables, seats.state().effect)
        .map((cycle) => `(${cycle.map((place) => seats.tables.placementNames[place]).join(" ")})`)
        .join("");
      cycling.read(field.value);
      same = true;
    }
    if (way === "stickers" && coats?.wear(seats)) {
      field.value = coats.text(this.called());
      // Pieces that look the same, and what no colour shows, would be lost.
      const again = seats.copy();
      same = coats.seat(again) && again.text === state;
    }
    if (same) this.source = way;
  }
}
