/** How a search stands, in words. */

import { counted } from "./live.js";

/**
 * @typedef {object} Search
 * @property {string} state
 * @property {{step: string | null, share: number | null} | null} progress
 * @property {{answers: {sequence: string}[], left_out?: number} | null} answer
 */

/** @param {Search} told */
export function progress(told) {
  const step = told.progress?.step;
  const share = told.progress?.share;
  const done = share ? `, ${Math.round(100 * share)} of 100 done` : "";
  const waiting = told.state === "waiting" ? " as soon as a worker is free" : "";
  const found = told.answer?.answers.length;
  return `${found ? `${counted(found, "answer")} so far. ` : ""}Searching${waiting}${step ? `: ${step}` : ""}${done}.`;
}
