/** Entering a state: by clicking on pieces or painting stickers, as cycles or turns, checked at once. */

import { Board } from "./board.js";
import { Coats } from "./coats.js";
import { Cycling } from "./cycling.js";
import { addressed, button, counted, drawn, element, part, sentence, told } from "./live.js";
import { choosing, chosen, paints, recolour } from "./own_colours.js";
import { Seating } from "./seating.js";
import { Seats } from "./seats.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {"pieces" | "stickers" | "cycles" | "sequence"} Way */
/**
 * @typedef {object} Entry what the service says of a state so far
 * @property {string | null} complaint
 * @property {string[]} open
 * @property {string[]} missing
 * @property {string[]} unsolved
 * @property {string | null} pieces
 * @property {boolean | null} possible
 * @property {string | null} reason
 */

/** @type {[Way, string][]} */
const WAYS = [
  ["pieces", "By pieces"],
  ["stickers", "By colours"],
  ["cycles", "As cycles"],
  ["sequence", "By turns"],
];
/** Milliseconds after a key before the service is asked. */
const PAUSE = 300;

class Entering {
  /** @type {Way} */
  way = "pieces";
  /** The face whose colour is painted with; null lets a slot be as when solved. @type {number | null} */
  colour = null;
  #asked = 0;
  /** What will take up what was typed last. @type {ReturnType<typeof setTimeout> | undefined} */
  #later;
  /** What was last said to be the state, as pieces. */
  #pieces = "";

  /**
   * @param {HTMLElement} root
   * @param {Drawing} drawing
   */
  constructor(root, drawing) {
    this.root = root;
    this.drawing = drawing;
    this.puzzle = root.dataset.puzzle ?? "";
    this.said = part("said");
    this.form = /** @type {HTMLFormElement} */ (part("entry"));
    this.seats = new Seats(drawing.tables);
    this.coats = drawing.body instanceof Board ? null : new Coats(drawing.tables);
    this.own = chosen(this.puzzle);
    this.seating = new Seating(this.seats, () => this.show(), () => this.changed());
    this.cycling = new Cycling(this.seats, (said) => {
      this.changed();
      this.say(said);
    });
    this.palette = element("div", { class: "palette", role: "radiogroup", "aria-label": "Paint with" });
    this.buttons = WAYS.filter(([way]) => way !== "stickers" || this.coats).map(([way, name]) =>
      button(name, () => this.choose(way), { class: "plain", "data-way": way }),
    );
    part("ways").append(element("div", { class: "ways", role: "group", "aria-label": "How it is entered" }, ...this.buttons));
    part("ways").hidden = false;
    drawing.addEventListener("pick", (event) => this.picked(/** @type {CustomEvent<Pick>} */ (event).detail));
    this.form.addEventListener("input", () => {
      clearTimeout(this.#later);
      this.#later = setTimeout(() => this.typed(), PAUSE);
    });
    // Whoever goes on elsewhere has done with typing; the drawing takes the focus where it is clicked.
    this.form.addEventListener("change", () => this.#settle());
    this.form.addEventListener("submit", () => clearTimeout(this.#later));
    this.colours = drawing.tables.data.faces
      ? choosing(drawing, this.puzzle, (colours, text) => {
          this.own = colours;
          this.paletteOf();
          this.show();
          this.say(text);
        })
      : null;
    this.paletteOf();
  }

  /** @param {string} text */
  say(text) {
    if (this.said.textContent !== text) this.said.textContent = text;
  }

  /** The field of a way. @param {Way} way */
  field(way) {
    return /** @type {HTMLTextAreaElement} */ (part(way));
  }

  /** The only sequences that may be used, where that can be said. */
  get learned() {
    return /** @type {HTMLTextAreaElement | null} */ (this.form.querySelector("#learned"))?.value.trim() ?? "";
  }

  get text() {
    return this.field(this.way).value.trim();
  }

  /** What colours are called where that was typed, by face. */
  get called() {
    const rows = /** @type {HTMLInputElement} */ (part("colours")).value.split(/[\s,]+/);
    return new Map(rows.map((row) => /** @type {[string, string]} */ (row.split("="))).filter((row) => row.length === 2 && row[1]));
  }

  /** Begin with what the page came with. */
  begin() {
    const given = WAYS.find(([way]) => this.field(way).value.trim() && (way !== "stickers" || this.coats));
    this.choose(given ? given[0] : this.root.dataset.first === "sequence" ? "sequence" : "pieces");
  }

  /** @param {Way} way */
  choose(way) {
    this.way = way;
    for (const own of this.buttons) own.setAttribute("aria-pressed", String(own.dataset.way === way));
    for (const box of /** @type {NodeListOf<HTMLElement>} */ (this.form.querySelectorAll("[data-way]"))) {
      box.hidden = box.dataset.way !== way;
      for (const field of box.querySelectorAll("textarea, input")) field.toggleAttribute("disabled", box.hidden);
    }
    if (way === "pieces" && !this.text && this.#pieces) this.field("pieces").value = this.#pieces;
    const panel = part("panel");
    panel.replaceChildren();
    if (way === "pieces") panel.append(this.seating.panel);
    if (way === "stickers") panel.append(this.palette);
    if (way === "cycles") panel.append(this.cycling.panel);
    if (this.colours) panel.append(this.colours);
    panel.hidden = false;
    this.typed();
  }

  /** A text was typed: take it up as far as it can be read here, and have it checked. */
  typed() {
    clearTimeout(this.#later);
    this.#later = undefined;
    this.seating.drop();
    if (this.way === "pieces" && !this.seats.read(this.text)) this.seats.clear();
    if (this.way === "stickers" && !this.coats?.read(this.text, this.called)) this.coats?.said.clear();
    if (this.way === "cycles" || this.way === "sequence") this.seats.clear();
    if (this.way === "cycles") this.cycling.read(this.text);
    this.show();
    void this.check();
  }

  /** Take up what was typed just before, so that nothing is written over it. */
  #settle() {
    if (this.#later !== undefined) this.typed();
  }

  /** Something was clicked: write it, show it and have it checked. */
  changed() {
    const own = { stickers: this.coats?.text(this.called), cycles: this.cycling.text, pieces: this.seats.text, sequence: "" };
    if (this.way === "cycles") this.cycling.seat();
    this.field(this.way).value = own[this.way] ?? "";
    this.show();
    void this.check();
  }

  /** Draw what was entered. */
  show() {
    const { drawing } = this;
    if (this.way === "stickers" && this.coats) {
      drawing.set([]);
      recolour(drawing, this.own, { sticker: this.coats.said, grey: new Set(this.coats.open) });
      drawing.mark({});
      drawing.arrows([]);
      return;
    }
    const { effect, blank } = this.seats.state();
    drawing.set(effect);
    recolour(drawing, this.own, { blank });
    const { place } = this.seating;
    if (this.way === "cycles") this.cycling.mark(drawing);
    else {
      drawing.mark(place === null ? {} : { [`p${place}`]: "first" }, { fade: false });
      drawing.arrows([]);
    }
    this.seating.refresh();
  }

  /** @param {Pick} pick */
  picked(pick) {
    if (this.way === "pieces") this.say(this.seating.picked(pick));
    else if (this.way === "stickers") {
      if (pick.sticker < 0 || !this.coats) return;
      this.coats.paint(pick.sticker, this.colour);
      this.changed();
    } else if (this.way === "cycles") this.cycling.picked(pick);
    else this.say("Pieces are clicked on where the state is entered by pieces, by colours or as cycles.");
  }

  /** The colours to paint with. */
  paletteOf() {
    const faces = this.drawing.tables.data.faces?.name ?? [];
    const now = paints(this.drawing, this.own);
    /** @param {string} name @param {number | null} face */
    const option = (name, face) => {
      const radio = element("input", { type: "radio", name: "paint" });
      radio.checked = this.colour === face;
      radio.addEventListener("change", () => (this.colour = face));
      const swatch = element("span", { class: "swatch", "aria-hidden": "true" });
      if (face !== null) {
        const [colour, core] = now[face];
        swatch.style.background = core ? `radial-gradient(${core} 35%, ${colour} 38%)` : colour;
      }
      return element("label", {}, radio, face === null ? null : swatch, name);
    };
    this.colour ??= faces.length ? 0 : null;
    const options = faces.map((name, face) => option(name, face));
    this.palette.replaceChildren(...options, option("as solved", null));
  }

  /** Ask the service what it thinks of the state so far, and say it. */
  async check() {
    const asked = ++this.#asked;
    const { text, way } = this;
    const field = this.field(way);
    const colours = way === "stickers" ? /** @type {HTMLInputElement} */ (part("colours")).value.trim() : "";
    const by = this.form.querySelector("select")?.value ?? "turns";
    const apart = /** @type {HTMLInputElement} */ (part("apart")).checked;
    addressed({ [field.name]: text, colours, learned: this.learned, by: by === "turns" ? "" : by, apart: apart ? "1" : "", change: text ? "1" : "" });
    field.removeAttribute("aria-invalid");
    if (way === "cycles" && this.cycling.open) {
      this.say("The last cycle may go on until it is closed.");
      return;
    }
    if (!text) {
      this.#pieces = "";
      this.say(this.hint());
      return;
    }
    const body = JSON.stringify({ [way]: text, ...(colours ? { colours } : {}), ...(apart ? { apart } : {}) });
    try {
      const headers = { "Content-Type": "application/json" };
      /** @type {Entry} */
      const entry = await told(this.root.dataset.check ?? "", (said) => this.say(said), { method: "POST", headers, body });
      if (asked === this.#asked) this.#checked(entry, field);
    } catch (error) {
      if (asked !== this.#asked) return;
      field.setAttribute("aria-invalid", "true");
      this.say(error instanceof Error ? error.message : String(error));
    }
  }

  /** @param {Entry} entry @param {HTMLTextAreaElement} field */
  #checked(entry, field) {
    const { complaint, open, missing, pieces } = entry;
    field.toggleAttribute("aria-invalid", complaint !== null);
    this.#pieces = pieces ?? "";
    // The drawing shows what the service has read of texts that only it can read.
    if (pieces !== null && this.way !== "stickers" && this.seats.text !== pieces && this.seats.read(pieces)) this.show();
    if (complaint) this.say(sentence(complaint));
    else if (entry.possible === null && !open.length && !missing.length) {
      this.say(`${counted(entry.unsolved.length, "piece is", "pieces are")} not solved: ${entry.unsolved.join(", ")}. Turns can be blocked here: the steps tell whether this can be put right.`);
    } else if (entry.possible === null) {
      const left = missing.length ? `, and ${missing.join(", ")} ${missing.length === 1 ? "is" : "are"} nowhere yet` : "";
      this.say(`Say what sits at ${open.join(", ") || "the slots that are left"}${left}.`);
    } else if (!entry.possible) this.say(`No sequence solves this: ${sentence(entry.reason ?? "").slice(0, -1).replace(/^./, (x) => x.toLowerCase())}. The steps say the smallest repair.`);
    else if (!entry.unsolved.length) this.say("This is solved.");
    else this.say(`${counted(entry.unsolved.length, "piece is", "pieces are")} not solved: ${entry.unsolved.join(", ")}. This can be put right.`);
  }

  /** What to do where nothing is entered yet. */
  hint() {
    if (this.way === "pieces") return "Click a place, then the piece that sits there, by the sticker that is at that place now.";
    if (this.way === "stickers") return "Choose a colour, then click the stickers that have it now.";
    return this.way === "cycles" ? "Click the places of a cycle in order, and the first again to close it; or write cycles." : "Write turns.";
  }
}

async function begin() {
  const said = part("said");
  const drawing = await drawn(part("stage"), (text) => (said.textContent = text));
  const entering = new Entering(part("enter"), drawing);
  entering.begin();
  part("enter").dataset.ready = "yes";
}

begin().catch((error) => {
  part("said").textContent = sentence(error.message);
});
