/** What was built is kept: in this browser, as a file, and on a club's shelf. */

import { button, counted, cycleText, element, write } from "./live.js";
import { shelfForm } from "./shelf.js";

/**
 * @typedef {object} Kept
 * @property {string} puzzle
 * @property {string} name
 * @property {string} turns those of A
 * @property {string} insert
 * @property {string} notation
 * @property {string[][]} cycles
 * @property {string} when
 */
/**
 * @typedef {object} Builder
 * @property {HTMLElement} root
 * @property {import("./state.js").Tables} tables
 * @property {number[]} a
 * @property {number | null} slipped
 * @property {string} notation
 * @property {(text: string) => void} say
 * @property {(turn: number) => {cycles: number[][]}} gives
 * @property {(text: string, slipped?: string) => Promise<void>} read
 */

const NAME = "trefoil.kept";
/** The most that is kept, and the longest name. */
const MOST = 500;
const LONGEST = 80;
const MEANT =
  "What you keep stays in this browser, on this device: nobody else sees it, and it goes when the browser's data are cleared. On a club's shelf everybody who has its link sees it.";

/**
 * The part of the page for what is kept.
 * @param {HTMLElement} section
 * @param {Builder} bench
 */
export function keepings(section, bench) {
  const list = element("ul", { class: "keepings" });
  const form = keepForm(() => note(made(named())), say);
  const status = element("p", { role: "status" });
  const rest = element("p", { class: "row" }, button("Save all as a file", save, { class: "plain" }));
  section.append(element("p", { class: "soft" }, MEANT), form.all, status, form.there, list, rest);
  form.own.addEventListener("submit", (event) => {
    event.preventDefault();
    keep(made(named()));
  });
  show();

  /** Say something beside the buttons: what is said above the turns may be out of sight. @param {string} text */
  function say(text) {
    status.textContent = text;
    if (section.hidden) bench.say(text);
  }

  function named() {
    return form.name.value.trim() || bench.notation;
  }

  /** @param {string} name @returns {Kept} */
  function made(name) {
    const { tables, a, slipped, notation } = bench;
    const found = slipped === null ? [] : bench.gives(slipped).cycles;
    return {
      puzzle: bench.root.dataset.puzzle ?? "",
      name: name.slice(0, LONGEST),
      turns: write(tables, a),
      insert: slipped === null ? "" : tables.turnNames[slipped],
      notation,
      cycles: found.map((cycle) => cycle.map((place) => tables.placementNames[place])),
      when: new Date().toISOString(),
    };
  }

  /** @param {Kept} own */
  function keep(own) {
    const all = [own, ...kept()].slice(0, MOST);
    const there = stored(all);
    show();
    if (there) say(`${own.name} is kept in this browser.`);
    else say("This browser keeps nothing for this page; a club's shelf does.");
  }

  /** What is put on a shelf. @param {Kept} own @returns {import("./shelf.js").Thing} */
  function note(own) {
    const query = new URLSearchParams({ turns: own.turns, insert: own.insert });
    const page = `${location.origin}${bench.root.dataset.page}?${query}`;
    const { tables } = bench;
    const found = bench.slipped === null ? [] : bench.gives(bench.slipped).cycles;
    const cycles = found.map((cycle) => cycleText(tables, cycle)).join("; ");
    const text = [...new Set([own.name, own.notation, cycles, page])].filter((line) => line).join("\n");
    const types = new Set(found.flat().map((place) => tables.typeOf[tables.slotOf[place]]));
    const type = types.size === 1 ? { type: tables.typeNames[[...types][0]] } : {};
    return { name: own.name, item: { kind: "note", text, puzzle: own.puzzle, ...type } };
  }

  function show() {
    const all = kept();
    const mine = all.filter((own) => own.puzzle === bench.root.dataset.puzzle);
    list.replaceChildren(
      ...mine.map((own) =>
        element(
          "li",
          {},
          element("span", {}, own.name),
          element("span", { class: "soft words" }, own.notation),
          button("Open", () => bench.read(own.turns, own.insert), { class: "plain", "aria-label": `open ${own.name}` }),
          button(
            "Remove",
            () => {
              stored(kept().filter((other) => other.when !== own.when || other.name !== own.name));
              show();
              say(`${own.name} is removed.`);
              onward();
            },
            { class: "plain", "aria-label": `remove ${own.name}` },
          ),
        ),
      ),
    );
    rest.hidden = all.length === 0;
    section.hidden = form.all.hidden && all.length === 0;
  }

  /** Put the focus on what is left where something is gone. */
  function onward() {
    const left = [...list.querySelectorAll("button"), form.name, ...rest.querySelectorAll("button"), document.getElementById("turns")];
    for (const one of left) {
      if (one?.checkVisibility()) {
        one.focus();
        return;
      }
    }
  }

  function save() {
    const all = kept();
    const file = new Blob([JSON.stringify(all, null, 2)], { type: "application/json" });
    const link = element("a", { href: URL.createObjectURL(file), download: "trefoil.json" });
    link.click();
    URL.revokeObjectURL(link.href);
    say(`${counted(all.length, "sequence")} saved.`);
  }

  return {
    /** Whether there is something to keep. @param {boolean} there */
    offer(there) {
      form.all.hidden = !there;
      status.textContent = "";
      form.there.hidden = true;
      show();
    },
  };
}

/**
 * @param {() => import("./shelf.js").Thing} thing
 * @param {(text: string) => void} say
 */
function keepForm(thing, say) {
  const name = element("input", { id: "name", maxlength: String(LONGEST), autocomplete: "off" });
  const own = element(
    "form",
    { class: "line" },
    element("label", { for: "name" }, "Its name"),
    name,
    element("p", { class: "row" }, element("button", {}, "Keep it in this browser")),
  );
  const { form: shelf, there } = shelfForm(thing, say);
  const all = element(
    "div",
    { hidden: true },
    own,
    element("details", {}, element("summary", {}, "or put it on a club's shelf"), shelf),
  );
  return { all, own, name, there };
}

/** @returns {Kept[]} */
function kept() {
  try {
    const all = JSON.parse(localStorage.getItem(NAME) ?? "[]");
    return Array.isArray(all) ? all.filter((own) => own && typeof own.name === "string" && typeof own.turns === "string") : [];
  } catch {
    return [];
  }
}

/** @param {Kept[]} all @returns {boolean} whether the browser keeps it */
function stored(all) {
  try {
    localStorage.setItem(NAME, JSON.stringify(all));
    return true;
  } catch {
    return false;
  }
}
