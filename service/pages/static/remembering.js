/** The part of a page for what is kept of answers: how much there is, as a file, and forgetting it. */

import { button, counted, element, part, sentence } from "./live.js";
import { MOST_CHARACTERS, readAnswers, written } from "./schedule.js";

/** @typedef {import("./records.js").Records} Records */

const VISIT = "This browser keeps nothing for this page, so that answers count for this visit alone. Save them as a file to keep them, and read it in next time.";

/**
 * @param {Records} records
 * @param {string} puzzle
 */
export function remembering(records, puzzle) {
  const section = part("memory");
  const notice = element("div", { id: "memory-notice" });
  const summary = element("p", { id: "memory-summary" });
  const said = element("p", { class: "said quiet", role: "status", id: "memory-said" });
  const question = element("div", { id: "memory-question" });
  const file = element("input", { type: "file", accept: ".json,application/json", id: "memory-file" });
  const saving = button("Save them as a file", () => save("trefoil-practice.json", written(records.all())), { class: "plain" });
  const clearing = button("Forget answers…", ask, { class: "plain" });
  const body = element(
    "div",
    {},
    notice,
    summary,
    element("p", { class: "row" }, saving, clearing),
    element("label", { for: "memory-file" }, "Read a saved file in; of each case the newest answer stays"),
    file,
    question,
    said,
  );
  section.append(body);
  section.hidden = false;
  file.addEventListener("change", () => void readIn());
  records.addEventListener("change", show);
  show();

  /** @param {string} text */
  function say(text) {
    said.textContent = text;
  }

  function show() {
    const all = records.all();
    const mine = [...all.values()].filter((kept) => kept.puzzle === puzzle).length;
    summary.textContent = all.size
      ? `${counted(mine, "case")} of this puzzle ${mine === 1 ? "has" : "have"} answers, ${all.size} of all puzzles.`
      : "There are no answers yet.";
    saving.disabled = clearing.disabled = all.size === 0;
    if (!all.size) question.replaceChildren();
    troubles();
  }

  /** What is wrong with how answers are kept, and what can be done about it. */
  function troubles() {
    if (notice.dataset.state === records.state) return;
    notice.dataset.state = records.state;
    notice.replaceChildren();
    if (records.state === "visit") notice.append(element("p", { class: "wrong", role: "alert" }, VISIT));
    if (records.state !== "broken") return;
    const [first, ...rest] = records.wrong;
    const more = rest.length ? ` (and ${counted(rest.length, "thing")} more)` : "";
    const text = `What this browser keeps of answers cannot be read: ${first}${more}. It stays as it is until you decide; what you answer now counts for this visit.`;
    const count = records.readable.size;
    const buttons = [
      button("Save it as a file", () => save("trefoil-practice-unread.json", records.raw), { class: "plain" }),
      count
        ? button(`Go on with the ${counted(count, "case")} that can be read`, () => decide(true), { class: "plain" })
        : null,
      button("Begin anew without it", () => decide(false), { class: "plain" }),
    ];
    notice.append(
      element("div", { class: "wrong" }, element("p", { role: "alert" }, text), element("p", { class: "row" }, ...buttons)),
    );
  }

  /** @param {boolean} keep */
  function decide(keep) {
    records.begin(keep);
    say(keep ? "What could be read is kept, the rest is gone." : "It is gone; answers are kept anew.");
    saving.focus();
  }

  function ask() {
    const all = records.all();
    const mine = [...all.values()].filter((kept) => kept.puzzle === puzzle).length;
    /** @param {(kept: import("./schedule.js").Kept) => boolean} which @param {number} count */
    const forget = (which, count) => () => {
      records.forget(which);
      question.replaceChildren();
      say(`${counted(count, "case")} forgotten: new again.`);
      file.focus();
    };
    const keep = button("Keep them", () => {
      question.replaceChildren();
      say("Nothing is forgotten.");
      clearing.focus();
    });
    question.replaceChildren(
      element(
        "div",
        { class: "wrong", role: "group", "aria-labelledby": "memory-asked" },
        element("p", { id: "memory-asked" }, "Forget when cases are to be asked again, and how often they were known? A saved file brings it back, nothing else does."),
        element(
          "p",
          { class: "row" },
          keep,
          mine ? button(`Forget the ${mine} of this puzzle`, forget((kept) => kept.puzzle === puzzle, mine), { class: "plain" }) : null,
          button(`Forget all ${all.size}`, forget(() => true, all.size), { class: "plain" }),
        ),
      ),
    );
    keep.focus();
  }

  async function readIn() {
    const own = file.files?.[0];
    if (!own) return;
    try {
      if (own.size > 4 * MOST_CHARACTERS) throw new Error(`it has ${own.size.toLocaleString("en")} bytes, far more than a saved file`);
      const { answers, wrong } = readAnswers(await own.text(), new Date());
      if (wrong.length) throw new Error(wrong[0] + (wrong.length > 1 ? `; ${counted(wrong.length - 1, "more thing")} are wrong as well` : ""));
      const { fresh, newer, older } = records.take(answers);
      say(`${counted(answers.size, "case")} read: ${fresh} were not here, ${newer} have a newer answer than here, ${older} stay as they were.`);
    } catch (error) {
      const text = error instanceof Error ? error.message : "it cannot be read";
      say(sentence(`${own.name} was not taken: ${text}`));
    } finally {
      file.value = "";
    }
  }
}

/**
 * @param {string} name
 * @param {string} text
 */
function save(name, text) {
  const link = element("a", {
    href: URL.createObjectURL(new Blob([text], { type: "application/json" })),
    download: name,
  });
  link.click();
  URL.revokeObjectURL(link.href);
}
