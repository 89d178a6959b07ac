/** Where answers are kept: in this browser if it lets them be, else as long as the page is open. */

import { merged, readAnswers, written } from "./schedule.js";

/** @typedef {import("./schedule.js").Answers} Answers */
/** @typedef {import("./schedule.js").Kept} Kept */

/** The name in the browser's storage. */
export const NAME = "trefoil.practice";

/**
 * "kept": the browser keeps them, and what is there is read anew each time, as other pages write
 * there too. "visit": it does not; they stay here. "broken": what is there cannot be read and is left
 * as it is until somebody decides; answers stay here.
 */
export class Records extends EventTarget {
  /** @type {"kept" | "visit" | "broken"} */
  state = "kept";
  /** What is there as it is, where it cannot be read. */
  raw = "";
  /** What is wrong with it. @type {string[]} */
  wrong = [];
  /** What of it can be read. @type {Answers} */
  readable = new Map();
  /** Answers that are not in the browser's storage. @type {Answers} */
  #here = new Map();

  constructor() {
    super();
    this.all();
    // Where nothing can be written this is said before somebody answers for an hour.
    if (this.state === "kept") this.#write(this.all());
    addEventListener("storage", (event) => {
      if (event.key !== NAME && event.key !== null) return;
      if (this.state === "broken") this.#again();
      this.#changed();
    });
  }

  /** See whether another page has put right what could not be read. */
  #again() {
    const text = localStorage.getItem(NAME);
    if (text !== null && readAnswers(text, new Date()).wrong.length) return;
    const since = this.#here;
    [this.state, this.raw, this.wrong, this.readable] = ["kept", "", [], new Map()];
    this.take(since);
  }

  /** All answers. @returns {Answers} */
  all() {
    if (this.state !== "kept") return this.#here;
    /** @type {string | null} */
    let text = null;
    try {
      text = localStorage.getItem(NAME);
    } catch {
      this.#leave("visit");
    }
    if (text === null) return this.state === "kept" ? new Map() : this.#here;
    const { answers, wrong } = readAnswers(text, new Date());
    if (wrong.length === 0) {
      this.#here = answers;
      return answers;
    }
    [this.raw, this.wrong, this.readable] = [text, wrong, answers];
    this.#leave("broken");
    return this.#here;
  }

  /**
   * Keep an answer, or forget a case.
   * @param {string} id
   * @param {Kept | undefined} kept
   */
  put(id, kept) {
    const all = new Map(this.all());
    if (kept) all.set(id, kept);
    else all.delete(id);
    this.#write(all);
  }

  /**
   * Take answers from elsewhere in, of each case the newest.
   * @param {Answers} others
   */
  take(others) {
    const { answers, ...counts } = merged(this.all(), others);
    this.#write(answers);
    return counts;
  }

  /**
   * Forget cases.
   * @param {(kept: Kept) => boolean} which
   */
  forget(which) {
    this.#write(new Map([...this.all()].filter(([, kept]) => !which(kept))));
  }

  /**
   * Write over what cannot be read, with what can be or with nothing of it; what was answered since
   * is kept with it.
   * @param {boolean} keep
   */
  begin(keep) {
    const { answers } = merged(this.#here, keep ? this.readable : new Map());
    [this.state, this.raw, this.wrong, this.readable] = ["kept", "", [], new Map()];
    this.#write(answers);
  }

  /** @param {Answers} all */
  #write(all) {
    this.#here = all;
    if (this.state === "kept") {
      try {
        if (all.size || localStorage.getItem(NAME) !== null) localStorage.setItem(NAME, written(all));
        else probe();
      } catch {
        this.#leave("visit");
      }
    }
    this.#changed();
  }

  /** @param {"visit" | "broken"} state */
  #leave(state) {
    this.state = state;
    this.#changed();
  }

  #changed() {
    this.dispatchEvent(new Event("change"));
  }
}

/** See whether anything can be written; throws where it cannot. */
function probe() {
  localStorage.setItem(`${NAME}.probe`, "1");
  localStorage.removeItem(`${NAME}.probe`);
}
