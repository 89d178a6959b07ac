/** When a case is asked again, and which one is asked next; and what is kept of answers, as text. */

/**
 * What is kept of a case: it is asked again on the day `due`, which was `days` after the answer.
 * @typedef {object} Kept
 * @property {string} puzzle
 * @property {string} asked
 * @property {number} days
 * @property {string} due a day where the browser is, 2026-11-28
 * @property {string} at when it was answered last, in UTC
 * @property {number} knew how often it was known
 * @property {number} missed
 */
/** @typedef {Map<string, Kept>} Answers by the ids of cases */
/** @typedef {{id: string, kind: "due" | "new" | "early"}} Choice */

/** After so many days a case is asked again: each time that it is known, after the next of them. */
export const DAYS = /** @type {readonly number[]} */ ([1, 2, 4, 8, 16]);
/** What the text begins with, and the version that this page writes and reads. */
const FORMAT = "practice";
const VERSION = 1;
/** The most characters that are read, and the most cases. */
export const MOST_CHARACTERS = 2_000_000;
const MOST_CASES = 5_000;
const MOST_NAME = 200;
const MOST_TIMES = 1_000_000;
const FIELDS = ["puzzle", "asked", "days", "due", "at", "knew", "missed"];
const DAY = 86_400_000;

/**
 * The day of a moment where the browser is.
 * @param {Date} when
 */
export function dayOf(when) {
  const [year, month, day] = [when.getFullYear(), when.getMonth() + 1, when.getDate()];
  return `${String(year).padStart(4, "0")}-${String(month).padStart(2, "0")}-${String(day).padStart(2, "0")}`;
}

/**
 * The day that comes so many days after another; hours that a day may have more or less do not count.
 * @param {string} day
 * @param {number} count
 */
export function later(day, count) {
  return new Date(Date.parse(`${day}T00:00:00Z`) + count * DAY).toISOString().slice(0, 10);
}

/**
 * How many days one day is after another.
 * @param {string} day
 * @param {string} from
 */
export function between(day, from) {
  return Math.round((Date.parse(`${day}T00:00:00Z`) - Date.parse(`${from}T00:00:00Z`)) / DAY);
}

/**
 * What is kept of a case after an answer. Who knew it before it was due has not kept it in mind for
 * as long as was to be tried, so that the day stays; a miss counts at any time.
 * @param {Kept | undefined} before
 * @param {boolean} knew
 * @param {Date} now
 * @param {{puzzle: string, asked: string}} about
 * @returns {Kept}
 */
export function answered(before, knew, now, about) {
  const today = dayOf(now);
  const times = { knew: (before?.knew ?? 0) + (knew ? 1 : 0), missed: (before?.missed ?? 0) + (knew ? 0 : 1) };
  const own = { puzzle: about.puzzle, asked: about.asked, at: now.toISOString(), ...times };
  if (before && knew && before.due > today) return { ...own, days: before.days, due: before.due };
  const next = DAYS.find((days) => days > (before?.days ?? 0)) ?? DAYS[DAYS.length - 1];
  const days = knew ? next : DAYS[0];
  return { ...own, days, due: later(today, days) };
}

/**
 * The case that is asked next: the one that has been due for longest, else a new one; null where
 * there is nothing to be asked today. The last one is not asked again as long as there is another.
 * @param {readonly string[]} ids
 * @param {Answers} answers
 * @param {string} today
 * @param {string | null} last
 * @param {() => number} random from 0 to below 1
 * @returns {Choice | null}
 */
export function next(ids, answers, today, last, random) {
  const due = ids.filter((id) => (answers.get(id)?.due ?? "9") <= today);
  const fresh = ids.filter((id) => !answers.has(id));
  const others = due.filter((id) => id !== last);
  const first = others.map((id) => answers.get(id)?.due ?? "").sort()[0];
  const longest = others.filter((id) => answers.get(id)?.due === first);
  if (longest.length) return { id: any(longest, random), kind: "due" };
  const unseen = fresh.filter((id) => id !== last);
  if (unseen.length) return { id: any(unseen, random), kind: "new" };
  if (due.length) return { id: due[0], kind: "due" };
  return fresh.length ? { id: fresh[0], kind: "new" } : null;
}

/**
 * Any case for whoever goes on although nothing is due, but not the last one if there is another.
 * @param {readonly string[]} ids
 * @param {string | null} last
 * @param {() => number} random
 * @returns {Choice}
 */
export function anyway(ids, last, random) {
  const others = ids.filter((id) => id !== last);
  return { id: others.length ? any(others, random) : ids[0], kind: "early" };
}

/** @param {readonly string[]} ids @param {() => number} random */
function any(ids, random) {
  return ids[Math.floor(random() * ids.length)];
}

/**
 * The case of these that was answered last; null where none was.
 * @param {readonly string[]} ids
 * @param {Answers} answers
 * @returns {string | null}
 */
export function lastOf(ids, answers) {
  const known = ids.filter((id) => answers.has(id));
  known.sort((one, other) => ((answers.get(one)?.at ?? "") < (answers.get(other)?.at ?? "") ? 1 : -1));
  return known[0] ?? null;
}

/**
 * Answers from two places, of each case the newest; counts say what was taken of the others.
 * @param {Answers} own
 * @param {Answers} others
 */
export function merged(own, others) {
  const result = new Map(own);
  const counts = { fresh: 0, newer: 0, older: 0 };
  for (const [id, kept] of others) {
    const here = own.get(id);
    if (!here) counts.fresh++;
    else if (here.at < kept.at) counts.newer++;
    else counts.older++;
    if (!here || here.at < kept.at) result.set(id, kept);
  }
  return { answers: result, ...counts };
}

/**
 * Answers as text, as it is kept and as it is saved.
 * @param {Answers} answers
 */
export function written(answers) {
  const cases = Object.fromEntries([...answers].sort(([one], [other]) => (one < other ? -1 : 1)));
  return JSON.stringify({ trefoil: FORMAT, version: VERSION, cases }, null, 1);
}

/**
 * What a text holds: the answers that can be read, and a sentence for each thing that is wrong.
 * @param {string} text
 * @param {Date} now
 * @returns {{answers: Answers, wrong: string[]}}
 */
export function readAnswers(text, now) {
  /** @type {Answers} */
  const answers = new Map();
  /** @param {string} said */
  const refused = (said) => ({ answers, wrong: [said] });
  if (text.length > MOST_CHARACTERS) {
    return refused(`it has ${text.length.toLocaleString("en")} characters; at most ${MOST_CHARACTERS.toLocaleString("en")} are read`);
  }
  /** @type {unknown} */
  let data;
  try {
    data = JSON.parse(text);
  } catch {
    return refused("it is no JSON; a file that was saved on this page was expected");
  }
  if (!isObject(data) || data.trefoil !== FORMAT) {
    return refused(`it holds something else; "trefoil": "${FORMAT}" was expected at its beginning`);
  }
  if (data.version !== VERSION) {
    return refused(`its version is ${shown(data.version)}; this page reads version ${VERSION}`);
  }
  const unknown = Object.keys(data).find((name) => !["trefoil", "version", "cases"].includes(name));
  if (unknown !== undefined) return refused(`it has ${shown(unknown)}, which is not known; trefoil, version and cases were expected`);
  if (!isObject(data.cases)) return refused("its cases are missing; an object with a name for each was expected");
  const rows = Object.entries(data.cases);
  if (rows.length > MOST_CASES) {
    return refused(`it has ${rows.length.toLocaleString("en")} cases; at most ${MOST_CASES.toLocaleString("en")} are read`);
  }
  const wrong = [];
  for (const [id, row] of rows) {
    const said = /^[0-9a-f]{16}$/.test(id) ? wrongIn(row, now) : "its name is not one of 16 letters a to f and digits";
    if (said) wrong.push(`case ${shown(id)}: ${said}`);
    else answers.set(id, /** @type {Kept} */ (row));
  }
  return { answers, wrong };
}

/**
 * What is wrong with what is kept of a case; empty where nothing is.
 * @param {unknown} row
 * @param {Date} now
 */
function wrongIn(row, now) {
  if (!isObject(row)) return `an object was expected, not ${shown(row)}`;
  const missing = FIELDS.find((name) => !Object.hasOwn(row, name));
  if (missing) return `${missing} is missing`;
  const unknown = Object.keys(row).find((name) => !FIELDS.includes(name));
  if (unknown !== undefined) return `${shown(unknown)} is not known; there are ${FIELDS.join(", ")}`;
  for (const name of ["puzzle", "asked"]) {
    const text = row[name];
    if (typeof text !== "string" || text.length > MOST_NAME) return `${name}: a text of up to ${MOST_NAME} characters was expected`;
  }
  const { days, due, at } = row;
  if (typeof days !== "number" || !DAYS.includes(days)) return `days is ${shown(days)}; one of ${DAYS.join(", ")} was expected`;
  if (!isDay(due)) return `due is ${shown(due)}; a day such as 2026-11-28 was expected`;
  if (!isMoment(at)) return `at is ${shown(at)}; a moment such as 2026-11-26T09:30:00.000Z was expected`;
  if (Date.parse(at) > now.getTime() + DAY) return `at is ${shown(at)}, which is yet to come`;
  // Days are those where the browser was, which may be a day apart from those in UTC.
  if (between(due, at.slice(0, 10)) > days + 1) return `due is ${due}, more than ${days} days after the answer`;
  for (const name of ["knew", "missed"]) {
    const count = row[name];
    if (typeof count !== "number" || !Number.isInteger(count) || count < 0 || count > MOST_TIMES) {
      return `${name} is ${shown(count)}; a whole number from 0 was expected`;
    }
  }
  return "";
}

/** @param {unknown} value @returns {value is Record<string, unknown>} */
function isObject(value) {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

/** @param {unknown} value @returns {value is string} */
function isDay(value) {
  if (typeof value !== "string" || !/^\d{4}-\d\d-\d\d$/.test(value)) return false;
  const time = Date.parse(`${value}T00:00:00Z`);
  return !Number.isNaN(time) && new Date(time).toISOString().startsWith(value);
}

/** @param {unknown} value @returns {value is string} */
function isMoment(value) {
  if (typeof value !== "string" || !/^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$/.test(value)) return false;
  const time = Date.parse(value);
  return !Number.isNaN(time) && new Date(time).toISOString() === value;
}

/** Something from elsewhere as it is told: short. @param {unknown} value */
function shown(value) {
  const text = JSON.stringify(value) ?? "nothing";
  return text.length > 40 ? `${text.slice(0, 40)}…` : text;
}
