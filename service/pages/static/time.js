/** What goes on for a while: eased shares of a time, once a frame, that can be ended at once. */

export class Running {
  /** @type {Set<() => void>} */
  #ends = new Set();

  /**
   * Call something with the eased share of a time that is over, once a frame, until all of it is.
   * @param {number} time in milliseconds
   * @param {(share: number) => void} does
   * @returns {Promise<void>}
   */
  run(time, does) {
    return new Promise((resolve) => {
      const begun = performance.now();
      let frame = 0;
      const end = () => {
        cancelAnimationFrame(frame);
        this.#ends.delete(end);
        resolve();
      };
      this.#ends.add(end);
      const step = () => {
        const share = Math.min(1, (performance.now() - begun) / time);
        // Slow at both ends.
        does(share * share * (3 - 2 * share));
        if (share < 1) frame = requestAnimationFrame(step);
        else end();
      };
      step();
    });
  }

  /** End all that is on its way. */
  end() {
    for (const end of [...this.#ends]) end();
  }
}
