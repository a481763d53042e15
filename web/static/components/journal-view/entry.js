// @ts-check
import { html } from "../../lib/dom.js";
import { angle, duration } from "../../lib/format.js";

/** @typedef {import("./feed.js").Entry} Entry */

/** How the service's words for a result read in a story. @type {Record<string, string>} */
const RESULTS = {
  done: "Done",
  stopped: "Stopped",
  faulted: "Stopped itself",
  replaced: "Gave way to another",
  lost: "Its end was not heard",
  refused: "Refused",
  missed: "Missed",
  skipped: "Skipped",
  unknown: "Its end is not known",
};
/** Kinds that have happened when they are written: their result says nothing. */
const MOTION = new Set(["move", "home", "turn", "jog", "run"]);
const PLAIN = new Set(["done", null]);

/** An entry as an item of the list. @param {Entry} entry @param {number} degPerCount @param {boolean} named whether the servo is said */
export function entryItem(entry, degPerCount, named) {
  const item = html("li", { "data-entry": String(entry.id), "data-kind": entry.kind });
  item.dataset.trouble = String(entry.kind === "fault" || !PLAIN.has(entry.result));
  const story = html("div", { class: "story" }, html("p", {}, sentence(entry, named)));
  for (const line of [became(entry, degPerCount), changes(entry), entry.late ? "Written down late: the disk did not keep anything then." : ""]) {
    if (line) story.append(html("p", { class: "became" }, line));
  }
  if (entry.has_trace) story.append(html("button", { type: "button", class: "small", "data-trace": String(entry.id), "aria-expanded": "false" }, "Why did it stop?"));
  item.append(html("time", { datetime: entry.at }, clockOf(entry)), story);
  return item;
}

/** @param {Entry} entry @param {boolean} named */
export function sentence(entry, named) {
  const text = entry.text.charAt(0).toUpperCase() + entry.text.slice(1);
  const by = entry.via === "service" || entry.text.includes(entry.who) ? "" : `, by ${entry.who}`;
  return `${named && entry.servo ? `${entry.servo}: ` : ""}${text}${by}`;
}

/** @param {Entry} entry @param {number} degPerCount */
function became(entry, degPerCount) {
  if (entry.result === null) return "Under way";
  const parts = MOTION.has(entry.kind) || entry.result !== "done" ? [RESULTS[entry.result] ?? entry.result] : [];
  const { actual_s: took, end_deg: end } = entry.figures;
  if (entry.result === "done" && took !== undefined) parts.push(`in ${duration(took)}`);
  if (end !== undefined) parts.push(`at ${angle(end, degPerCount)}`);
  const words = parts.join(" ");
  if (!entry.reason) return words;
  return words ? `${words}: ${entry.reason}` : entry.reason;
}

/** What a change of settings changed: path, before and after. @param {Entry} entry */
function changes(entry) {
  const found = entry.what.changes;
  if (!found || typeof found !== "object") return "";
  const words = (/** @type {unknown} */ value) => (value === null ? "nothing" : JSON.stringify(value));
  return Object.entries(found).map(([path, [before, after]]) => `${path}: ${words(before)} → ${words(after)}`).join("; ");
}

/** @param {Entry} entry */
function inZone({ at, zone }, /** @type {Intl.DateTimeFormatOptions} */ options) {
  const date = new Date(at);
  try {
    return date.toLocaleString([], { ...options, timeZone: zone });
  } catch {
    return date.toLocaleString([], options);
  }
}

/** The time on the clock of the site. @param {Entry} entry */
export function clockOf(entry) {
  return inZone(entry, { hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" });
}

/** The day at the site, in words. @param {Entry} entry */
export function dayOf(entry) {
  return inZone(entry, { weekday: "long", year: "numeric", month: "long", day: "numeric" });
}
