/** The bench: layers are turned by buttons, keys and typing; what is disturbed and offered is shown. */

import { keepings } from "./keeping.js";
import {
  addressed,
  button,
  counted,
  cycleText,
  drawn,
  element,
  markCycles,
  part,
  sentence,
  snapshot,
  told,
} from "./live.js";
import {
  cycles,
  disturbed,
  effectOf,
  firstBlocked,
  insert,
  inverse,
  parse,
  singles,
  write,
} from "./state.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./live.js").Kind} Kind */
/** @typedef {import("./live.js").Place} Place */
/** @typedef {import("./state.js").Insert} Insert */

/** Milliseconds of a quarter turn while everything is undone, in which nothing is to be learnt. */
const UNDOING = 220;
/** The side of a small picture, in CSS pixels. */
const SMALL = 132;
/** @type {Record<Insert["gives"] | "blocked", string>} */
const GIVES = {
  "three-cycle": "a three-cycle",
  "pair of twists": "a pair of twists",
  nothing: "nothing at all",
  other: "more than a three-cycle",
  blocked: "a turn that is blocked",
};

class Bench {
  /** The turns of A, and the turn that is slipped in, if one is. @type {number[]} */
  a = [];
  /** @type {number | null} */
  slipped = null;
  /** Whether everything is undone after that. */
  undone = false;
  /** Counts what is done, so that what was begun before it comes to nothing. */
  #doing = 0;

  /**
   * @param {HTMLElement} root
   * @param {Drawing} drawing
   */
  constructor(root, drawing) {
    this.root = root;
    this.drawing = drawing;
    this.tables = drawing.tables;
    this.input = /** @type {HTMLInputElement} */ (part("turns"));
    this.said = part("said");
    this.shown = document.getElementById("shown") ?? element("div", { id: "shown" });
    part("steps").after(this.shown);
    this.keeping = keepings(part("kept"), this);
    this.undo = button("Undo", () => this.back(), { class: "plain" });
    this.anew = button("Start anew", () => this.start([]), { class: "plain" });
    part("steps").append(this.undo, this.anew);
    part("steps").hidden = false;
    this.#layers();
    part("typed").addEventListener("submit", (event) => {
      event.preventDefault();
      void this.read(this.input.value);
    });
    for (const link of document.querySelectorAll("a[data-turns]")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        void this.read(/** @type {HTMLElement} */ (link).dataset.turns ?? "").then(() =>
          this.drawing.canvas.scrollIntoView({ block: "nearest" }),
        );
      });
    }
  }

  /** @param {string} text */
  say = (text) => {
    this.said.textContent = text;
  };

  // --- what can be done -------------------------------------------------------------------------

  /** Buttons for the turns, a row for each layer. */
  #layers() {
    const { tables } = this;
    const rows = tables.layerNames.map((name, layer) => {
      const turns = tables.turnNames.map((_, turn) => turn).filter((t) => tables.turnLayer[t] === layer);
      return element(
        "div",
        { role: "group", "aria-label": `layer ${name}`, class: "layer" },
        ...turns.map((turn) => button(tables.turnNames[turn], () => this.turn(turn))),
      );
    });
    const keys = letters(tables.layerNames);
    const help = keys.size
      ? "With the focus in here the letter of a layer turns it, with Shift the other way; Backspace undoes."
      : "With the focus in here Backspace undoes.";
    const own = part("layers");
    own.setAttribute("role", "group");
    own.setAttribute("aria-label", "Turns");
    own.append(...rows, element("p", { class: "soft" }, help));
    own.hidden = false;
    own.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.key === "Backspace") void this.back();
      const meant = keys.get(event.key);
      if (meant) {
        const [layer, amount] = meant;
        const turn = turnOf(tables, layer, amount);
        if (turn !== null) void this.turn(turn);
      }
      if (meant || event.key === "Backspace") event.preventDefault();
    });
  }

  /**
   * Begin with these turns done.
   * @param {number[]} turns
   * @param {number | null} [slipped] what is slipped in, with everything undone
   */
  start(turns, slipped = null) {
    this.#doing++;
    const blocked = firstBlocked(this.tables, slipped === null ? turns : this.#whole(turns, slipped));
    if (blocked) {
      this.#blocked(blocked.turn);
      return;
    }
    this.a = [...turns];
    this.slipped = slipped;
    this.undone = slipped !== null;
    this.drawing.set(this.word);
    this.show();
    this.announce(turns.length ? write(this.tables, turns) : "Solved");
  }

  /** The turns that are done. */
  get word() {
    const { a, slipped, tables } = this;
    if (slipped === null) return a;
    return this.undone ? this.#whole(a, slipped) : [...a, slipped];
  }

  /**
   * @param {number[]} a
   * @param {number} slipped
   */
  #whole(a, slipped) {
    return [...a, slipped, ...inverse(this.tables, a), this.tables.inverses[slipped]];
  }

  /** @param {number} turn */
  async turn(turn) {
    const { tables } = this;
    if (this.undone) {
      this.#doing++;
      this.a = [];
      this.undone = false;
      this.drawing.set([]);
      this.slipped = null;
    } else if (this.slipped !== null) {
      // Somebody goes on with the turn that was slipped in: it is one of A.
      this.a = [...this.a, this.slipped];
      this.slipped = null;
    }
    if (firstBlocked(tables, [turn], effectOf(tables, this.a))) {
      this.#blocked(turn);
      return;
    }
    this.a = [...this.a, turn];
    const now = ++this.#doing;
    this.#unmark();
    this.show(false);
    this.announce(tables.turnNames[turn]);
    await this.drawing.turn(turn);
    if (now === this.#doing) this.#mark();
  }

  /** Take the last turn back. */
  async back() {
    const { tables } = this;
    if (this.undone || this.slipped !== null) {
      this.start(this.a);
      return;
    }
    const last = this.a.at(-1);
    if (last === undefined) {
      this.say("There is nothing to undo.");
      return;
    }
    this.a = this.a.slice(0, -1);
    const now = ++this.#doing;
    this.#unmark();
    this.show(false);
    this.announce(`${tables.turnNames[last]} undone`);
    await this.drawing.turn(tables.inverses[last], { time: UNDOING });
    if (now === this.#doing) this.#mark();
  }

  /** Slip a turn in. @param {number} turn */
  async slip(turn) {
    const { tables } = this;
    if (this.undone || this.slipped !== null) this.drawing.set(this.a);
    this.slipped = turn;
    this.undone = false;
    const now = ++this.#doing;
    this.#unmark();
    this.show(false);
    this.say(`${tables.turnNames[turn]} is slipped in. Now undo A, then turn ${tables.turnNames[turn]} back.`);
    this.shown.querySelector("button")?.focus();
    await this.drawing.turn(turn);
    if (now === this.#doing) this.#mark();
  }

  /** Undo A and then the turn that was slipped in, and show what came of it. */
  async finish() {
    const { tables, drawing, slipped } = this;
    if (slipped === null) return;
    this.undone = true;
    const now = ++this.#doing;
    this.#unmark();
    this.show(false);
    for (const turn of [...inverse(tables, this.a), tables.inverses[slipped]]) {
      if (now !== this.#doing) return;
      await drawing.turn(turn, { time: UNDOING });
    }
    if (now !== this.#doing) return;
    this.#mark();
    const gave = this.gives(slipped);
    this.say(`${this.notation}: ${GIVES[gave.gives]}. ${gave.cycles.map((c) => cycleText(tables, c)).join("; ")}`);
  }

  /**
   * Do what was typed: exact names at once, everything else as the server reads it.
   * @param {string} text
   * @param {string} [slipped]
   */
  async read(text, slipped = "") {
    const { tables } = this;
    let turns = parse(tables, text);
    let z = slipped ? parse(tables, slipped) : [];
    const wrongs = part("wrongs");
    wrongs.replaceChildren();
    this.input.removeAttribute("aria-invalid");
    if (!turns || !z) {
      const query = new URLSearchParams({ turns: text, insert: slipped });
      try {
        const report = await told(`${this.root.dataset.report}?${query}`, this.say);
        turns = parse(tables, report.sequence);
        z = report.completed ? parse(tables, report.completed.turn) : [];
      } catch (error) {
        wrongs.append(element("span", { class: "wrong", id: "wrong", role: "alert" }, String(/** @type {Error} */ (error).message)));
        this.input.setAttribute("aria-invalid", "true");
        this.input.setAttribute("aria-describedby", "wrong");
        return;
      }
    }
    this.start(turns ?? [], z?.[0] ?? null);
  }

  // --- what is shown ----------------------------------------------------------------------------

  /** @param {number} turn */
  gives(turn) {
    const own = insert(this.tables, effectOf(this.tables, this.a), turn);
    const blocked = firstBlocked(this.tables, this.#whole(this.a, turn));
    return blocked ? { ...own, gives: /** @type {const} */ ("blocked"), cycles: [] } : own;
  }

  /** What was built, in bracket form. */
  get notation() {
    const { a, slipped, tables } = this;
    return slipped === null ? write(tables, a) : `[${write(tables, a)}, ${tables.turnNames[slipped]}]`;
  }

  /** @param {number} turn */
  #blocked(turn) {
    this.say(`${this.tables.turnNames[turn]} is blocked here.`);
  }

  #unmark() {
    this.drawing.mark({});
    this.drawing.arrows([]);
  }

  /** Mark what the drawing shows. */
  #mark() {
    const { drawing, tables } = this;
    if (this.undone) {
      markCycles(drawing, cycles(tables, drawing.effect));
      return;
    }
    const out = disturbed(tables, drawing.effect);
    drawing.arrows([]);
    drawing.mark(new Map([...out].map(([slot, kind]) => [/** @type {Place} */ (`s${slot}`), kind])));
  }

  /** @param {string} begin */
  announce(begin) {
    const { tables } = this;
    const effect = effectOf(tables, this.word);
    const out = disturbed(tables, effect);
    const single = this.undone ? [] : singles(tables, effect);
    const alone = single.map((own) => tables.layerNames[own.layer]);
    const hold = alone.length === 1 ? "holds" : "hold";
    const where = alone.length ? ` ${alone.join(" and ")} ${hold} exactly one of them.` : "";
    this.say(`${begin}: ${out.size ? `${counted(out.size, "piece")} disturbed.` : "nothing is disturbed."}${where}`);
  }

  /** Show the state in words. @param {boolean} [mark] whether the drawing is marked as well */
  show(mark = true) {
    const { tables, a, slipped } = this;
    this.input.value = write(tables, a);
    this.undo.disabled = a.length === 0 && slipped === null;
    addressed({
      turns: write(tables, a),
      insert: slipped !== null && this.undone ? tables.turnNames[slipped] : "",
    });
    const effect = effectOf(tables, a);
    const parts = [this.#out(effect), a.length ? this.#singles(effect) : null];
    if (slipped !== null) parts.unshift(this.undone ? this.#came(slipped) : this.#next(slipped));
    this.shown.replaceChildren(...parts.filter((one) => one !== null));
    this.keeping.offer(this.undone && slipped !== null);
    if (mark) this.#mark();
  }

  /** What A disturbs, type by type. @param {import("./state.js").Effect} effect */
  #out(effect) {
    const { tables } = this;
    const out = [...disturbed(tables, effect)];
    const rows = tables.typeNames
      .map((name, type) => ({ name, own: out.filter(([slot]) => tables.typeOf[slot] === type) }))
      .filter(({ own }) => own.length)
      .map(({ name, own }) => {
        const names = own.map(([slot, kind]) =>
          element("span", { class: "turn" }, tables.slotNames[slot], kind === "twisted" ? " twisted" : null),
        );
        const twisted = own.filter(([, kind]) => kind === "twisted").length;
        const count = twisted ? `${own.length}, ${twisted} of them twisted where they sit` : `${own.length}`;
        return element(
          "div",
          {},
          element("dt", {}, name),
          element("dd", {}, `${count}: `, ...names.flatMap((one) => [one, " "])),
        );
      });
    return element(
      "section",
      { "aria-labelledby": "out" },
      element("h2", { id: "out" }, this.slipped === null ? "Disturbed" : "Disturbed by A"),
      rows.length
        ? element("dl", { class: "facts" }, ...rows)
        : element("p", { class: "soft" }, "Nothing. Turn a layer, then another, and undo the two in the same order."),
    );
  }

  /** The layers that hold one disturbed piece. @param {import("./state.js").Effect} effect */
  #singles(effect) {
    const { tables, drawing } = this;
    const found = singles(tables, effect).map(({ layer, slot, kind }) => {
      const turns = tables.turnNames.map((_, t) => t).filter((t) => tables.turnLayer[t] === layer);
      const rows = turns.map((turn) => {
        const own = this.gives(turn);
        const what = own.cycles.map((cycle) => cycleText(tables, cycle)).join("; ");
        const pressed = this.slipped === turn ? "true" : "false";
        return element(
          "li",
          {},
          button(tables.turnNames[turn], () => this.slip(turn), {
            class: "insert",
            "aria-pressed": pressed,
            "aria-label": `slip in ${tables.turnNames[turn]}`,
          }),
          element("span", {}, `${GIVES[own.gives]}${what ? ": " : ""}`, element("span", { class: "words" }, what)),
        );
      });
      const own = element(
        "div",
        { class: "single" },
        element(
          "h3",
          {},
          tables.layerNames[layer],
          element(
            "span",
            { class: "soft" },
            ` holds ${tables.slotNames[slot]} alone, ${kind === "twisted" ? "twisted where it sits" : "displaced"}`,
          ),
        ),
        element("ul", { class: "inserts" }, ...rows),
      );
      // Pointing at a layer shows which piece is meant.
      const show = () => {
        if (this.slipped === null) drawing.mark(new Map([[`s${slot}`, kind]]), { fade: true });
      };
      const leave = () => {
        if (this.slipped === null) this.#mark();
      };
      own.addEventListener("pointerenter", show);
      own.addEventListener("pointerleave", leave);
      own.addEventListener("focusin", show);
      own.addEventListener("focusout", leave);
      return own;
    });
    const none = disturbed(tables, effect).size
      ? "None: every layer holds no disturbed piece, or several."
      : "None: nothing is disturbed.";
    return element(
      "section",
      { "aria-labelledby": "single" },
      element("h2", { id: "single" }, "Layers with one disturbed piece"),
      ...(found.length ? found : [element("p", { class: "soft" }, none)]),
    );
  }

  /** What is to be done next. @param {number} slipped */
  #next(slipped) {
    const { tables } = this;
    const name = tables.turnNames[slipped];
    return element(
      "section",
      { class: "done", "aria-labelledby": "next" },
      element("h2", { id: "next" }, `A, then ${name}`),
      element("p", {}, "Now A is undone, and then ", name, " is turned back."),
      button("Now undo", () => this.finish()),
    );
  }

  /** What came of it. @param {number} slipped */
  #came(slipped) {
    const { tables, root } = this;
    const own = this.gives(slipped);
    const what = own.cycles.map((cycle) => cycleText(tables, cycle)).join("; ");
    const line = element("p", { class: "sequence" });
    const query = new URLSearchParams({ turns: write(tables, this.a), insert: tables.turnNames[slipped] });
    const now = this.#doing;
    // Cancelling is the server's; nothing waits for it.
    told(`${root.dataset.report}?${query}`, () => undefined).then(
      (report) => {
        if (now !== this.#doing || !report.completed) return;
        const { sequence, turns } = report.completed;
        line.append(
          element("span", { class: "words" }, sequence),
          element("span", { class: "soft" }, ` ${counted(turns, "turn")}`),
        );
      },
      (error) => this.say(sentence(error.message)),
    );
    const read = `${root.dataset.read}?${new URLSearchParams({ sequence: this.notation })}`;
    return element(
      "section",
      { class: "done", "aria-labelledby": "came" },
      element("h2", { id: "came" }, this.notation),
      element("p", {}, `This gives ${GIVES[own.gives]}${what ? ": " : "."}`, element("span", { class: "words" }, what)),
      line,
      this.#beside(slipped),
      own.gives === "three-cycle"
        ? element("p", {}, "Three times over it is nothing. The other turns of the layer give others.")
        : null,
      element(
        "p",
        { class: "row" },
        button("Show it again", () => this.again(), { class: "plain" }),
        element("a", { href: read }, "Read it"),
      ),
    );
  }

  /**
   * What each turn of the layer gives, as small pictures side by side.
   * @param {number} slipped
   */
  #beside(slipped) {
    const { tables, drawing } = this;
    const now = drawing.effect.slice();
    const turns = tables.turnNames
      .map((_, turn) => turn)
      .filter((turn) => tables.turnLayer[turn] === tables.turnLayer[slipped]);
    const { label } = drawing.shown;
    drawing.label(false);
    const figures = turns.map((turn) => {
      const { gives, cycles: found } = this.gives(turn);
      drawing.set([]);
      markCycles(drawing, found);
      const text = gives === "three-cycle" ? cycleText(tables, found[0]) : GIVES[gives];
      return element(
        "figure",
        turn === slipped ? { class: "this" } : {},
        snapshot(drawing, SMALL),
        element("figcaption", {}, element("strong", {}, tables.turnNames[turn]), " ", text),
      );
    });
    drawing.label(label);
    drawing.set(now);
    this.#unmark();
    return element("div", { class: "others", role: "group", "aria-label": "What each turn of the layer gives" }, ...figures);
  }

  /** Do the whole once more, from solved. */
  async again() {
    const { drawing, slipped } = this;
    if (slipped === null) return;
    const now = ++this.#doing;
    drawing.set([]);
    this.#unmark();
    for (const turn of this.#whole(this.a, slipped)) {
      if (now !== this.#doing) return;
      await drawing.turn(turn);
    }
    if (now === this.#doing) this.#mark();
  }
}

/**
 * Which key turns which layer, and how far: its letter, with Shift back. Where two layers differ by
 * the size of their letter alone, each has its own and none goes back.
 * @param {readonly string[]} names
 * @returns {Map<string, [number, 1 | -1]>}
 */
function letters(names) {
  /** @type {Map<string, [number, 1 | -1]>} */
  const keys = new Map();
  names.forEach((name, layer) => {
    if ([...name].length !== 1 || name.toLowerCase() === name.toUpperCase()) return;
    const other = name === name.toUpperCase() ? name.toLowerCase() : name.toUpperCase();
    if (names.includes(other)) {
      keys.set(name, [layer, 1]);
    } else {
      keys.set(name.toLowerCase(), [layer, 1]);
      keys.set(name.toUpperCase(), [layer, -1]);
    }
  });
  return keys;
}

/**
 * The turn of a layer by the least amount one way or the other; null where it has none.
 * @param {import("./state.js").Tables} tables
 * @param {number} layer
 * @param {1 | -1} way
 */
function turnOf(tables, layer, way) {
  const own = tables.turnNames.map((_, turn) => turn).filter((t) => tables.turnLayer[t] === layer);
  if (!own.length) return null;
  own.sort((one, other) => tables.amounts[one] - tables.amounts[other]);
  return way === 1 ? own[0] : tables.inverses[own[0]];
}

async function begin() {
  const root = part("bench");
  const said = part("said");
  const drawing = await drawn(part("stage"), (text) => (said.textContent = text));
  const bench = new Bench(root, drawing);
  const query = new URLSearchParams(location.search);
  await bench.read(query.get("turns") ?? "", query.get("insert") ?? "");
  root.dataset.ready = "yes";
}

begin().catch((error) => {
  part("said").textContent = sentence(error.message);
});
