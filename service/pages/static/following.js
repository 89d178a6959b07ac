/** Waits for a search, says how it stands, and then puts what came of it into the page. */

import { AGAIN, LOST } from "./connection.js";
import { release } from "./holding.js";

/**
 * @typedef {object} Search
 * @property {string} state
 * @property {{step: string | null, share: number | null} | null} progress
 */

/** States in which a search goes no further. */
export const OVER = ["done", "stopped", "failed"];

/**
 * Follow the search of a section until it is over.
 *
 * @param {HTMLElement} section `data-follow` is the search, `data-page` the page that shows it
 * @param {(part: Element) => void} enhance makes what comes into the page work
 */
export function follow(section, enhance) {
  const search = section.dataset.follow ?? "";
  const status = section.querySelector("[role=status]");
  const stop = section.querySelector("button.stop");
  if (stop instanceof HTMLButtonElement) {
    stop.hidden = false;
    stop.addEventListener("click", async () => {
      stop.disabled = true;
      try {
        const answer = await fetch(search, { method: "DELETE" });
        if (!answer.ok) stop.disabled = false;
      } catch {
        stop.disabled = false;
      }
    });
  }

  /** @param {string} text */
  const say = (text) => {
    if (status && status.textContent !== text) status.textContent = text;
  };

  const listen = () => {
    const events = new EventSource(`${search}/events`);
    events.addEventListener("search", (event) => {
      const told = /** @type {Search} */ (JSON.parse(event.data));
      if (told.state === "stopped") {
        events.close();
        say("This was stopped; looking again begins it anew.");
      } else if (OVER.includes(told.state)) {
        events.close();
        void replace();
      } else {
        say(words(told));
      }
    });
    events.addEventListener("lost", () => {
      events.close();
      void replace();
    });
    events.addEventListener("error", () => {
      say(LOST);
      if (events.readyState === EventSource.CLOSED) setTimeout(replace, AGAIN);
    });
  };

  const replace = async () => {
    try {
      const page = await fetch(section.dataset.page ?? "", { headers: { Accept: "text/html" } });
      const text = await page.text();
      const main = new DOMParser().parseFromString(text, "text/html").querySelector("main");
      const old = document.querySelector("main");
      // A page that says what went wrong is one that can be shown, too.
      if (!main || !old || page.status >= 500) throw new Error("this is not the page");
      const held = old.contains(document.activeElement);
      const from = [...old.children].indexOf(section);
      // What stands before stays as it is, with whatever was opened there.
      for (const child of [...old.children].slice(from)) {
        release(child);
        child.remove();
      }
      const added = [...main.children].slice(from);
      old.append(...added);
      if (held && !old.contains(document.activeElement)) old.focus();
      for (const child of added) enhance(child);
    } catch {
      say(LOST);
      setTimeout(replace, AGAIN);
    }
  };

  listen();
}

/** @param {Search} told */
function words(told) {
  return `This is being worked out${standing(told)}.`;
}

/**
 * How far a search is, to follow the word for what goes on.
 * @param {Pick<Search, "state" | "progress">} told
 */
export function standing(told) {
  const { step, share } = told.progress ?? {};
  const waiting = told.state === "waiting" ? ", as soon as a worker is free" : "";
  const done = share ? `, ${Math.round(100 * share)} of 100 done` : "";
  return `${waiting}${step ? `: ${step}` : ""}${done}`;
}
