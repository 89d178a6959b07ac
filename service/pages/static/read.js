/** Reading: a sequence is sent from the page that stays, and its brackets can be stepped through. */

import { AGAIN, LOST, pause } from "./connection.js";
import { release, stepper } from "./holding.js";
import { enhance } from "./page.js";
import { steppable } from "./steppable.js";

/** What a service says that will have an answer later. */
const LATER = 503;
const REFUSED = "This was not read; it may be too long for an address.";

/** What was asked for last; answers to anything else come too late. */
let asked = 0;
/** The address that the page shows or waits for, without what is only a place in it. */
let wanted = here();

function here() {
  return location.pathname + location.search;
}

/** Make what the page shows work. */
function begin() {
  const form = document.querySelector("form.line");
  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    const query = new URLSearchParams(/** @type {[string, string][]} */ ([...new FormData(/** @type {HTMLFormElement} */ (form))]));
    void read(`${/** @type {HTMLFormElement} */ (form).action}?${query}`, true);
  });
  const figure = /** @type {HTMLElement | null} */ (document.querySelector("figure[data-drawing]"));
  const panel = document.getElementById("stepping");
  const tree = document.querySelector("ul.tree");
  const root = /** @type {HTMLElement | null} */ (tree?.querySelector("li") ?? null);
  if (!figure || !panel || !tree || !root) return;
  const held = stepper(figure, panel);
  steppable(tree, root.dataset.notation ?? "", async () => {
    const own = await held();
    const { bracketOf, partsOfBracket } = await import("./parts.js");
    own.take(partsOfBracket(own.drawing.tables, bracketOf(root)), [], root.dataset.notation ?? "");
    return own.strip();
  });
}

/** @param {string} text */
function say(text) {
  const said = document.getElementById("said");
  if (said) said.textContent = text;
}

/**
 * Put the page of a sequence in the place of this one, as soon as the service has it.
 * @param {string} href
 * @param {boolean} [anew] whether the browser is to come back to what was there before
 */
async function read(href, anew = false) {
  const own = ++asked;
  say("Reading.");
  for (;;) {
    let text = LOST;
    try {
      const answer = await fetch(href, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (own !== asked) return;
      const main = page.querySelector("main");
      if (anew && answer.status >= 400 && answer.status < 500 && !page.getElementById("sequence")) {
        // No page of a sequence, such as for an address that is too long: what was typed stays.
        complain(main?.querySelector(".wrong")?.textContent ?? REFUSED);
        return;
      }
      if (!main) throw new Error("this is no page of the service");
      if (answer.status !== LATER) {
        if (anew) history.pushState(null, "", href);
        wanted = here();
        show(page, main);
        return;
      }
      text = main.querySelector(".wrong")?.textContent ?? LOST;
    } catch {
      if (own !== asked) return;
    }
    say(text);
    await pause(AGAIN);
    if (own !== asked) return;
  }
}

/** Say at the field that it was not read. @param {string} text */
function complain(text) {
  say("");
  const field = document.getElementById("sequence");
  document.getElementById("wrong")?.remove();
  const own = document.createElement("p");
  own.id = "wrong";
  own.className = "wrong";
  own.setAttribute("role", "alert");
  own.textContent = text;
  field?.after(own);
  field?.setAttribute("aria-invalid", "true");
  field?.setAttribute("aria-describedby", "wrong");
  field?.focus();
}

/**
 * @param {Document} page
 * @param {Element} main
 */
function show(page, main) {
  const old = document.querySelector("main");
  document.title = page.title;
  document.querySelector("footer")?.replaceWith(document.adoptNode(page.querySelector("footer") ?? page.createElement("footer")));
  if (old) release(old);
  old?.replaceChildren(...main.children);
  if (old) enhance(old);
  begin();
  const first = document.getElementById("does");
  // What is wrong says so itself.
  say(first ? "It is read." : "");
  // Whoever uses the keys goes on from where they were.
  const area = document.getElementById("sequence");
  (first ? old : area)?.focus({ preventScroll: true });
}

addEventListener("popstate", () => {
  // Going to a place within the page is no other sequence.
  if (here() === wanted) return;
  wanted = here();
  void read(location.href);
});
begin();
