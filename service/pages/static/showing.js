/** What the bench says in words: what is disturbed, what may be slipped in, and what came of it. */

import {
  button,
  counted,
  cycleText,
  element,
  markCycles,
  sentence,
  snapshot,
  told,
} from "./live.js";
import { disturbed, singles, write } from "./state.js";

/** @typedef {import("./bench.js").Bench} Bench */
/** @typedef {import("./state.js").Effect} Effect */
/** @typedef {import("./state.js").Insert} Insert */

/** The side of a small picture, in CSS pixels. */
const SMALL = 132;
/** What an insert gives, in words. @type {Record<Insert["gives"] | "blocked", string>} */
export const GIVES = {
  "three-cycle": "a three-cycle",
  "pair of twists": "a pair of twists",
  nothing: "nothing at all",
  other: "more than a three-cycle",
  blocked: "a turn that is blocked",
};

/**
 * What A disturbs, type by type.
 * @param {Bench} bench
 * @param {Effect} effect
 */
export function out(bench, effect) {
  const { tables } = bench;
  const out = [...disturbed(tables, effect)];
  const rows = tables.typeNames
    .map((name, type) => ({ name, own: out.filter(([slot]) => tables.typeOf[slot] === type) }))
    .filter(({ own }) => own.length)
    .map(({ name, own }) => {
      const names = own.map(([slot, kind]) =>
        element("span", { class: "turn" }, tables.slotNames[slot], kind === "twisted" ? " twisted" : null),
      );
      const twisted = own.filter(([, kind]) => kind === "twisted").length;
      const count = twisted ? `${own.length}, ${twisted} of them twisted where they sit` : `${own.length}`;
      return element(
        "div",
        {},
        element("dt", {}, name),
        element("dd", {}, `${count}: `, ...names.flatMap((one) => [one, " "])),
      );
    });
  return element(
    "section",
    { "aria-labelledby": "out" },
    element("h2", { id: "out" }, bench.slipped === null ? "Disturbed" : "Disturbed by A"),
    rows.length
      ? element("dl", { class: "facts" }, ...rows)
      : element("p", { class: "soft" }, "Nothing. Turn a layer, then another, and undo the two in the same order."),
  );
}

/**
 * The layers that hold one disturbed piece, and what each of their turns would give.
 * @param {Bench} bench
 * @param {Effect} effect
 */
export function alone(bench, effect) {
  const { tables, drawing } = bench;
  const found = singles(tables, effect).map(({ layer, slot, kind }) => {
    const turns = tables.turnNames.map((_, t) => t).filter((t) => tables.turnLayer[t] === layer);
    const rows = turns.map((turn) => {
      const own = bench.gives(turn);
      const what = own.cycles.map((cycle) => cycleText(tables, cycle)).join("; ");
      const pressed = bench.slipped === turn ? "true" : "false";
      return element(
        "li",
        {},
        button(tables.turnNames[turn], () => bench.slip(turn), {
          class: "insert",
          "aria-pressed": pressed,
          "aria-label": `slip in ${tables.turnNames[turn]}`,
        }),
        element("span", {}, `${GIVES[own.gives]}${what ? ": " : ""}`, element("span", { class: "words" }, what)),
      );
    });
    const own = element(
      "div",
      { class: "single" },
      element(
        "h3",
        {},
        tables.layerNames[layer],
        element(
          "span",
          { class: "soft" },
          ` holds ${tables.slotNames[slot]} alone, ${kind === "twisted" ? "twisted where it sits" : "displaced"}`,
        ),
      ),
      element("ul", { class: "inserts" }, ...rows),
    );
    // Pointing at a layer shows which piece is meant.
    const show = () => {
      if (bench.slipped === null) drawing.mark(new Map([[`s${slot}`, kind]]), { fade: true });
    };
    const leave = () => {
      if (bench.slipped === null) bench.mark();
    };
    own.addEventListener("pointerenter", show);
    own.addEventListener("pointerleave", leave);
    own.addEventListener("focusin", show);
    own.addEventListener("focusout", leave);
    return own;
  });
  const none = disturbed(tables, effect).size
    ? "None: every layer holds no disturbed piece, or several."
    : "None: nothing is disturbed.";
  return element(
    "section",
    { "aria-labelledby": "single" },
    element("h2", { id: "single" }, "Layers with one disturbed piece"),
    ...(found.length ? found : [element("p", { class: "soft" }, none)]),
  );
}

/**
 * What is to be done next.
 * @param {Bench} bench
 * @param {number} slipped
 */
export function next(bench, slipped) {
  const { tables } = bench;
  const name = tables.turnNames[slipped];
  return element(
    "section",
    { class: "done", "aria-labelledby": "next" },
    element("h2", { id: "next" }, `A, then ${name}`),
    element("p", {}, "Now A is undone, and then ", name, " is turned back."),
    button("Now undo", () => bench.finish()),
  );
}

/**
 * What came of it.
 * @param {Bench} bench
 * @param {number} slipped
 */
export function came(bench, slipped) {
  const { tables, root } = bench;
  const own = bench.gives(slipped);
  const what = own.cycles.map((cycle) => cycleText(tables, cycle)).join("; ");
  const line = element("p", { class: "sequence" });
  const query = new URLSearchParams({ turns: write(tables, bench.a), insert: tables.turnNames[slipped] });
  const now = bench.doing;
  // Cancelling is the server's; nothing waits for it.
  told(`${root.dataset.report}?${query}`, () => undefined).then(
    (report) => {
      if (now !== bench.doing || !report.completed) return;
      const { sequence, turns } = report.completed;
      line.append(
        element("span", { class: "words" }, sequence),
        element("span", { class: "soft" }, ` ${counted(turns, "turn")}`),
      );
    },
    (error) => bench.say(sentence(error.message)),
  );
  const read = `${root.dataset.read}?${new URLSearchParams({ sequence: bench.notation })}`;
  return element(
    "section",
    { class: "done", "aria-labelledby": "came" },
    element("h2", { id: "came" }, bench.notation),
    element("p", {}, `This gives ${GIVES[own.gives]}${what ? ": " : "."}`, element("span", { class: "words" }, what)),
    line,
    beside(bench, slipped),
    own.gives === "three-cycle"
      ? element("p", {}, "Three times over it is nothing. The other turns of the layer give others.")
      : null,
    element(
      "p",
      { class: "row" },
      button("Show it again", () => bench.again(), { class: "plain" }),
      element("a", { href: read }, "Read it"),
    ),
  );
}

/**
 * What each turn of the layer gives, as small pictures side by side.
 * @param {Bench} bench
 * @param {number} slipped
 */
function beside(bench, slipped) {
  const { tables, drawing } = bench;
  const now = drawing.effect.slice();
  const turns = tables.turnNames
    .map((_, turn) => turn)
    .filter((turn) => tables.turnLayer[turn] === tables.turnLayer[slipped]);
  const { label } = drawing.shown;
  drawing.label(false);
  const figures = turns.map((turn) => {
    const { gives, cycles: found } = bench.gives(turn);
    drawing.set([]);
    markCycles(drawing, found);
    const text = gives === "three-cycle" ? cycleText(tables, found[0]) : GIVES[gives];
    return element(
      "figure",
      turn === slipped ? { class: "this" } : {},
      snapshot(drawing, SMALL),
      element("figcaption", {}, element("strong", {}, tables.turnNames[turn]), " ", text),
    );
  });
  drawing.label(label);
  drawing.set(now);
  bench.unmark();
  return element("div", { class: "others", role: "group", "aria-label": "What each turn of the layer gives" }, ...figures);
}
