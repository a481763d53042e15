// @ts-check
import { LET_IN_TO } from "../../lib/roles.js";

const MINUTE_S = 60;
const HOUR_S = 3600;
const DAY_S = 86_400;

/** @param {string} at ISO 8601 */
export function dayOf(at) {
  return new Date(at).toLocaleDateString([], { year: "numeric", month: "short", day: "numeric" });
}

/** How long ago, as coarsely as a person would say it. @param {string|null} at ISO 8601 @param {number} now ms since 1970 */
export function usedWords(at, now) {
  if (at === null) return "never used";
  const seconds = (now - Date.parse(at)) / 1000;
  if (seconds < 2 * MINUTE_S) return "used just now";
  if (seconds < 2 * HOUR_S) return `used ${Math.round(seconds / MINUTE_S)} minutes ago`;
  if (seconds < 2 * DAY_S) return `used ${Math.round(seconds / HOUR_S)} hours ago`;
  return `used last on ${dayOf(at)}`;
}

/** @param {import("../../lib/types.js").Credential} one @param {number} now ms since 1970 */
export function credentialWords(one, now) {
  const of = one.servo === null ? "" : ` of ${one.servo}`;
  const until = one.expires_at === null ? "never ends" : `${one.valid ? "until" : "ended"} ${dayOf(one.expires_at)}`;
  const idle = !one.valid && (one.expires_at === null || Date.parse(one.expires_at) > now) ? ", not used for too long: let in no longer" : "";
  return `${one.kind === "key" ? "Key" : "Phone"}${of}, let in to ${LET_IN_TO[one.role].split(/[:,]/)[0]}; ${usedWords(one.last_used_at, now)}; ${until}${idle}`;
}
