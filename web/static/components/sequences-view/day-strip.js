// @ts-check
import { svg } from "../../lib/dom.js";

const HOUR_MS = 3_600_000;
const DAY_MS = 24 * HOUR_MS;
const LETTER_REM = 0.75;

/** @typedef {{name: string, at: number}} Mark */

/** The next 24 hours: when the sun is up, and what is due when.
 * @param {number} width px @param {number} now @param {string} zone @param {{rise: number|null, set: number|null}|null} sun @param {Mark[]} marks */
export function dayStrip(width, now, zone, sun, marks) {
  const em = LETTER_REM * parseFloat(getComputedStyle(document.documentElement).fontSize);
  const left = em, right = width - em, line = 3 * em, height = 5.2 * em;
  const x = (/** @type {number} */ at) => left + ((at - now) / DAY_MS) * (right - left);
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height}`, height, role: "img" });
  for (const [begin, end] of daylight(now, sun)) {
    picture.append(svg("rect", { class: "daylight", x: x(begin).toFixed(1), y: (line - 1.2 * em).toFixed(1), width: Math.max(0, x(end) - x(begin)).toFixed(1), height: (1.2 * em).toFixed(1) }));
  }
  picture.append(svg("path", { class: "line", d: `M ${left} ${line} H ${right}` }));
  const clock = new Intl.DateTimeFormat([], { hour: "2-digit", hourCycle: "h23", timeZone: zone });
  const every = width > 40 * em ? 3 : 6;
  for (let at = Math.ceil(now / HOUR_MS) * HOUR_MS; at <= now + DAY_MS; at += HOUR_MS) {
    const hour = Number(clock.format(at));
    picture.append(svg("path", { class: "tick", d: `M ${x(at).toFixed(1)} ${line} v ${hour % every ? 4 : 8}` }));
    if (hour % every === 0) picture.append(svg("text", { x: x(at).toFixed(1), y: (line + 1.6 * em).toFixed(1) }, String(hour)));
  }
  for (const { name, at } of marks) {
    const mark = svg("path", { class: "slot", d: `M ${x(at).toFixed(1)} ${line} l -5 -11 h 10 z` }, svg("title", {}, name));
    picture.append(mark);
  }
  return picture;
}

/** Spans of the next 24 hours with the sun up. @param {number} now @param {{rise: number|null, set: number|null}|null} sun next of each
 * @returns {[number, number][]} */
function daylight(now, sun) {
  if (!sun?.rise || !sun.set) return [];
  const end = now + DAY_MS;
  if (sun.rise < sun.set) return [[sun.rise, Math.min(sun.set, end)]];
  return [[now, sun.set], ...(sun.rise < end ? [/** @type {[number, number]} */ ([sun.rise, end])] : [])];
}
