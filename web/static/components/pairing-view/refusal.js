// @ts-check
import { Problem } from "../../lib/api.js";

const WHAT_TO_DO = "Get a new one: by “geartender pair” at the machine, or under Settings on a phone that manages.";

/** The six digits that were typed. @param {string} text @returns {string} @throws {Error} when it cannot be a code, which spares a try */
export function readCode(text) {
  const digits = text.replace(/[\s-]/g, "");
  if (!/^\d{6}$/.test(digits)) throw new Error("Type the six digits of the code.");
  return digits;
}

/** What a refused pairing means, and how long to wait before the next try.
 * @param {unknown} problem null for none @param {boolean} scanned by the secret of a QR code
 * @returns {{words: string, waitS: number}} */
export function refusal(problem, scanned) {
  if (!(problem instanceof Problem)) return { words: problem instanceof Error ? problem.message : "", waitS: 0 };
  const waitS = problem.retryAfterS;
  if (problem.slug === "too-many-attempts") return { words: `Too many wrong codes came from here. Wait ${waiting(waitS)}, then try again.`, waitS };
  if (problem.slug !== "unauthenticated") return { words: problem.message, waitS };
  if (scanned) return { words: `That QR code is used up or older than ten minutes. ${WHAT_TO_DO}`, waitS };
  return { words: `That code is wrong, used up, or older than ten minutes. Look at it again; after three wrong tries from here it is worth nothing. ${WHAT_TO_DO}`, waitS };
}

/** @param {number} seconds */
function waiting(seconds) {
  return seconds < 90 ? `${Math.ceil(seconds)} s` : `${Math.ceil(seconds / 60)} min`;
}
