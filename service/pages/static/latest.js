/** Questions of which only the newest matters: one is on its way, one waits, older ones are dropped. */

import { pause } from "./live.js";

/**
 * @template Q, A
 */
export class Latest {
  /** @type {Q | null} */
  #wanted = null;
  #running = false;
  #timer = 0;

  /**
   * @param {(question: Q) => Promise<A>} ask
   * @param {(answer: A, question: Q) => void} show is told an answer; a newer one may be wanted already
   * @param {(error: Error, question: Q) => void} fail
   * @param {(busy: boolean) => void} [busy] is told when it takes long, and when it is over
   */
  constructor(ask, show, fail, busy = () => undefined) {
    this.ask = ask;
    this.show = show;
    this.fail = fail;
    this.busy = busy;
  }

  /**
   * Ask, after so many milliseconds in which nothing newer is wanted.
   * @param {Q} question
   * @param {number} [wait]
   */
  want(question, wait = 0) {
    this.#wanted = question;
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.#run(), wait);
  }

  /** Want nothing any more; what is on its way is not shown. */
  drop() {
    this.#wanted = null;
    clearTimeout(this.#timer);
  }

  /** Whether an answer is on its way or wanted. */
  get waiting() {
    return this.#running || this.#wanted !== null;
  }

  async #run() {
    if (this.#running) return;
    this.#running = true;
    const slow = setTimeout(() => this.busy(true), 300);
    try {
      while (this.#wanted !== null) {
        const question = this.#wanted;
        try {
          const answer = await this.ask(question);
          if (this.#wanted !== null) this.show(answer, question);
        } catch (error) {
          if (this.#wanted === question) this.fail(/** @type {Error} */ (error), question);
        }
        if (this.#wanted === question) this.#wanted = null;
        // Whoever goes on moving a slider leaves the service a moment for others.
        else await pause(20);
      }
    } finally {
      clearTimeout(slow);
      this.#running = false;
      this.busy(false);
    }
  }
}
