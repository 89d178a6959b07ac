/** The form on which one asks, and the address of the page: Back goes to what was asked before. */

import { addressed } from "./live.js";

function here() {
  return location.pathname + location.search;
}

/** Ticks and choices of the form, and what the browser comes back to. */
export class WishForm {
  /** Whether the address is that of a question that is only being clicked or typed. */
  #open = false;
  /** The address that the page shows, without what is only a place in it. */
  #shown = here();

  /**
   * @param {HTMLFormElement} form
   * @param {() => void} back what is done where the browser has gone to another question
   */
  constructor(form, back) {
    this.form = form;
    addEventListener("popstate", () => {
      if (here() === this.#shown) return;
      this.#shown = here();
      this.#open = false;
      back();
    });
  }

  /**
   * The boxes of a field.
   * @param {string} name
   */
  boxes(name) {
    return /** @type {HTMLInputElement[]} */ ([...this.form.querySelectorAll(`input[name="${name}"]`)]);
  }

  /**
   * The values of the boxes of a field that are ticked.
   * @param {string} name
   */
  ticked(name) {
    return this.boxes(name).filter((box) => box.checked).map((box) => box.value);
  }

  /** What is ticked and chosen, as the address has it. */
  get query() {
    /** @type {Record<string, string>} */
    const query = {};
    const layers = this.ticked("layers");
    if (layers.length < this.boxes("layers").length) query.layers = layers.join(",");
    query.free = this.ticked("free").join(",");
    query.matters = this.form.querySelector("select")?.value ?? "";
    for (const name of ["left_handed", "any_twist", "apart"]) query[name] = this.ticked(name).join("");
    return query;
  }

  /**
   * Let the address say what is asked.
   * @param {Record<string, string>} wanted
   */
  asked(wanted) {
    const anew = !this.#open;
    this.#open = false;
    this.#go({ ...wanted, ...this.query }, anew);
  }

  /** Let the address no longer say what was asked, where it does: another question is begun. */
  leave() {
    const own = new URLSearchParams(location.search);
    if (this.#open || !(own.get("cycle") || own.get("effect"))) return;
    this.#open = true;
    this.#go(this.query, true);
  }

  /** @param {Record<string, string>} query @param {boolean} anew */
  #go(query, anew) {
    addressed(query, anew);
    this.#shown = here();
  }

  /** Take up what stands in the form of a page of this address. @param {Document} page */
  take(page) {
    for (const own of /** @type {NodeListOf<HTMLInputElement>} */ (this.form.querySelectorAll("input[name], select[name]"))) {
      const box = own.type === "checkbox" ? `[value="${CSS.escape(own.value)}"]` : "";
      const other = /** @type {HTMLInputElement | null} */ (page.querySelector(`#wish [name="${own.name}"]${box}`));
      if (!other) continue;
      if (box) own.checked = other.checked;
      else own.value = other.value;
    }
  }
}
