/** Asking: three stickers or other cycles are clicked or typed; the answers come in by and by. */

import { AGAIN, LOST, pause } from "./connection.js";
import { OVER } from "./following.js";
import { counted, drawn, element, mark, part, sentence } from "./live.js";
import { whyNot } from "./possible.js";
import { partsOfAnswer } from "./parts.js";
import { news, progress } from "./progress.js";
import { keyOf, replace } from "./refreshing.js";
import { Several } from "./several.js";
import { steppable } from "./steppable.js";
import { Stepper } from "./stepping.js";
import { WishForm } from "./wish_form.js";

/** @typedef {import("./drawing.js").Drawing} Drawing */
/** @typedef {import("./picks.js").Pick} Pick */
/** @typedef {import("./live.js").Kind} Kind */
/** @typedef {import("./live.js").Place} Place */
/** @typedef {import("./progress.js").Search} Search */

const KINDS = /** @type {const} */ (["first", "second", "third"]);
const EMPTY = "Click or tap three stickers, or type them.";
const BETWEEN = /->|[→,\s]+/;

class Asking {
  /** What was asked last; answers to anything else come too late. */
  #asked = 0;
  /** @type {EventSource | null} */
  #events = null;
  /** The answers that are shown, to see whether there are others. */
  #shown = "";

  /**
   * @param {HTMLElement} root
   * @param {Drawing} drawing
   */
  constructor(root, drawing) {
    this.root = root;
    this.drawing = drawing;
    this.tables = drawing.tables;
    this.form = /** @type {HTMLFormElement} */ (part("wish"));
    this.wish = new WishForm(this.form, () => void this.#back());
    this.input = /** @type {HTMLInputElement} */ (part("cycle"));
    this.said = part("said");
    this.stepper = new Stepper(drawing, part("stepping"), this.say);
    const page = { say: this.say, write: (/** @type {string} */ text) => this.#put(text), allowed: () => this.allowed };
    this.several = new Several(drawing, this.input, page);
    drawing.addEventListener("pick", (event) => {
      this.picked(/** @type {CustomEvent<Pick>} */ (event).detail);
    });
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      void this.ask();
    });
    this.form.addEventListener("change", (event) => {
      if (event.target === this.input) return;
      if (this.several.on ? part("answers").dataset.search : this.names.length === 3) void this.ask();
      else this.#recheck();
    });
    this.input.addEventListener("input", () => {
      if (this.several.on !== this.bracketed && this.input.value.trim()) this.several.take(this.bracketed);
      if (!this.stepper.taken) this.mark();
    });
  }

  /** Whether cycles in brackets are typed. */
  get bracketed() {
    return this.input.value.trimStart().startsWith("(");
  }

  /** @param {string} text */
  say = (text) => {
    if (this.said.textContent !== text) this.said.textContent = text;
  };

  /** The names that are typed or clicked. */
  get names() {
    return this.input.value.split(BETWEEN).filter((name) => name !== "");
  }

  /** The placements of the names, as far as they are names of placements. */
  get places() {
    return this.names.map((name) => this.tables.placementNames.indexOf(name));
  }

  /** Mark what is chosen so far. */
  mark() {
    if (this.several.on) return this.several.mark();
    const { drawing, places } = this;
    const known = places.filter((place) => place >= 0).slice(0, 3);
    /** @type {Map<Place, Kind>} */
    const marks = new Map(known.map((place, k) => [`p${place}`, KINDS[k]]));
    drawing.mark(marks);
    /** @type {[Place, Place][]} */
    const arrows = known.slice(1).map((place, k) => [`p${known[k]}`, `p${place}`]);
    if (known.length === 3) arrows.push([`p${known[2]}`, `p${known[0]}`]);
    drawing.arrows(arrows);
  }

  /**
   * A sticker was chosen: the next of the three, or one that is taken back.
   * @param {Pick} pick
   */
  picked(pick) {
    const { tables } = this;
    if (this.stepper.taken) this.stepper.drop();
    if (this.several.on) return this.several.picked(pick);
    let names = this.names;
    if (names.length >= 3) names = [];
    const slots = names.map((name) => tables.slotOf[tables.placementNames.indexOf(name)]);
    const there = slots.indexOf(pick.slot);
    const name = tables.placementNames[pick.placement];
    if (there >= 0) {
      names.splice(there, 1);
      this.#write(names);
      this.say(`${tables.slotNames[pick.slot]} is taken back.`);
      return;
    }
    const places = [...names.map((own) => tables.placementNames.indexOf(own)), pick.placement];
    const why = places.includes(-1) ? null : whyNot(tables, places, this.allowed);
    if (why) {
      this.say(`Impossible: ${why}.`);
      return;
    }
    names.push(name);
    this.#write(names);
    if (names.length === 3) void this.ask();
    else this.say(`${name} is the ${KINDS[names.length - 1]}; ${names.length === 1 ? "two" : "one"} more.`);
  }

  /** @param {string[]} names */
  #write(names) {
    this.#put(names.join(", "));
  }

  /** @param {string} text */
  #put(text) {
    if (this.stepper.taken) this.stepper.drop();
    this.input.value = text;
    this.#forget();
    this.wish.leave();
    this.mark();
  }

  /** Drop the answers to what is no longer asked. */
  #forget() {
    this.#asked++;
    this.#events?.close();
    part("answers").replaceChildren();
    this.#wrongs([]);
    this.#shown = "";
  }

  /** Show what is wrong with what was asked for, if anything is. @param {Iterable<Element>} own */
  #wrongs(own) {
    part("wrongs").replaceChildren(...own);
    mark(this.input, part("wrongs").childElementCount > 0);
  }

  /** Say at once where what was ticked forbids what is chosen so far. */
  #recheck() {
    const places = this.places;
    if (this.several.on || places.includes(-1)) return;
    for (let k = 1; k <= places.length; k++) {
      const why = whyNot(this.tables, places.slice(0, k), this.allowed);
      if (why) {
        this.say(`Impossible: ${why}.`);
        return;
      }
    }
    if (this.said.textContent?.startsWith("Impossible")) this.say("That is possible again.");
  }

  /** What may turn and move, as far as it is ticked. */
  get allowed() {
    const { layerNames, typeNames } = this.tables;
    return {
      layers: this.wish.ticked("layers").map((name) => layerNames.indexOf(name)),
      free: this.wish.ticked("free").map((name) => typeNames.indexOf(name)),
      anyTwist: this.wish.ticked("any_twist").length > 0,
    };
  }

  /** What is wanted, as the address has it. @returns {Record<string, string>} */
  get wanted() {
    return this.several.on ? { effect: this.several.whole } : { cycle: this.names.join(",") };
  }

  /** Ask, and show the answers as they come. */
  async ask() {
    this.#forget();
    if (this.stepper.taken) this.stepper.drop();
    if (this.several.on) this.input.value = this.several.whole;
    this.mark();
    if (!this.allowed.layers.length) {
      this.say("Impossible: no layer may turn. Tick one.");
      return;
    }
    this.wish.asked(this.wanted);
    if (!this.names.length) {
      this.say(EMPTY);
      return;
    }
    this.say("Asking.");
    await this.#refresh(this.#asked, false);
  }

  /** Take up what the page came with. */
  begin() {
    if (this.bracketed) this.several.take(true);
    this.mark();
    const own = part("answers");
    this.#arrived(own, this.#asked);
  }

  /** The browser has gone back, or forth, to another question: take that up. */
  async #back() {
    this.#forget();
    if (this.stepper.taken) this.stepper.drop();
    this.say("Asking.");
    await this.#refresh(this.#asked, true, true);
    if (!this.names.length) this.say(EMPTY);
  }

  /**
   * Put what the service has now into the page.
   * @param {number} asked
   * @param {boolean} [looking] whether a search is only looked at, not begun anew if it was stopped
   * @param {boolean} [fields] whether the form is to say what the address says
   */
  async #refresh(asked, looking = true, fields = false) {
    for (;;) {
      try {
        const headers = { Accept: "text/html", Prefer: "wait=0" };
        const href = new URL(location.href);
        if (looking) href.searchParams.set("look", "1");
        const answer = await fetch(href, { headers });
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        if (asked !== this.#asked) return;
        const fresh = page.getElementById("answers");
        if (!fresh) {
          // Such as one that says that there is much to do, or that there is no such puzzle.
          this.say(page.querySelector(".wrong")?.textContent ?? LOST);
          if (answer.status < 500) return;
          await pause(AGAIN);
          if (asked !== this.#asked) return;
          continue;
        }
        if (fields) this.#fields(page);
        this.#wrongs(page.getElementById("wrongs")?.children ?? []);
        replace(part("answers"), document.adoptNode(fresh));
        this.#arrived(fresh, asked);
        return;
      } catch {
        if (asked !== this.#asked) return;
        this.say(LOST);
        await pause(AGAIN);
        if (asked !== this.#asked) return;
      }
    }
  }

  /** Let the form say what that of a page says. @param {Document} page */
  #fields(page) {
    this.wish.take(page);
    this.several.take(this.bracketed);
    this.mark();
  }

  /**
   * Make the answers work, and follow the search if it goes on.
   * @param {HTMLElement} own
   * @param {number} asked
   */
  #arrived(own, asked) {
    const answers = [...own.querySelectorAll(".answers > li")];
    for (const li of own.querySelectorAll("li[data-a]")) this.#steps(/** @type {HTMLLIElement} */ (li));
    this.#shown = answers.map(keyOf).join("|");
    const { search, state } = own.dataset;
    if (!search) {
      // What is wrong says so itself.
      if (part("wrongs").childElementCount) this.say("");
      return;
    }
    const none = own.querySelector("#none, .wrong");
    const count = answers.length;
    if (OVER.includes(state ?? "")) {
      const stopped = state === "stopped" ? "The search was stopped. " : "";
      const shown = count ? `${counted(count, "answer is", "answers are")} shown.` : "There is no answer.";
      this.say(none?.textContent?.trim() || `${stopped}${shown}`);
      return;
    }
    this.#stop(own, search);
    this.#follow(search, asked);
  }

  /**
   * A button that ends the search.
   * @param {HTMLElement} own
   * @param {string} search
   */
  #stop(own, search) {
    const stop = element("button", { type: "button", class: "stop" }, "Stop");
    stop.addEventListener("click", async () => {
      if (stop.ariaDisabled === "true") return;
      // Disabled it would lose the focus, which is to go on with what takes its place.
      stop.ariaDisabled = "true";
      try {
        const answer = await fetch(search, { method: "DELETE" });
        if (!answer.ok) throw new Error("it was not stopped");
      } catch {
        stop.ariaDisabled = "false";
        this.say("The search was not stopped; try again.");
      }
    });
    own.querySelector("#awaited")?.replaceChildren(element("span", {}, "The search goes on."), stop);
  }

  /**
   * @param {string} search
   * @param {number} asked
   */
  #follow(search, asked) {
    this.#events?.close();
    const events = new EventSource(`${search}/events`);
    this.#events = events;
    let heard = "";
    const end = () => {
      events.close();
      void this.#refresh(asked);
    };
    events.addEventListener("search", (event) => {
      if (asked !== this.#asked) {
        events.close();
        return;
      }
      const told = /** @type {Search} */ (JSON.parse(event.data));
      if (OVER.includes(told.state)) {
        end();
        return;
      }
      // Every step is shown; said is only what changes for whoever listens.
      const found = told.answer?.answers.length ?? 0;
      const step = part("answers").querySelector("#awaited span");
      if (step) step.textContent = progress(told);
      const now = `${found} ${told.state}`;
      if (now !== heard) this.say(news(told));
      heard = now;
      const others = (told.answer?.answers ?? []).map((one) => one.sequence).join("|");
      if (others && others !== this.#shown) end();
    });
    events.addEventListener("lost", end);
    events.addEventListener("error", () => {
      if (asked !== this.#asked) return;
      this.say(LOST);
      if (events.readyState === EventSource.CLOSED) setTimeout(() => asked === this.#asked && this.#refresh(asked), AGAIN);
    });
  }

  /**
   * Let an answer be stepped through.
   * @param {HTMLLIElement} li
   */
  #steps(li) {
    const { stepper, tables } = this;
    const before = li.querySelector(":scope > .how");
    const parts = partsOfAnswer(tables, li.dataset);
    if (!parts || !before || li.querySelector(":scope > button.step")) return;
    const name = li.dataset.notation ?? "";
    const strip = li.querySelector(":scope > .strip");
    const step = steppable(strip ?? before, name, () => {
      stepper.take(parts, (li.dataset.cycle ?? "").split(","), name);
      return stepper.strip();
    });
    step.hidden = strip !== null;
  }
}

async function begin() {
  const root = part("ask");
  const said = part("said");
  const drawing = await drawn(part("stage"), (text) => (said.textContent = text));
  const asking = new Asking(root, drawing);
  asking.begin();
  if (!asking.names.length) asking.say(EMPTY);
  root.dataset.ready = "yes";
}

begin().catch((error) => {
  part("said").textContent = sentence(error.message);
});
