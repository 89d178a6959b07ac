/** Practice: a case on the drawing, its sequence when it is asked for, and when it is asked again. */

import { button, element, part, sentence } from "./live.js";
import { enhance } from "./page.js";
import { Posing } from "./posing.js";
import { Records } from "./records.js";
import { remembering } from "./remembering.js";
import { answered, anyway, between, dayOf, lastOf, next } from "./schedule.js";

/** @typedef {import("./posing.js").Posed} Posed */
/** @typedef {import("./schedule.js").Choice} Choice */
/** @typedef {import("./schedule.js").Kept} Kept */
/** @typedef {Posed & {id: string, asked: string, free: string, row: HTMLElement}} Case */

const LOOKS = "trefoil.practice.look";
/** Milliseconds after which it is looked whether the day has changed. */
const LOOK_AGAIN = 30_000;
const SECOND = 1_000;
/** What keys do as long as the part of the page is in use, by the names of buttons. */
const KEYS = /** @type {const} */ ({ r: "reveal", g: "anyway", 1: "knew", 2: "missed", u: "back" });

const drill = part("drill");
const card = part("card");
const figure = part("case-drawing");
const puzzle = drill.dataset.puzzle ?? "";
const cases = new Map([...document.querySelectorAll(".cases > li")].map((li) => read(/** @type {HTMLElement} */ (li))));
const ids = [...cases.keys()];
const records = new Records();
const posing = new Posing(figure, part("stepping"));
const calm = matchMedia("(prefers-reduced-motion: reduce)");

/** @type {Choice | null} */
let asked = null;
let revealed = false;
/** When the case was shown, in milliseconds. */
let since = 0;
let last = lastOf(ids, records.all());
/** What was there before the last answer. @type {{choice: Choice, kept: Kept | undefined, last: string | null} | null} */
let undo = null;
const looks = remembered();

const told = element("p", { class: "soft", id: "counts" });
const body = element("div", { id: "asked" });
const rest = element("div", { id: "rest" });
const said = element("p", { class: "said quiet", role: "status", id: "said" });
const clock = element("span", { id: "clock", role: "timer", "aria-live": "off" });
const buttons = element("p", { class: "row answers-row", id: "buttons" });
const options = element(
  "p",
  { class: "ticks" },
  tick("clock", "clock"),
  tick("arrows", "arrows and numbers"),
);
const keys = element(
  "p",
  { class: "soft keys" },
  "Keys, while this part of the page is in use: ",
  ...[["R", "see the sequence"], ["1", "knew it"], ["2", "not yet"], ["U", "take the last answer back"], ["G", "go on anyway"]].flatMap(
    ([key, does], k) => [k ? ", " : "", element("kbd", {}, key), ` ${does}`],
  ),
  ".",
);

/** @param {HTMLElement} row @returns {[string, Case]} */
function read(row) {
  const { id = "", asked: text = "", cycles = "[]", shown = "", free = "", before = "", parts = "[]", notation = "" } = row.dataset;
  return [id, { id, asked: text, cycles: JSON.parse(cycles), shown, free, before, parts: JSON.parse(parts), notation, row }];
}

/** How the page is to be used, as it was last time. */
function remembered() {
  const usual = { clock: true, arrows: true };
  try {
    const own = JSON.parse(localStorage.getItem(LOOKS) ?? "{}");
    return { clock: own?.clock !== false, arrows: own?.arrows !== false };
  } catch {
    return usual;
  }
}

/**
 * @param {"clock" | "arrows"} name
 * @param {string} text
 */
function tick(name, text) {
  const own = element("input", { type: "checkbox", id: `show-${name}`, checked: looks[name] });
  own.addEventListener("change", () => {
    looks[name] = own.checked;
    try {
      localStorage.setItem(LOOKS, JSON.stringify(looks));
    } catch {
      // It is so for this visit.
    }
    run();
    if (asked && !revealed) void pose(asked);
  });
  return element("label", { for: `show-${name}` }, own, ` ${text}`);
}

// --- What is asked -------------------------------------------------------------------------------

/** Ask what is next, or say that nothing is. @param {boolean} speak */
function ask(speak) {
  const choice = next(ids, records.all(), dayOf(new Date()), last, Math.random);
  if (choice) pose(choice, speak);
  else idle(speak);
}

/**
 * Show a case.
 * @param {Choice} choice
 * @param {boolean} [speak]
 */
function pose(choice, speak = false) {
  const own = the(choice.id);
  if (asked?.id !== choice.id || revealed) since = performance.now();
  [asked, revealed] = [choice, false];
  drill.dataset.case = own.id;
  const held = figure.dataset.up ? ` Hold ${figure.dataset.up} up and ${figure.dataset.front} in front.` : "";
  const solved = own.shown === "case" ? "" : " Blocked turns are on the way to this case, so that the drawing is solved; the pieces are to go along the arrows.";
  body.replaceChildren(
    element("p", { class: "lead" }, sentence(own.asked)),
    element("p", {}, ...cycleSpans(own)),
    element("p", { class: "soft" }, `${why(choice)}${held}${solved}${own.free ? ` The ${own.free} may end up anywhere.` : ""}`),
  );
  rest.replaceChildren();
  offer([key("reveal", "See the sequence", reveal)]);
  run();
  counts();
  void posing.show(own, looks.arrows);
  if (speak) focusOn("reveal");
}

/** @param {Case} own */
function cycleSpans(own) {
  return own.cycles.flatMap((cycle, k) => [k ? ", " : "", element("span", { class: "words" }, `${cycle.join(" → ")} → back`)]);
}

/** Why a case is asked now. @param {Choice} choice */
function why({ id, kind }) {
  const kept = records.all().get(id);
  if (kind === "new" || !kept) return "It is new.";
  const days = between(dayOf(new Date()), kept.due);
  if (days < 0) return `It is asked early: it is due ${dated(kept.due)}.`;
  return days === 0 ? "It is due today." : `It is due since ${dated(kept.due)}.`;
}

/** @param {string} id @returns {Case} */
function the(id) {
  const own = cases.get(id);
  if (!own) throw new Error(`there is no case ${id}`);
  return own;
}

/** Nothing is due. @param {boolean} speak */
function idle(speak) {
  [asked, revealed] = [null, false];
  drill.dataset.case = "";
  const all = records.all();
  const days = ids.map((id) => all.get(id)?.due ?? "").sort();
  const there = days[0] ? `The next is due ${dated(days[0])}.` : "";
  body.replaceChildren(
    element("p", { class: "lead" }, "Nothing is due."),
    element("p", {}, `${there} You may go on anyway: what you know early stays due when it is, what you do not know is asked again tomorrow.`),
  );
  rest.replaceChildren();
  offer([key("anyway", "Go on anyway", early)]);
  run();
  counts();
  void posing.solved();
  if (speak) focusOn("anyway");
}

function early() {
  pose(anyway(ids, last, Math.random), true);
}

/** A day in words, with how far it is. @param {string} day */
function dated(day) {
  const away = between(day, dayOf(new Date()));
  const date = new Date(`${day}T12:00:00Z`);
  const words = date.toLocaleDateString("en-GB", { weekday: "long", day: "numeric", month: "long", year: "numeric", timeZone: "UTC" });
  if (away === 0) return "today";
  const far = away === 1 ? "tomorrow" : away > 1 ? `in ${away} days` : away === -1 ? "yesterday" : `${-away} days ago`;
  return `on ${words}, ${far}`;
}

// --- What is answered ----------------------------------------------------------------------------

function reveal() {
  if (!asked || revealed) return;
  const own = the(asked.id);
  const took = performance.now() - since;
  revealed = true;
  run();
  const answer = /** @type {HTMLElement} */ (own.row.querySelector(".answer")).cloneNode(true);
  const panel = element("div", { class: "revealed", tabindex: "-1", id: "revealed" });
  panel.append(answer);
  const strip = element("div", { id: "strip" });
  rest.replaceChildren(panel, strip);
  enhance(panel);
  offer([key("knew", "Knew it", () => settle(true)), key("missed", "Not yet", () => settle(false))]);
  panel.focus({ preventScroll: true });
  said.textContent = looks.clock ? `It took ${lasted(took)}.` : "";
  void posing.step(own, strip);
}

/** @param {boolean} knew */
function settle(knew) {
  if (!asked || !revealed) return;
  const own = the(asked.id);
  const before = records.all().get(own.id);
  undo = { choice: asked, kept: before, last };
  last = own.id;
  const cyclesText = own.cycles.map((cycle) => cycle.join(" → ")).join(", ");
  const kept = answered(before, knew, new Date(), { puzzle, asked: `${own.asked}: ${cyclesText}`.slice(0, 200) });
  records.put(own.id, kept);
  said.textContent = `${knew ? "Knew it" : "Not yet"}: asked again ${dated(kept.due)}.`;
  ask(true);
}

/** Take the last answer back and ask that case again. */
function takeBack() {
  if (!undo) return;
  const { choice, kept } = undo;
  last = undo.last;
  undo = null;
  records.put(choice.id, kept);
  said.textContent = "The last answer is taken back.";
  pose(choice, true);
}

// --- Buttons and keys ----------------------------------------------------------------------------

/**
 * A button with its key.
 * @param {string} name
 * @param {string} text
 * @param {() => void} does
 */
function key(name, text, does) {
  const letter = Object.entries(KEYS).find(([, own]) => own === name)?.[0] ?? "";
  const own = button("", does, { "data-does": name, "aria-keyshortcuts": letter, class: name === "missed" || name === "back" ? "plain" : null });
  own.append(text, " ", element("kbd", { "aria-hidden": "true" }, letter.toUpperCase()));
  return own;
}

/** @param {HTMLButtonElement[]} own */
function offer(own) {
  buttons.replaceChildren(...own, ...(undo && !revealed ? [key("back", "Take the last answer back", takeBack)] : []));
}

/** @param {string} name */
function focusOn(name) {
  const own = buttons.querySelector(`[data-does="${name}"]`);
  if (own instanceof HTMLElement) own.focus({ preventScroll: true });
}

drill.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || event.repeat) return;
  const target = /** @type {HTMLElement} */ (event.target);
  if (target.matches("select, textarea, input:not([type=checkbox], [type=range])")) return;
  const does = /** @type {Record<string, string>} */ (KEYS)[event.key.toLowerCase()];
  const own = does ? buttons.querySelector(`[data-does="${does}"]`) : null;
  if (!(own instanceof HTMLElement)) return;
  event.preventDefault();
  own.click();
});

// --- The clock -----------------------------------------------------------------------------------

/** @param {number} time in milliseconds */
function lasted(time) {
  const seconds = Math.max(Math.floor(time / SECOND), 0);
  return seconds < 60 ? `${seconds} s` : `${Math.floor(seconds / 60)} min ${seconds % 60} s`;
}

/** Show the time as it goes by, unless nothing is to move. */
function run() {
  clock.hidden = !looks.clock || !asked || revealed || calm.matches;
  clock.textContent = lasted(performance.now() - since);
}

// --- All cases -----------------------------------------------------------------------------------

/** Say how many are due, new and later, and of each when it is asked again. */
function counts() {
  const all = records.all();
  const today = dayOf(new Date());
  const known = ids.map((id) => all.get(id));
  const due = known.filter((kept) => kept && kept.due <= today).length;
  const fresh = known.filter((kept) => !kept).length;
  told.textContent = `${due} due, ${fresh} new, ${ids.length - due - fresh} later.`;
  for (const [id, { row }] of cases) {
    const kept = all.get(id);
    const when = row.querySelector(".when");
    if (!when) continue;
    when.textContent = kept
      ? `Asked again ${dated(kept.due)}; known ${kept.knew}, not yet ${kept.missed}.`
      : "New.";
  }
}

/** Look at what has changed elsewhere, or with the day. */
function look() {
  counts();
  if (!asked) {
    const choice = next(ids, records.all(), dayOf(new Date()), last, Math.random);
    if (choice) pose(choice);
  } else if (!revealed && stale(asked)) {
    last = lastOf(ids, records.all());
    ask(false);
  }
}

/** Whether a case was answered, or forgotten, in another window. @param {Choice} choice */
function stale({ id, kind }) {
  const kept = records.all().get(id);
  if (kind === "new") return kept !== undefined;
  return !kept || (kind === "due" && kept.due > dayOf(new Date()));
}

card.append(told, body, buttons, element("p", { class: "row" }, clock), said, rest, options, keys);
drill.hidden = false;
remembering(records, puzzle);
records.addEventListener("change", () => queueMicrotask(look));
setInterval(look, LOOK_AGAIN);
setInterval(() => {
  if (asked && !revealed && !clock.hidden) run();
}, SECOND / 4);
ask(false);
