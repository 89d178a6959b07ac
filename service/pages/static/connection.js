/** What pages do where the connection to the service is lost: they say so, and try again. */

/** Milliseconds after which it is tried again. */
export const AGAIN = 3_000;
/** What is said until it is back. */
export const LOST = "The connection is lost; this goes on by itself when it is back.";

/** @param {number} time in milliseconds */
export function pause(time) {
  return new Promise((resolve) => setTimeout(resolve, time));
}
