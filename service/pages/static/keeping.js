/** What was built is kept: in this browser, as a file, and on a club's shelf. */

import { button, counted, element, sentence, told, write } from "./live.js";

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
const EXPECTED = "The link of a club's shelf was expected, one that allows to add.";

/**
 * The part of the page for what is kept.
 * @param {HTMLElement} section
 * @param {Builder} bench
 */
export function keepings(section, bench) {
  const list = element("ul", { class: "keepings" });
  const form = keepForm();
  const rest = element("p", { class: "row" }, button("Save all as a file", save, { class: "plain" }));
  section.append(form.form, list, rest);
  form.form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const own = made(form.name.value.trim() || bench.notation);
    if (form.link.value.trim()) await share(own, form.link.value.trim(), form.by.value.trim());
    else keep(own);
  });
  show();

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
    if (stored(all)) bench.say(`${own.name} is kept in this browser.`);
    else bench.say("This browser keeps nothing for this page; save it as a file.");
    show();
  }

  /**
   * @param {Kept} own
   * @param {string} link
   * @param {string} by
   */
  async function share(own, link, by) {
    const key = keyOf(link);
    if (!key) {
      bench.say(EXPECTED);
      return;
    }
    const query = new URLSearchParams({ turns: own.turns, insert: own.insert });
    const page = `${location.origin}${bench.root.dataset.page}?${query}`;
    const cycles = own.cycles.map((cycle) => `(${cycle.join(" ")})`).join(" ");
    const text = [own.name, own.notation, cycles, page].filter((line) => line).join("\n");
    const note = { kind: "note", text, puzzle: own.puzzle, ...(by ? { by } : {}) };
    try {
      await told(`/api/clubs/${encodeURIComponent(key)}/items`, bench.say, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(note),
      });
      bench.say(`${own.name} is on the shelf.`);
    } catch (error) {
      bench.say(sentence(/** @type {Error} */ (error).message));
    }
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
              bench.say(`${own.name} is removed.`);
              show();
              section.querySelector("input")?.focus();
            },
            { class: "plain", "aria-label": `remove ${own.name}` },
          ),
        ),
      ),
    );
    rest.hidden = all.length === 0;
    section.hidden = form.form.hidden && all.length === 0;
  }

  function save() {
    const all = kept();
    const file = new Blob([JSON.stringify(all, null, 2)], { type: "application/json" });
    const link = element("a", { href: URL.createObjectURL(file), download: "trefoil.json" });
    link.click();
    URL.revokeObjectURL(link.href);
    bench.say(`${counted(all.length, "sequence")} saved.`);
  }

  return {
    /** Whether there is something to keep. @param {boolean} there */
    offer(there) {
      form.form.hidden = !there;
      show();
    },
  };
}

function keepForm() {
  const name = element("input", { id: "name", maxlength: String(LONGEST), autocomplete: "off" });
  const link = element("input", { id: "club", autocomplete: "off", spellcheck: "false" });
  const by = element("input", { id: "by", maxlength: String(LONGEST), autocomplete: "off" });
  const form = element(
    "form",
    { class: "line" },
    element("label", { for: "name" }, "Its name"),
    name,
    element(
      "details",
      {},
      element("summary", {}, "for a club's shelf"),
      element("label", { for: "club" }, "The club's link that allows to add"),
      link,
      element("label", { for: "by" }, "From whom, if you like"),
      by,
    ),
    element("p", { class: "row" }, element("button", {}, "Keep it")),
  );
  form.hidden = true;
  return { form, name, link, by };
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

/** The key in the link of a club's shelf; empty where there is none. @param {string} link */
function keyOf(link) {
  const found = /\/clubs\/([^/?#\s]+)/.exec(link);
  return found ? decodeURIComponent(found[1]) : "";
}
