/** Entering a state: by clicking on pieces or painting stickers, as cycles or turns, checked at once. */

import { Board } from "./board.js";
import { Carrying } from "./carrying.js";
import { Coats } from "./coats.js";
import { Cycling } from "./cycling.js";
import { addressed, button, counted, drawn, element, part, sentence, told } from "./live.js";
import { choosing, chosen, paints, recolour } from "./own_colours.js";
import { Seating } from "./seating.js";
import { Seats } from "./seats.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {import("./carrying.js").Way} Way */
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
    this.carrying = new Carrying(this.seats, this.coats, this.cycling, (way) => this.field(way), () => this.called);
    this.palette = element("div", { class: "palette", role: "radiogroup", "aria-label": "Paint with" });
    this.buttons = WAYS.filter(([way]) => way !== "stickers" || this.coats).map(([way, name]) =>
      button(name, () => this.choose(way), { class: "plain", "data-way": way }),
    );
    part("ways").append(element("div", { class: "ways", role: "group", "aria-label": "How it is entered" }, ...this.buttons));
    part("ways").hidden = false;
    drawing.addEventListener("pick", (event) => this.picked(/** @type {CustomEvent<Pick>} */ (event).detail));
    this.form.addEventListener("input", () => {
      this.#outdated();
      clearTimeout(this.#later);
      this.#later = setTimeout(() => this.typed(), PAUSE);
    });
    // Whoever goes on elsewhere has done with typing; the drawing takes the focus where it is clicked.
    this.form.addEventListener("change", () => this.#settle());
    this.form.addEventListener("submit", () => clearTimeout(this.#later));
    // What says the state is sent, also where another way of looking at it is open that does not.
    this.form.addEventListener("formdata", ({ formData }) => {
      const { source } = this.carrying;
      if (source === this.way) return;
      formData.delete(this.field(this.way).name);
      formData.set(this.field(source).name, this.field(source).value.trim());
      if (source === "stickers") formData.set("colours", this.names.value.trim());
      else formData.delete("colours");
    });
    this.names.addEventListener("input", (event) => this.renamed(event));
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
    // What the service has said above the fields is not said twice.
    if (text && document.getElementById("wrong")?.textContent?.trim() === text) text = "";
    if (this.said.textContent !== text) this.said.textContent = text;
  }

  /** What was wrong with the address is of no matter where something else is entered. */
  #outdated() {
    document.getElementById("wrong")?.remove();
  }

  /** The field of a way. @param {Way} way */
  field(way) {
    return /** @type {HTMLTextAreaElement} */ (part(way));
  }

  /** The only sequences that may be used, where that can be said. */
  get learned() {
    return /** @type {HTMLTextAreaElement | null} */ (this.form.querySelector("#learned"))?.value.trim() ?? "";
  }

  /** What says the state: it stands in the field of the way in which it was entered. */
  get text() {
    return this.field(this.carrying.source).value.trim();
  }

  /** Where it is typed what colours are called. */
  get names() {
    return /** @type {HTMLTextAreaElement} */ (part("colours"));
  }

  /** What colours are called where that was typed, by face. */
  get called() {
    const rows = this.names.value.split(/[\s,]+/);
    return new Map(rows.map((row) => /** @type {[string, string]} */ (row.split("="))).filter((row) => row.length === 2 && row[1]));
  }

  /** Begin with what the page came with. */
  begin() {
    const given = WAYS.find(([way]) => this.field(way).value.trim() && (way !== "stickers" || this.coats));
    const first = this.root.dataset.first === "sequence" ? "sequence" : "pieces";
    this.carrying.source = given?.[0] ?? first;
    this.carrying.typed(this.carrying.source);
    this.choose(this.carrying.source);
  }

  /** @param {Way} way */
  choose(way) {
    this.#settle();
    this.way = way;
    for (const own of this.buttons) own.setAttribute("aria-pressed", String(own.dataset.way === way));
    for (const box of /** @type {NodeListOf<HTMLElement>} */ (this.form.querySelectorAll("[data-way]"))) {
      box.hidden = box.dataset.way !== way;
      for (const field of box.querySelectorAll("textarea, input")) field.toggleAttribute("disabled", box.hidden);
    }
    const panel = part("panel");
    panel.replaceChildren();
    if (way === "pieces") panel.append(this.seating.panel);
    if (way === "stickers") panel.append(this.palette);
    if (way === "cycles") panel.append(this.cycling.panel);
    if (this.colours) panel.append(this.colours);
    panel.hidden = false;
    this.seating.drop();
    this.carrying.open(way);
    this.show();
    void this.check();
  }

  /** A text was typed: take it up as far as it can be read here, and have it checked. */
  typed() {
    clearTimeout(this.#later);
    this.#later = undefined;
    this.seating.drop();
    this.carrying.typed(this.way);
    this.show();
    void this.check();
  }

  /** Take up what was typed just before, so that nothing is written over it. */
  #settle() {
    if (this.#later !== undefined) this.typed();
  }

  /** Something was clicked: write it, show it and have it checked. */
  changed() {
    this.#outdated();
    this.carrying.clicked(this.way);
    this.show();
    void this.check();
  }

  /**
   * Colours are called otherwise: what is painted is written anew. What could not be read is tried again.
   * @param {Event} event
   */
  renamed(event) {
    this.paletteOf();
    const { called, coats } = this;
    const faces = this.drawing.tables.data.faces?.name ?? [];
    const names = faces.map((face) => (called.get(face) ?? face).toLowerCase());
    if (!coats || coats.rest || !coats.said.size || this.carrying.source !== "stickers") return;
    event.stopPropagation();
    this.#outdated();
    if (new Set(names).size === names.length) this.field("stickers").value = coats.text(called);
    clearTimeout(this.#later);
    this.#later = undefined;
    void this.check();
  }

  /** Draw what was entered. */
  show() {
    const { drawing } = this;
    if (this.carrying.source === "stickers" && this.way === "stickers" && this.coats) {
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
      const own = this.called.get(name);
      return element("label", {}, radio, face === null ? null : swatch, own ? `${own} (${name})` : name);
    };
    this.colour ??= faces.length ? 0 : null;
    const options = faces.map((name, face) => option(name, face));
    this.palette.replaceChildren(...options, option("as solved", null));
  }

  /** Ask the service what it thinks of the state so far, and say it. */
  async check() {
    const asked = ++this.#asked;
    const { text } = this;
    const way = this.carrying.source;
    const field = this.field(way);
    const colours = way === "stickers" ? this.names.value.trim() : "";
    const by = this.form.querySelector("select")?.value ?? "turns";
    const apart = /** @type {HTMLInputElement} */ (part("apart")).checked;
    addressed({ [field.name]: text, colours, learned: this.learned, by: by === "turns" ? "" : by, apart: apart ? "1" : "", change: text ? "1" : "" });
    for (const own of [field, this.field(this.way)]) own.removeAttribute("aria-invalid");
    if (this.way === "cycles" && this.cycling.open) {
      this.say("The last cycle may go on until it is closed.");
      return;
    }
    if (!text) {
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
    const { complaint, pieces } = entry;
    field.toggleAttribute("aria-invalid", complaint !== null);
    // The drawing shows what the service has read of texts that only it can read.
    const before = this.carrying.source;
    if (pieces !== null && this.carrying.told(pieces, this.way)) this.show();
    if (this.carrying.source !== before) return void this.check();
    this.say(this.verdict(entry) + (this.carrying.source === this.way ? "" : ` ${this.kept(complaint !== null)}`));
  }

  /** What the service thinks of a state, in words. @param {Entry} entry */
  verdict(entry) {
    const { complaint, open, missing } = entry;
    if (complaint) return sentence(complaint);
    if (entry.possible === null && !open.length && !missing.length) {
      return `${counted(entry.unsolved.length, "piece is", "pieces are")} not solved: ${entry.unsolved.join(", ")}. Turns can be blocked here: the steps tell whether this can be put right.`;
    }
    if (entry.possible === null) {
      const left = missing.length ? `, and ${missing.join(", ")} ${missing.length === 1 ? "is" : "are"} nowhere yet` : "";
      const clicks = open.length === 1 && missing.length === 1 ? `${open[0]}, then ${missing[0]}'s own place` : "one of these, then the own place of the piece there";
      const how = this.way === "pieces" && open.length && missing.length ? ` Click ${clicks}.` : "";
      return `Say what sits at ${open.join(", ") || "the slots that are left"}${left}.${how}`;
    }
    if (!entry.possible) return `No sequence solves this: ${sentence(entry.reason ?? "").slice(0, -1).replace(/^./, (x) => x.toLowerCase())}. The steps say the smallest repair.`;
    if (!entry.unsolved.length) return "This is solved.";
    return `${counted(entry.unsolved.length, "piece is", "pieces are")} not solved: ${entry.unsolved.join(", ")}. This can be put right.`;
  }

  /**
   * What is said where the way that is open does not say the state.
   * @param {boolean} wrong whether it contradicts itself where it was entered
   */
  kept(wrong) {
    const from = WAYS.find(([way]) => way === this.carrying.source)?.[1] ?? "";
    const why = {
      pieces: "which piece is where is not known yet",
      stickers: "colours alone do not say all of it",
      cycles: "not every piece has its place yet",
      sequence: "which turns lead there is not known",
    }[this.way];
    const also = wrong ? "" : `, and ${why}`;
    return `It is kept ${from[0].toLowerCase()}${from.slice(1)}${also}: it stays so until something is entered here.`;
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
