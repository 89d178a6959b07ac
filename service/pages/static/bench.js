/** The bench: layers are turned by buttons, keys and typing; what is disturbed and offered is shown. */

import { keepings } from "./keeping.js";
import { turnables } from "./layers.js";
import {
  addressed,
  button,
  counted,
  cycleText,
  drawn,
  element,
  mark,
  markCycles,
  part,
  sentence,
  told,
} from "./live.js";
import { GIVES, alone, came, next, out } from "./showing.js";
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

/** Milliseconds of a quarter turn while everything is undone, in which nothing is to be learnt. */
const UNDOING = 220;

export class Bench {
  /** The turns of A, and the turn that is slipped in, if one is. @type {number[]} */
  a = [];
  /** @type {number | null} */
  slipped = null;
  /** Whether everything is undone after that. */
  undone = false;
  /** Counts what is done, so that what was begun before it comes to nothing. */
  doing = 0;
  /** Counts what was to be read, of which only the newest matters. */
  #reading = 0;

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
    turnables(part("layers"), this.tables, (turn) => this.turn(turn), () => this.back());
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

  /**
   * Begin with these turns done.
   * @param {number[]} turns
   * @param {number | null} [slipped] what is slipped in, with everything undone
   */
  start(turns, slipped = null) {
    this.doing++;
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
    if (slipped === null) this.announce(turns.length ? write(this.tables, turns) : "Solved");
    else this.#gave(slipped);
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
      this.doing++;
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
    const now = ++this.doing;
    this.unmark();
    this.show(false);
    this.announce(tables.turnNames[turn]);
    await this.drawing.turn(turn);
    if (now === this.doing) this.mark();
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
    const now = ++this.doing;
    this.unmark();
    this.show(false);
    this.announce(`${tables.turnNames[last]} undone`);
    await this.drawing.turn(tables.inverses[last], { time: UNDOING });
    if (now === this.doing) this.mark();
  }

  /** Slip a turn in. @param {number} turn */
  async slip(turn) {
    const { tables } = this;
    if (this.undone || this.slipped !== null) this.drawing.set(this.a);
    this.slipped = turn;
    this.undone = false;
    const now = ++this.doing;
    this.unmark();
    this.show(false);
    this.say(`${tables.turnNames[turn]} is slipped in. Now undo A, then turn ${tables.turnNames[turn]} back.`);
    this.shown.querySelector("button")?.focus();
    await this.drawing.turn(turn);
    if (now === this.doing) this.mark();
  }

  /** Undo A and then the turn that was slipped in, and show what came of it. */
  async finish() {
    const { tables, drawing, slipped } = this;
    if (slipped === null) return;
    // Whoever is quick does not wait for the turn that is on its way.
    drawing.set(this.word);
    this.undone = true;
    const now = ++this.doing;
    this.unmark();
    this.show(false);
    for (const turn of [...inverse(tables, this.a), tables.inverses[slipped]]) {
      if (now !== this.doing) return;
      await drawing.turn(turn, { time: UNDOING });
    }
    if (now !== this.doing) return;
    this.mark();
    this.#gave(slipped);
  }

  /** Say what came of it. @param {number} slipped */
  #gave(slipped) {
    const gave = this.gives(slipped);
    const found = gave.cycles.map((cycle) => cycleText(this.tables, cycle)).join("; ");
    this.say(`${this.notation}: ${GIVES[gave.gives]}. ${found}`);
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
    const [own, now] = [++this.#reading, this.doing];
    this.#wrong("");
    if (!turns || !z) {
      const query = new URLSearchParams({ turns: text, insert: slipped });
      // What was done or read since then is newer than this answer.
      const late = () => own !== this.#reading || now !== this.doing;
      try {
        const report = await told(`${this.root.dataset.report}?${query}`, this.say);
        if (late()) return;
        turns = parse(tables, report.sequence);
        z = report.completed ? parse(tables, report.completed.turn) : [];
      } catch (error) {
        if (!late()) this.#wrong(/** @type {Error} */ (error).message);
        return;
      }
    }
    this.start(turns ?? [], z?.[0] ?? null);
  }

  /** Say what is wrong with what was typed; nothing where it is right. @param {string} text */
  #wrong(text) {
    const own = element("p", { class: "wrong", id: "wrong", role: "alert" }, text);
    part("wrongs").replaceChildren(...(text ? [own] : []));
    mark(this.input, text !== "");
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

  unmark() {
    this.drawing.mark({});
    this.drawing.arrows([]);
  }

  /** Mark what the drawing shows. */
  mark() {
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
    // It stays where the focus can be: whoever undoes by keys goes on from there.
    this.undo.setAttribute("aria-disabled", String(a.length === 0 && slipped === null));
    addressed({
      turns: write(tables, a),
      insert: slipped !== null && this.undone ? tables.turnNames[slipped] : "",
    });
    const effect = effectOf(tables, a);
    const parts = [out(this, effect), a.length ? alone(this, effect) : null];
    if (slipped !== null) parts.unshift(this.undone ? came(this, slipped) : next(this, slipped));
    const held = this.shown.contains(document.activeElement);
    this.shown.replaceChildren(...parts.filter((one) => one !== null));
    if (held) this.#go();
    this.keeping.offer(this.undone && slipped !== null);
    if (mark) this.mark();
  }

  /** Put the focus on what can be done next, since what had it is gone. */
  #go() {
    const next = this.shown.querySelector(".done button") ?? this.undo;
    /** @type {HTMLElement} */ (next).focus({ preventScroll: true });
  }

  /** Do the whole once more, from solved. */
  async again() {
    const { drawing, slipped } = this;
    if (slipped === null) return;
    const now = ++this.doing;
    drawing.set([]);
    this.unmark();
    for (const turn of this.#whole(this.a, slipped)) {
      if (now !== this.doing) return;
      await drawing.turn(turn);
    }
    if (now === this.doing) this.mark();
  }
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
