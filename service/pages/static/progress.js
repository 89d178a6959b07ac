/** How a search stands, in words. */

import { standing } from "./following.js";
import { counted, sentence } from "./live.js";

/**
 * @typedef {object} Search
 * @property {string} state
 * @property {{step: string | null, share: number | null} | null} progress
 * @property {{answers: {sequence: string}[], left_out?: number} | null} answer
 */

/** What changes for whoever listens. @param {Search} told */
export function news(told) {
  const found = told.answer?.answers.length;
  const waiting = told.state === "waiting" ? " as soon as a worker is free" : "";
  return `${found ? `${counted(found, "answer")} so far. ` : ""}Searching${waiting}.`;
}

/** What is being done, beside that. @param {Search} told */
export function progress(told) {
  if (told.state === "waiting") return "It has not begun yet.";
  const { step = null, share = null } = told.progress ?? {};
  const done = share ? `${Math.round(100 * share)} of 100 done` : null;
  return sentence([step, done].filter((one) => one !== null).join(", ") || "the search goes on");
}
